"""The sheets: true size read back out of the PDF and SVG, nothing over the tiles, and the ready-made ones."""

import json
import re
import zlib
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import typer
from matplotlib.textpath import TextPath
from skimage.draw import polygon2mask

from lensbench.cli.target import target
from lensbench.errors import BenchError
from lensbench.target.layout import read_layout
from lensbench.target.printing import Sheet, plan_sheet, size_from_words, write_sheets

SAMPLES = Path(__file__).parents[2] / "sample_targets"
FRAME = (36.0, 24.0)
POINT_MM = 25.4 / 72
SVG = "{http://www.w3.org/2000/svg}"


def svg_shapes(path: Path) -> list[np.ndarray]:
    """The filled outlines of an SVG in millimetres from the page's top left."""
    root = ElementTree.parse(path).getroot()
    unit = {"pt": POINT_MM, "mm": 1.0}[root.get("width")[-2:]]
    box = [float(v) for v in root.get("viewBox").split()]
    scale = float(root.get("width")[:-2]) * unit / box[2]
    shapes = []
    for element in root.iter(f"{SVG}path"):
        if "fill: none" not in element.get("style", ""):
            numbers = re.findall(r"[ML] (\S+) (\S+)", element.get("d"))
            shapes.append(np.array(numbers, float) * scale)
    return shapes


def pdf_contents(path: Path) -> bytes:
    """The page's drawing orders."""
    streams = re.findall(rb"stream\r?\n(.*?)endstream", path.read_bytes(), re.DOTALL)
    for stream in streams:
        try:
            orders = zlib.decompress(stream)
        except zlib.error:
            continue
        if re.search(rb"\bl\nh\n", orders):
            return orders
    raise AssertionError(f"no drawing in {path}")


def pdf_shapes(path: Path) -> list[np.ndarray]:
    """The filled outlines of a PDF in millimetres from the page's top left."""
    _, _, _, high = pdf_page(path)
    shapes = []
    for outline in re.findall(rb"((?:\S+ \S+ [ml]\n)+)h\n\s*f\n", pdf_contents(path)):
        numbers = np.array([line.split()[:2] for line in outline.splitlines()], float)
        shapes.append(np.stack([numbers[:, 0], high - numbers[:, 1]], axis=1) * POINT_MM)
    return shapes


def pdf_page(path: Path) -> list[float]:
    """The page's box in points (1/72 inch, ISO 32000)."""
    found = re.search(rb"/MediaBox \[ ?(.*?) ?\]", path.read_bytes())
    return [float(v) for v in found.group(1).split()]


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> tuple[Sheet, Path]:
    sheet, folder = plan_sheet(FRAME, "A4"), tmp_path_factory.mktemp("target")
    write_sheets(folder, sheet)
    return sheet, folder


@pytest.mark.parametrize(("kind", "shapes_of"), [("svg", svg_shapes), ("pdf", pdf_shapes)])
def test_tiles_and_bars_come_out_at_true_size(made, kind, shapes_of):
    sheet, folder = made
    shapes = shapes_of(folder / f"target.{kind}")
    tiles = np.array([shape for shape in shapes if len(shape) == 3])[: len(sheet.layout.column)]
    # Where the page has no errors of its own, a thousandth of a millimetre is what six decimals of a point leave.
    assert tiles - sheet.centre_mm == pytest.approx(sheet.layout.corners_mm, abs=1e-3)
    bars = np.array([np.ptp(shape, axis=0) for shape in shapes if len(shape) == 4])
    assert bars[:, 0].max() == pytest.approx(sheet.layout.rulers_mm[0], rel=1e-5)
    assert bars[:, 1].max() == pytest.approx(sheet.layout.rulers_mm[1], rel=1e-5)


def test_ticks_stand_at_the_bars_ends(made):
    sheet, folder = made
    boxes = [shape for shape in svg_shapes(folder / "target.svg") if len(shape) == 4]
    middles = np.array([(box.min(axis=0) + box.max(axis=0)) / 2 for box in boxes])
    (across, up), (cx, cy) = sheet.layout.rulers_mm, sheet.centre_mm
    for x in (cx - across / 2, cx, cx + across / 2):
        assert (np.abs(middles[:, 0] - x) < 1e-3).sum() >= 1
    for y in (cy - up / 2, cy, cy + up / 2):
        assert (np.abs(middles[:, 1] - y) < 1e-3).sum() >= 1


def test_a4_has_bars_of_150_mm_or_more_and_is_a4(made):
    sheet, folder = made
    assert min(sheet.layout.rulers_mm) >= 150
    # ISO 216: A4 is 210 × 297 mm.
    assert np.array(pdf_page(folder / "target.pdf")) * POINT_MM == pytest.approx([0, 0, 297, 210], abs=0.01)
    root = ElementTree.parse(folder / "target.svg").getroot()
    assert float(root.get("width")[:-2]) * POINT_MM == pytest.approx(297, abs=0.01)


def test_only_solid_black_on_nothing(made):
    _, folder = made
    for name in ("target", "plain"):
        orders = pdf_contents(folder / f"{name}.pdf")
        greys = set(re.findall(rb"(\S+) g\b", orders)) | set(re.findall(rb"(\S+) G\b", orders))
        assert greys <= {b"0", b"1"}
        assert not re.search(rb"\b(rg|RG|k|K|sc|scn)\n", orders)
        svg = (folder / f"{name}.svg").read_text()
        assert set(re.findall(r"(?:fill|stroke): ?(#\w+|none|\w+)", svg)) <= {"none", "#000000"}


@pytest.mark.parametrize(
    ("paper", "lattice", "magnification"),
    [
        ("A4", "fine", None),
        ("A3", "coarse", None),
        ("A4", "coarse", 0.5),
        ("film", "fine", 1.0),
        ("400x400", "fine", None),
    ],
)
def test_nothing_but_white_lies_about_the_tiles(tmp_path, paper, lattice, magnification):
    sheet = plan_sheet(FRAME, paper, lattice, magnification)
    write_sheets(tmp_path, sheet)
    shapes = pdf_shapes(tmp_path / "target.pdf")
    tiles = len(sheet.layout.column)
    others = np.concatenate([*shapes[tiles:], text_boxes(tmp_path / "target.svg")])
    low = sheet.layout.corners_mm.min(axis=(0, 1)) + sheet.centre_mm - 0.2 * sheet.layout.pitch_mm
    high = sheet.layout.corners_mm.max(axis=(0, 1)) + sheet.centre_mm + 0.2 * sheet.layout.pitch_mm
    assert not ((others > low) & (others < high)).all(axis=1).any()
    everything = np.concatenate(shapes)
    margin = 6.9 * sheet.scale
    assert everything.min() >= margin
    assert (everything <= np.array(sheet.size_mm) - margin).all()


def text_boxes(path: Path) -> np.ndarray:
    """Corners of the upright lines of text of an SVG, in millimetres, by the letters' own widths."""
    corners = []
    for text in ElementTree.parse(path).getroot().iter(f"{SVG}text"):
        size = float(re.search(r"font(?:-size)?: ([\d.]+)px", text.get("style")).group(1))
        x, y = float(text.get("x", 0)), float(text.get("y", 0))
        if "rotate(-0" in text.get("transform", ""):
            corners += [(x, y), (x + TextPath((0, 0), text.text, size=size).get_extents().x1, y - size)]
    return np.array(corners) * POINT_MM


def test_text_stays_on_the_smallest_film(tmp_path):
    sheet = plan_sheet((17.3, 13.0), "film", "coarse", 1.0)
    write_sheets(tmp_path, sheet)
    boxes = text_boxes(tmp_path / "target.svg")
    assert len(boxes) > 6
    assert (boxes <= np.array(sheet.size_mm)).all()
    assert boxes.min() >= 0


def test_the_plain_sheet_is_blank_where_the_frame_looks(made):
    sheet, folder = made
    shapes = pdf_shapes(folder / "plain.pdf")
    assert len(shapes) >= 4
    picture = np.zeros((210, 297), bool)
    for shape in shapes:
        picture |= polygon2mask(picture.shape, shape[:, ::-1])
    half = np.array(sheet.field_mm) / 2 * 1.1
    left, top = np.floor(np.array(sheet.centre_mm) - half).astype(int)
    right, bottom = np.ceil(np.array(sheet.centre_mm) + half).astype(int)
    assert picture.any()
    assert not picture[top:bottom, left:right].any()


# ISO 216: A0 is a square metre of sides 1 : √2, each next size its half, in whole millimetres rounded down; the
# others are inches of 25.4 mm: 11 × 8.5, 14 × 8.5, 17 × 11 (common practice).
@pytest.mark.parametrize("name", ["A5", "A4", "a3", "A2", "A1", "A0", "letter", "Legal", "TABLOID"])
def test_papers_are_those_of_the_standards(name):
    inches = {"letter": (11, 8.5), "legal": (14, 8.5), "tabloid": (17, 11)}.get(name.lower())
    if inches:
        expected = [side * 25.4 for side in inches]
    else:
        halvings = int(name[1])
        expected = [1000 * 2 ** (power - halvings / 2) for power in (0.25, -0.25)]
    assert plan_sheet((36, 24), name).size_mm == pytest.approx(expected, abs=0.01 if inches else 1.0)
    assert plan_sheet((24, 36), name).size_mm == pytest.approx(expected[::-1], abs=0.01 if inches else 1.0)


def test_the_frame_and_a_quarter_more_fits_every_paper():
    for paper in ("A4", "A3", "841x594"):
        sheet = plan_sheet(FRAME, paper)
        assert sheet.field_mm[0] * 1.35 < sheet.size_mm[0]
        assert sheet.layout.size_mm[0] > sheet.field_mm[0] * 1.4
        assert sheet.magnification == pytest.approx(36 / sheet.field_mm[0])


def test_an_upright_frame_turns_the_page():
    sheet = plan_sheet((24.0, 36.0), "A4")
    assert sheet.size_mm == (210.0, 297.0)
    assert sheet.layout.rows > sheet.layout.columns


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"paper": "B7"}, "no paper"),
        ({"paper": "3x3"}, "out of reach"),
        ({"paper": "60x60"}, "does not fit|no room"),
        ({"paper": "film"}, "magnification"),
        ({"paper": "A4", "magnification": 0.05}, "does not fit"),
        ({"paper": "A4", "lattice": "round"}, "lattice"),
        ({"paper": "A4", "magnification": -1.0}, "above zero"),
    ],
)
def test_requests_that_cannot_be_met(how, says):
    if how["paper"] == "60x60":
        how = {**how, "magnification": 0.5}
    with pytest.raises(BenchError, match=says):
        plan_sheet(FRAME, **how)


@pytest.mark.parametrize("words", ["36", "36x", "axb", "0x24", "36x24x3", "infx3", "-1x2"])
def test_sizes_that_are_none(words):
    with pytest.raises(BenchError, match="width and a height"):
        size_from_words(words)


def test_a_target_too_large_for_the_paper_says_what_would_fit():
    with pytest.raises(BenchError, match="does not fit") as refusal:
        plan_sheet(FRAME, "A4", "fine", 0.1)
    fits = float(re.search(r"magnification of ([\d.]+) or more", str(refusal.value)).group(1))
    assert plan_sheet(FRAME, "A4", "fine", fits).magnification == fits


def test_the_layout_of_another_print_is_kept(tmp_path):
    write_sheets(tmp_path, plan_sheet(FRAME, "A4"))
    before = (tmp_path / "target.json").read_bytes()
    write_sheets(tmp_path, plan_sheet(FRAME, "A4"))
    with pytest.raises(BenchError, match="another print"):
        write_sheets(tmp_path, plan_sheet(FRAME, "A3"))
    assert (tmp_path / "target.json").read_bytes() == before


def test_a_file_in_the_folder_s_place_is_said(tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(BenchError, match="taken: is a file, and can't hold others"):
        write_sheets(tmp_path / "taken", plan_sheet(FRAME, "A4"))


def _commands_in(readme: Path) -> list[list[str]]:
    return [line.split() for line in re.findall(r"^ +lensbench (target .*)$", readme.read_text(), re.MULTILINE)]


def _sample_commands() -> list[list[str]]:
    return _commands_in(SAMPLES / "README.md")


def _run(command: list[str], folder: Path) -> None:
    app = typer.Typer()
    app.command()(target)
    app([str(folder), *command[2:], "--json"], standalone_mode=False)


@pytest.mark.parametrize("command", _commands_in(SAMPLES.parent / "README.md"))
def test_what_the_readme_says_to_type_makes_a_target(command, tmp_path):
    _run(command, tmp_path)
    assert (tmp_path / "target.json").exists()


def test_every_sample_folder_has_its_command():
    folders = {path.name for path in SAMPLES.iterdir() if path.is_dir()}
    assert folders == {Path(command[1]).name for command in _sample_commands()}
    assert len(folders) == 8


@pytest.mark.parametrize("command", _sample_commands(), ids=lambda command: Path(command[1]).name)
def test_samples_are_what_the_readme_s_command_makes(command, tmp_path, capsys):
    ready = SAMPLES / Path(command[1]).name
    _run(command, tmp_path)
    said = json.loads(capsys.readouterr().out)
    assert {Path(name).name for name in said["files"]} == {path.name for path in ready.iterdir()}
    fresh, kept = read_layout(tmp_path / "target.json"), read_layout(ready / "target.json")
    assert fresh.corners_mm == pytest.approx(kept.corners_mm, abs=2e-5)
    assert fresh.rulers_mm == kept.rulers_mm
    for name in ("target", "plain"):
        for kind, shapes_of in (("svg", svg_shapes), ("pdf", pdf_shapes)):
            fresh_shapes, kept_shapes = (shapes_of(folder / f"{name}.{kind}") for folder in (tmp_path, ready))
            assert len(fresh_shapes) == len(kept_shapes)
            for one, other in zip(fresh_shapes, kept_shapes, strict=True):
                assert one == pytest.approx(other, abs=1e-3)
