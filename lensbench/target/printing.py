"""The sheets as PDF and SVG at true size: the set-square target, and the plain one for the even light."""

from __future__ import annotations

import io
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.files import write_new
from lensbench.target.layout import Layout, layout_text, make_layout

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAPERS_MM = {
    "A5": (210.0, 148.0),
    "A4": (297.0, 210.0),
    "A3": (420.0, 297.0),
    "A2": (594.0, 420.0),
    "A1": (841.0, 594.0),
    "A0": (1189.0, 841.0),
    "letter": (279.4, 215.9),
    "legal": (355.6, 215.9),
    "tabloid": (431.8, 279.4),
}
"""Papers by name, width and height as they lie for a frame wider than tall: those of ISO 216, and North America's
8.5 × 11, 8.5 × 14 and 11 × 17 inches."""

FILM = "film"
"""The sheet that is cut as small as the target allows."""

MARGIN_MM = 7.0
"""What printers leave blank around a page."""

TICK_MM = 5.0
"""Length of the ticks at the bars' ends."""

LINE_MM = 0.3
"""Thickness of ticks; the bars are twice as thick."""

TEXT_MM = 2.6
"""Size of the letters."""

LINE_STEP = 1.4
"""From one line of text to the next, in letter sizes."""

MM_PER_INCH = 25.4
POINTS_PER_MM = 72 / MM_PER_INCH


@dataclass(frozen=True, eq=False)
class Sheet:
    """A page with a target on it.

    Attributes
    ----------
    size_mm : (float, float)
        Width and height of the page.
    centre_mm : (float, float)
        Where the target's centre lies on it, from the page's top left.
    scale : float
        Size of margins, ticks and letters, 1 on paper and less on small film.
    frame_mm, magnification, lattice
        What the target is for.
    layout : Layout
        The target.
    """

    size_mm: tuple[float, float]
    centre_mm: tuple[float, float]
    scale: float
    frame_mm: tuple[float, float]
    magnification: float
    lattice: str
    layout: Layout

    @property
    def field_mm(self) -> tuple[float, float]:
        """What the frame sees of the sheet."""
        return self.frame_mm[0] / self.magnification, self.frame_mm[1] / self.magnification


def plan_sheet(
    frame_mm: tuple[float, float], paper: str = "A4", lattice: str = "fine", magnification: float | None = None
) -> Sheet:
    """Put a target on a page.

    Parameters
    ----------
    frame_mm : (float, float)
        Width and height of the sensor.
    paper : str
        One of `PAPERS_MM`, a size such as ``594x420`` in millimetres, or ``film`` for a sheet just large enough.
    lattice : str
        One of the lattices of `layout.LATTICES`.
    magnification : float, optional
        Size on the sensor over size on the target; unless given, the largest target that the paper holds.

    Raises
    ------
    BenchError
        Where the paper is unknown or too small, or film is asked for without a magnification.
    """
    life_size = make_layout(frame_mm, 1.0, lattice)
    if paper == FILM:
        if magnification is None:
            raise BenchError("For film, say the magnification too (1 for life size).")
        layout = make_layout(frame_mm, magnification, lattice)
        scale = min(1.0, float(np.hypot(*layout.size_mm)) / 150)
        bands = _bands(scale, layout.pitch_mm)
        size = tuple(
            float(np.ceil(side + bands[axis] + bands[axis + 2])) for axis, side in enumerate(layout.size_mm)
        )
    else:
        size, scale = _paper_size(paper, upright=frame_mm[1] > frame_mm[0]), 1.0
        if magnification is None:
            magnification = _smallest_magnification(life_size, size)
        layout = make_layout(frame_mm, magnification, lattice)
        _refuse_too_large(layout, size, paper, magnification, _smallest_magnification(life_size, size))
    left, top, right, bottom = _bands(scale, layout.pitch_mm)
    centre = (left + size[0] - right) / 2, (top + size[1] - bottom) / 2
    layout = make_layout(frame_mm, magnification, lattice, _ruler_lengths(size, centre, scale))
    return Sheet(size, centre, scale, tuple(frame_mm), float(magnification), lattice, layout)


def size_from_words(words: str) -> tuple[float, float]:
    """Width and height in millimetres from words such as ``36x24``.

    Raises
    ------
    BenchError
        Where the words are not two numbers above zero.
    """
    try:
        width, height = (float(side) for side in words.lower().replace("×", "x").split("x"))
    except ValueError:
        width = height = 0.0
    if not (0 < width < np.inf and 0 < height < np.inf):
        raise BenchError(f"{words} is not a width and a height; write them in millimetres as in 36x24.")
    return width, height


def write_sheets(folder: str | Path, sheet: Sheet) -> list[Path]:
    """Write both sheets as PDF and SVG, and the layout of their tiles, into a folder and say where.

    Returns
    -------
    list of Path
        ``target.json``, ``target.pdf``, ``target.svg``, ``plain.pdf`` and ``plain.svg``.

    Raises
    ------
    BenchError
        Where the folder holds another print's files, which that print's shots need, or can't be written to.
    """
    target, plain = _target_drawing(sheet), _plain_drawing(sheet)
    contents = {
        "target.json": layout_text(sheet.layout).encode(),
        "target.pdf": _as_file(target, "pdf"),
        "target.svg": _as_file(target, "svg"),
        "plain.pdf": _as_file(plain, "pdf"),
        "plain.svg": _as_file(plain, "svg"),
    }
    files = {Path(folder) / name: content for name, content in contents.items()}
    write_new(files, "It may belong to another print: name another folder, so that it stays with that print.")
    return list(files)


def _paper_size(paper: str, upright: bool) -> tuple[float, float]:
    named = next((size for name, size in PAPERS_MM.items() if name.lower() == paper.strip().lower()), None)
    if named:
        return named[::-1] if upright else named
    choices = f"Choose {', '.join(PAPERS_MM)}, {FILM}, or a size in millimetres such as 594x420."
    try:
        width, height = size_from_words(paper)
    except BenchError as error:
        raise BenchError(f"{paper} is no paper known here. {choices}") from error
    if not (min(width, height) >= 50 and max(width, height) <= 5000):
        raise BenchError(f"Paper of {paper} mm is out of reach (50 to 5000 mm a side). {choices}")
    return width, height


def _bands(scale: float, pitch_mm: float) -> tuple[float, float, float, float]:
    """What lies between the page's edge and the tiles: left (bar), top, right, bottom (bar and text)."""
    gap = scale * 3 + 0.25 * min(pitch_mm, 10.0)
    plain = scale * MARGIN_MM
    bar = plain + scale * (TICK_MM + TEXT_MM) + gap
    tick = plain + scale * TICK_MM / 2 + gap
    return bar, tick, tick, bar + _foot_height(scale)


def _foot_height(scale: float) -> float:
    """The height of the text under the target: three long lines, or six of half the length on small film."""
    return scale * LINE_STEP * TEXT_MM * (3 if scale == 1 else 6)


def _smallest_magnification(life_size: Layout, size: tuple[float, float]) -> float:
    """The magnification of the largest target that fits a page."""
    # The gap depends a little on the pitch, so take the widest gap that there is.
    left, top, right, bottom = _bands(1.0, np.inf)
    room = size[0] - left - right, size[1] - top - bottom
    if min(room) <= 0:
        raise BenchError(
            f"A page of {size[0]:g} x {size[1]:g} mm leaves no room for a target; choose a larger one."
        )
    return max(side / space for side, space in zip(life_size.size_mm, room, strict=True))


def _refuse_too_large(
    layout: Layout, size: tuple[float, float], paper: str, magnification: float, smallest: float
) -> None:
    left, top, right, bottom = _bands(1.0, layout.pitch_mm)
    room = size[0] - left - right, size[1] - top - bottom
    if any(side > space + 1e-6 for side, space in zip(layout.size_mm, room, strict=True)):
        needed = " x ".join(f"{side:.0f}" for side in layout.size_mm)
        raise BenchError(
            f"At magnification {magnification:g} the target measures {needed} mm and does not fit {paper}"
            f" ({room[0]:.0f} x {room[1]:.0f} mm beside the bars). Choose larger paper, or a magnification of"
            f" {np.ceil(smallest * 1000) / 1000:g} or more."
        )


def _ruler_lengths(size: tuple[float, float], centre: tuple[float, float], scale: float) -> tuple[float, float]:
    """The longest bars, in whole steps, that lie evenly about the target's centre inside of the margins."""
    margin = scale * (MARGIN_MM + TICK_MM / 2)
    across, up = (2 * (min(middle, side - middle) - margin) for middle, side in zip(centre, size, strict=True))
    step = 10.0 if scale == 1 else 5.0
    return step * (across // step), step * (up // step)


class _Drawing:
    """Black shapes and words on a white page, in millimetres from its top left, y down."""

    def __init__(self, size_mm: tuple[float, float], title: str):
        from matplotlib.figure import Figure

        self.title = title
        self.figure: Figure = Figure(figsize=[side / MM_PER_INCH for side in size_mm])
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set(xlim=(0, size_mm[0]), ylim=(size_mm[1], 0))
        self.axes.axis("off")

    def fill(self, polygons: NDArray[np.float64]) -> None:
        """Fill polygons, shape (polygons, corners, 2)."""
        from matplotlib.collections import PolyCollection

        self.axes.add_collection(PolyCollection(polygons, facecolor="black", edgecolor="none"), autolim=False)

    def box(self, left: float, top: float, width: float, height: float) -> None:
        self.fill(
            np.array([[(left, top), (left + width, top), (left + width, top + height), (left, top + height)]])
        )

    def write(self, x: float, y: float, text: str, size_mm: float, **how: object) -> None:
        self.axes.text(x, y, text, fontsize=size_mm * POINTS_PER_MM, color="black", **how)


def _as_file(drawing: _Drawing, kind: str) -> bytes:
    import matplotlib

    # Letters are drawn in the PDF, for film setters without fonts, and stay words in the SVG, for anybody to
    # change; no dates, so that files can be compared.
    settings = {
        "font.sans-serif": ["DejaVu Sans", "sans-serif"],
        "pdf.fonttype": 3,
        "svg.fonttype": "none",
        "svg.hashsalt": "set squares",
        "path.simplify": False,
    }
    about = {"Title": drawing.title, "Creator": "lensbench"}
    about |= {"CreationDate": None, "Producer": "lensbench"} if kind == "pdf" else {"Date": None}
    content = io.BytesIO()
    with matplotlib.rc_context(settings):
        drawing.figure.savefig(content, format=kind, metadata=about, facecolor="none")
    return content.getvalue()


def _target_drawing(sheet: Sheet) -> _Drawing:
    layout = sheet.layout
    drawing = _Drawing(sheet.size_mm, "Set-square target")
    drawing.fill(layout.corners_mm + np.array(sheet.centre_mm))
    across, up = layout.rulers_mm
    _draw_rulers(drawing, sheet)
    ratio = _ratio_in_words(sheet.magnification)
    field = " x ".join(f"{side:.4g}" for side in sheet.field_mm)
    _write_foot(
        drawing,
        sheet,
        f"Set-square target, {sheet.lattice} lattice of {layout.columns} x {layout.rows}, for a frame of"
        f" {sheet.frame_mm[0]:g} x {sheet.frame_mm[1]:g} mm at {ratio}, which sees {field} mm of it.",
        f"Print at 100 % (no fitting to the page). Measure both bars with a steel rule, from the first tick to the"
        f" last: drawn {across:g} mm across, {up:g} mm up.",
        "Put what you measure into the session file: rulers_measured_mm = [across, up]. Aim the camera where the"
        " middle ticks of the four sides point.",
    )
    return drawing


def _plain_drawing(sheet: Sheet) -> _Drawing:
    drawing = _Drawing(sheet.size_mm, "Plain sheet for the even light")
    centre = np.array(sheet.centre_mm)
    half = np.array(sheet.field_mm) / 2
    # Half-way from the field to the tiles' rim, where the frame does not reach even if aimed a little off.
    corner = half + (np.array(sheet.layout.size_mm) / 2 - half) / 2
    leg = sheet.scale * 2 * TICK_MM
    mark = np.array([[0, 0], [-leg, 0], [0, -leg]])
    signs = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    drawing.fill(np.array([centre + sign * (corner + leg * 0.5 + mark) for sign in signs]))
    field = " x ".join(f"{side:.4g}" for side in sheet.field_mm)
    _write_foot(
        drawing,
        sheet,
        f"Plain sheet for the even light, for a frame of {sheet.frame_mm[0]:g} x {sheet.frame_mm[1]:g} mm at"
        f" {_ratio_in_words(sheet.magnification)}, which sees {field} mm of it.",
        "The blank side of any white matt paper will do as well. Keep the four marks out of the picture.",
        "Light it evenly and put it well out of focus; shot again turned half round, it tells paper from lens.",
    )
    return drawing


def _draw_rulers(drawing: _Drawing, sheet: Sheet) -> None:
    """The two bars with their end and middle ticks, and middle ticks at the other two sides."""
    (across, up), (cx, cy), (width, _) = sheet.layout.rulers_mm, sheet.centre_mm, sheet.size_mm
    tick, line, margin = (sheet.scale * size for size in (TICK_MM, LINE_MM, MARGIN_MM))
    left, (_, bottom) = margin, _bar_places(sheet)
    drawing.box(cx - across / 2, bottom - line, across, 2 * line)
    drawing.box(left + tick / 2 - line, cy - up / 2, 2 * line, up)
    for share in (-0.5, 0.0, 0.5):
        drawing.box(cx + share * across - line / 2, bottom - tick / 2, line, tick)
        drawing.box(left, cy + share * up - line / 2, tick, line)
    drawing.box(width - margin - tick / 2, cy - line / 2, tick / 2, line)
    drawing.box(cx - line / 2, margin, line, tick / 2)
    letters = sheet.scale * TEXT_MM
    centred = {"ha": "center", "va": "center"}
    drawing.write(cx + across / 4, bottom - 0.8 * letters, f"{across:g} mm", letters, **centred)
    drawing.write(left + tick / 2 + 0.8 * letters, cy + up / 4, f"{up:g} mm", letters, rotation=90, **centred)


def _bar_places(sheet: Sheet) -> tuple[float, float]:
    """Where the bar up stands (x) and the bar across lies (y)."""
    foot = sheet.scale * (MARGIN_MM + TICK_MM / 2) + _foot_height(sheet.scale)
    return sheet.scale * (MARGIN_MM + TICK_MM / 2), sheet.size_mm[1] - foot


def _write_foot(drawing: _Drawing, sheet: Sheet, *lines: str) -> None:
    """The tile mark and lines of text under everything."""
    letters = sheet.scale * TEXT_MM
    step = LINE_STEP * letters
    left, bottom = 1.5 * sheet.scale * MARGIN_MM, sheet.size_mm[1] - sheet.scale * MARGIN_MM
    side = 2 * step
    drawing.fill(np.array([[(left, bottom), (left + side, bottom), (left, bottom - side)]]))
    # Letters are somewhat over half as wide as high.
    fitting = int((sheet.size_mm[0] - 2 * left - 1.4 * side) / (0.57 * letters))
    wrapped = [part for line in lines for part in textwrap.wrap(line, fitting)]
    for number, line in enumerate(reversed(wrapped)):
        drawing.write(left + 1.4 * side, bottom - number * step, line, letters, va="baseline")


def _ratio_in_words(magnification: float) -> str:
    if abs(magnification - 1) < 1e-9:
        return "life size (magnification 1)"
    return f"magnification {magnification:.3g}"
