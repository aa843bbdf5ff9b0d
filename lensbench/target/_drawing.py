"""The two pages drawn at true size: the set-square target, and the plain sheet for the even light."""

from __future__ import annotations

import io
import logging
import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lensbench.target._sheet import LINE_STEP, MARGIN_MM, TEXT_MM, TICK_MM, Sheet, foot_height

# It draws as well where it can't keep its caches.
logging.getLogger("matplotlib").setLevel(logging.ERROR)

LINE_MM = 0.3
"""Thickness of ticks; the bars are twice as thick."""

MM_PER_INCH = 25.4
POINTS_PER_MM = 72 / MM_PER_INCH


class Drawing:
    """Black shapes and words on a white page, in millimetres from its top left, y down."""

    def __init__(self, size_mm: tuple[float, float], title: str):
        from matplotlib.figure import Figure

        self.title = title
        self.figure = Figure(figsize=(size_mm[0] / MM_PER_INCH, size_mm[1] / MM_PER_INCH))
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set(xlim=(0, size_mm[0]), ylim=(size_mm[1], 0))
        self.axes.axis("off")

    def fill(self, polygons: NDArray[np.float64] | Sequence[NDArray[np.float64]]) -> None:
        """Fill polygons, shape (polygons, corners, 2)."""
        from matplotlib.collections import PolyCollection

        self.axes.add_collection(
            PolyCollection(list(polygons), facecolor="black", edgecolor="none"), autolim=False
        )

    def box(self, left: float, top: float, width: float, height: float) -> None:
        """Fill a rectangle."""
        self.fill(
            np.array([[(left, top), (left + width, top), (left + width, top + height), (left, top + height)]])
        )

    def write(self, x: float, y: float, text: str, size_mm: float, **how: Any) -> None:
        """Write words with letters of a size; `how` goes to matplotlib."""
        self.axes.text(x, y, text, fontsize=size_mm * POINTS_PER_MM, color="black", **how)


def as_file(drawing: Drawing, kind: str) -> bytes:
    """The drawing as the content of a file, ``pdf`` or ``svg``."""
    import matplotlib

    # Letters are drawn in the PDF, for film setters without fonts, and stay words in the SVG, for anybody to
    # change; no dates, so that files can be compared.
    settings: dict[Any, Any] = {
        "font.sans-serif": ["DejaVu Sans", "sans-serif"],
        "pdf.fonttype": 3,
        "svg.fonttype": "none",
        "svg.hashsalt": "set squares",
        "path.simplify": False,
    }
    about: dict[str, str | None] = {"Title": drawing.title, "Creator": "lensbench"}
    about |= {"CreationDate": None, "Producer": "lensbench"} if kind == "pdf" else {"Date": None}
    content = io.BytesIO()
    with matplotlib.rc_context(settings):
        drawing.figure.savefig(content, format=kind, metadata=about, facecolor="none")
    return content.getvalue()


def target_drawing(sheet: Sheet) -> Drawing:
    """The set squares, the ruler bars, and what to do with them."""
    layout = sheet.layout
    drawing = Drawing(sheet.size_mm, "Set-square target")
    drawing.fill(layout.corners_mm + np.array(sheet.centre_mm))
    across, up = layout.rulers_mm
    _draw_rulers(drawing, sheet)
    ratio = _ratio_in_words(sheet.magnification)
    field = " x ".join(f"{side:.4g}" for side in sheet.field_mm)
    _write_foot(
        drawing,
        sheet,
        f"Set-square target {layout.name} (its target.json says so too), for a frame of {sheet.frame_mm[0]:g} x"
        f" {sheet.frame_mm[1]:g} mm at {ratio}, which sees {field} mm of it.",
        f"Print at 100 % (no fitting to the page). Measure both bars with a steel rule, from the first tick to the"
        f" last: drawn {across:g} mm across, {up:g} mm up.",
        "Put what you measure into the session file: rulers_measured_mm = [across, up]. Aim the camera where the"
        " middle ticks of the four sides point.",
    )
    return drawing


def plain_drawing(sheet: Sheet) -> Drawing:
    """A blank page with four marks outside the field."""
    drawing = Drawing(sheet.size_mm, "Plain sheet for the even light")
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


def _draw_rulers(drawing: Drawing, sheet: Sheet) -> None:
    """The two bars with their end and middle ticks, and middle ticks at the other two sides."""
    (across, up), (cx, cy), (width, _) = sheet.layout.rulers_mm, sheet.centre_mm, sheet.size_mm
    tick, line, margin = (sheet.scale * size for size in (TICK_MM, LINE_MM, MARGIN_MM))
    left, (_, bottom) = margin, _bar_positions(sheet)
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


def _bar_positions(sheet: Sheet) -> tuple[float, float]:
    """Position of the vertical bar (x) and of the horizontal one (y)."""
    foot = sheet.scale * (MARGIN_MM + TICK_MM / 2) + foot_height(sheet.scale)
    return sheet.scale * (MARGIN_MM + TICK_MM / 2), sheet.size_mm[1] - foot


def _write_foot(drawing: Drawing, sheet: Sheet, *lines: str) -> None:
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
