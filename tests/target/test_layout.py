"""The layout: the shapes by hand-written values, the pattern by trying every window, the file by breaking it."""

import itertools
import json

import numpy as np
import pytest

from lensbench.errors import BenchError
from lensbench.target._pattern import sampling_gap
from lensbench.target.layout import LATTICES, Layout, make_layout, read_layout, write_layout

FRAME = (36.0, 24.0)


@pytest.fixture(scope="module")
def fine() -> Layout:
    return make_layout(FRAME, 0.1)


def test_the_lattice_runs_a_quarter_of_the_frame_past_it(fine):
    assert fine.columns % 2 == fine.rows % 2 == 1
    width, height = fine.size_mm
    assert width == pytest.approx(1.5 * 360, rel=0.06)
    assert height == pytest.approx(1.5 * 240, rel=0.06)
    inside = (np.abs(fine.nodes_mm) < [180, 120]).all(axis=1)
    assert inside.sum() == pytest.approx(15 * 11, rel=0.06)


def test_a_tile_right_of_the_middle_by_hand(fine):
    # On the axis to the right the radius is (1, 0): the legs are (±1, 0) and (0, ±1) turned by the tile's twist.
    p = fine.pitch_mm
    tile = (fine.column == fine.columns // 2 + 3) & (fine.row == fine.rows // 2)
    right, along, across = fine.corners_mm[tile][0] / p
    assert (along + across) / 2 == pytest.approx([3, 0], abs=1e-9)
    for end, axis in ((along, 0), (across, 1)):
        leg = end - right
        assert np.hypot(*leg) == pytest.approx(0.56)
        assert 2 <= np.degrees(np.arcsin(abs(leg[1 - axis]) / 0.56)) <= 6
        assert np.sign(leg[axis]) == np.sign((along - right)[0])


def test_every_tile_is_a_set_square_on_its_node_with_legs_along_and_across_the_radius(fine):
    corners = fine.corners_mm / fine.pitch_mm
    along, across = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    assert np.linalg.norm(along, axis=1) == pytest.approx(0.56)
    assert np.linalg.norm(across, axis=1) == pytest.approx(0.56)
    # One hand: from the leg along to the leg across it is a quarter turn clockwise as seen (y down).
    assert along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0] == pytest.approx(0.56**2)
    place = np.stack([fine.column - fine.columns // 2, fine.row - fine.rows // 2], axis=1)
    assert fine.nodes_mm / fine.pitch_mm == pytest.approx(place, abs=1e-9)
    out = np.hypot(*place.T) > 0
    off = np.degrees(np.arctan2(along[:, 1], along[:, 0]) - np.arctan2(place[:, 1], place[:, 0]))
    off = (off + 90) % 180 - 90
    assert np.abs(off[out]).max() < 6.01
    assert np.abs(off[out]).min() > 1.99
    assert abs(off[out].mean()) < 0.5


def test_about_half_of_the_tiles_are_turned(fine):
    # A tile that isn't turned has its right angle on the inner side of its node.
    turned = np.linalg.norm(fine.corners_mm[:, 0], axis=1) > np.linalg.norm(fine.nodes_mm, axis=1)
    assert 0.44 < turned.mean() < 0.56


def test_white_between_any_two_tiles_is_a_fifth_of_the_pitch(fine):
    far = np.linalg.norm(fine.corners_mm - fine.nodes_mm[:, None], axis=2)
    # Corners lie 0.396 pitch from the node at most, so circles round two nodes leave 0.208 pitch.
    assert fine.pitch_mm - 2 * far.max() >= 0.207 * fine.pitch_mm


def _windows(layout: Layout) -> np.ndarray:
    """The directions from node to right angle, in radians, of every 4 × 4 window."""
    arrow = layout.corners_mm[:, 0] - layout.nodes_mm
    field = np.full((layout.rows, layout.columns), np.nan)
    field[layout.row, layout.column] = np.arctan2(arrow[:, 1], arrow[:, 0])
    return np.lib.stride_tricks.sliding_window_view(field, (4, 4)).reshape(-1, 4, 4)


def _likeness(layout: Layout) -> float:
    """The mean cosine between the two most alike windows, under any quarter turn or mirroring."""
    windows = _windows(layout)
    still = np.exp(1j * windows).reshape(-1, 16)
    worst = -1.0
    for mirrored, quarters in itertools.product((False, True), range(4)):
        seen = np.pi - windows[:, :, ::-1] if mirrored else windows
        # Turned anticlockwise as seen, angles counted from x right to y down shrink.
        seen = np.rot90(seen, quarters, axes=(1, 2)) - quarters * np.pi / 2
        like = (np.exp(1j * seen).reshape(-1, 16) @ still.conj().T).real / 16
        if not mirrored and quarters == 0:
            assert np.diag(like) == pytest.approx(1)
            np.fill_diagonal(like, -1)
        worst = max(worst, like.max())
    return worst


@pytest.mark.parametrize("frame", [FRAME, (17.3, 13.0), (24.0, 24.0), (24.0, 36.0)])
@pytest.mark.parametrize("lattice", LATTICES)
def test_no_four_by_four_tiles_are_like_any_other(frame, lattice):
    assert _likeness(make_layout(frame, 1.0, lattice)) < 0.75


def test_no_four_by_four_tiles_of_the_whole_pattern_are_like_any_other():
    widest, tallest = make_layout((36.0, 14.0)), make_layout((14.0, 36.0))
    assert widest.columns == tallest.rows == 31
    assert _likeness(widest) < 0.75
    assert _likeness(tallest) < 0.75


def test_likeness_sees_a_pattern_that_repeats(fine):
    arrow = np.tile(fine.corners_mm[:1] - fine.nodes_mm[:1, None], (len(fine.column), 1, 1))
    plain = Layout(
        fine.pitch_mm,
        fine.columns,
        fine.rows,
        fine.rulers_mm,
        fine.column,
        fine.row,
        fine.nodes_mm[:, None] + arrow,
    )
    assert _likeness(plain) == pytest.approx(1)


def test_sampling_gap_of_angles_known_by_hand():
    # Samples 2 px apart on the edge's normal: 2 at 0°, √2 at 45°, 2/√5 at arctan 1/2, 2/√13 at arctan 2/3.
    angles = [0, 90, 45, np.degrees(np.arctan(1 / 2)), np.degrees(np.arctan(2 / 3))]
    expected = [2, 2, np.sqrt(2), 2 / np.sqrt(5), 2 / np.sqrt(13)]
    assert sampling_gap(angles) == pytest.approx(expected, abs=1e-9)
    assert sampling_gap(7.0) < 0.1


def test_edges_sample_well_however_the_camera_is_turned(fine):
    start, end = fine.corners_mm[:, [0, 0, 1]], fine.corners_mm[:, [1, 2, 2]]
    legs = np.degrees(np.arctan2(*np.moveaxis(end - start, -1, 0)[::-1]))
    length = 130 * np.array([1, 1, np.sqrt(2)])
    worst = np.zeros(legs.shape)
    for turn in np.arange(-3, 3.1, 0.5):
        for k in range(3):
            worst[:, k] = np.maximum(worst[:, k], sampling_gap(legs[:, k] + turn, length[k]))
    assert worst.max() < 0.9
    assert np.median(worst) < 0.3


def test_layout_survives_its_file(fine, tmp_path):
    write_layout(tmp_path / "target.json", fine)
    stored = json.loads((tmp_path / "target.json").read_text())
    assert stored["format"] == "lensbench-target/1"
    assert set(stored) == {
        *("format", "name", "sensor_mm", "magnification", "pitch_mm", "columns", "rows", "rulers_mm", "tiles"),
    }
    assert (stored["sensor_mm"], stored["magnification"]) == ([36.0, 24.0], 0.1)
    assert set(stored["tiles"][0]) == {"column", "row", "corners_mm"}
    again = read_layout(tmp_path / "target.json")
    assert again.corners_mm == pytest.approx(fine.corners_mm, abs=1e-5)
    assert (again.column == fine.column).all()
    assert (again.row == fine.row).all()
    assert (again.columns, again.rows) == (fine.columns, fine.rows)
    assert again.pitch_mm == pytest.approx(fine.pitch_mm, abs=1e-5)
    assert (again.name, again.sensor_mm, again.magnification) == (fine.name, FRAME, 0.1)


def test_a_file_made_before_sheets_had_names_still_loads(fine, tmp_path):
    path = tmp_path / "target.json"
    write_layout(path, fine)
    stored = json.loads(path.read_text())
    path.write_text(
        json.dumps({k: v for k, v in stored.items() if k not in ("name", "sensor_mm", "magnification")})
    )
    again = read_layout(path)
    assert (again.name, again.sensor_mm, again.magnification) == (None, None, None)
    assert again.corners_mm == pytest.approx(fine.corners_mm, abs=1e-5)


def test_a_name_says_lattice_size_and_pitch(fine):
    # 360 x 240 mm hold 15 x 11 tiles of one pitch: the square root of 360 · 240 / 165.
    assert fine.name == "fine-23x15-22.883"
    assert make_layout(FRAME, 0.1).name == fine.name


def _turned(layout: Layout) -> np.ndarray:
    """Which tiles have their right angle on the outer side of their node."""
    return np.linalg.norm(layout.corners_mm[:, 0], axis=1) > np.linalg.norm(layout.nodes_mm, axis=1)


def test_sheets_that_differ_in_pitch_size_or_lattice_are_turned_otherwise(fine):
    others = [make_layout(FRAME, 0.1001), make_layout(FRAME, 0.3), make_layout((24.0, 24.0), 0.1)]
    others += [make_layout(FRAME, 0.1, "coarse")]
    for other in others:
        half = min(fine.columns, other.columns) // 2, min(fine.rows, other.rows) // 2
        around = [
            (abs(one.column - one.columns // 2) <= half[0]) & (abs(one.row - one.rows // 2) <= half[1])
            for one in (fine, other)
        ]
        same = (_turned(fine)[around[0]] == _turned(other)[around[1]]).mean()
        # Tossed coins agree on half; 135 of them stray by 0.043.
        assert abs(same - 0.5) < 0.2


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda t: t.update(format="other/3"), "format"),
        (lambda t: t.update(pitch_mm=-1), "above zero"),
        (lambda t: t.update(columns=10**9), "columns"),
        (lambda t: t.update(columns=10**5), "larger than any"),
        (lambda t: t.update(rulers_mm=[1e300, 100]), "below"),
        (lambda t: t.update(name="fine-23x15-11.442"), "its name is"),
        (lambda t: t.update(name="a\x1b[31m"), "its name is"),
        (lambda t: t.update(magnification=0), "magnification"),
        (lambda t: t.update(sensor_mm=[36, -24]), "sensor_mm"),
        (lambda t: t.update(pitch_mm="wide"), "pitch_mm"),
        (lambda t: t.update(tiles=[]), "no tiles"),
        (lambda t: t.pop("rulers_mm"), "rulers_mm"),
        (lambda t: t["tiles"][7].update(column=500), "column 500"),
        (lambda t: t["tiles"][7].update(t["tiles"][8]), "twice"),
        (lambda t: t["tiles"][7]["corners_mm"][0].reverse(), "set square"),
        (lambda t: t["tiles"][7].update(corners_mm=t["tiles"][7]["corners_mm"][:2]), "corners_mm"),
        (lambda t: t.update(pitch_mm=t["pitch_mm"] * 1.1), "node"),
    ],
)
def test_a_broken_file_is_named_with_its_fault(fine, tmp_path, change, says):
    path = tmp_path / "target.json"
    write_layout(path, fine)
    stored = json.loads(path.read_text())
    change(stored)
    path.write_text(json.dumps(stored))
    with pytest.raises(BenchError, match=r"target\.json.*" + says):
        read_layout(path)


def test_missing_and_unreadable_files(tmp_path):
    with pytest.raises(BenchError, match="can't be read"):
        read_layout(tmp_path / "target.json")
    (tmp_path / "target.json").write_bytes(b"\xff\xfe not json")
    with pytest.raises(BenchError, match="not a target layout"):
        read_layout(tmp_path / "target.json")


@pytest.mark.parametrize(
    "bad", [{"frame_mm": (0, 24)}, {"magnification": -1}, {"lattice": "odd"}, {"frame_mm": (90, 5)}]
)
def test_impossible_requests(bad):
    with pytest.raises(BenchError):
        make_layout(**{"frame_mm": FRAME, **bad})
