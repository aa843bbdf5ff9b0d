"""Drawings as files, and what stands on them by inches: axes, letters, the mark of the reports.

Drawings use matplotlib's figures directly, without its global state, so that several can be drawn at once.
"""

from __future__ import annotations

import io
import re
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Polygon
from PIL import Image
from scipy.spatial import KDTree

from lensbench.reporter.plots import style


def new_drawing(width_in: float, height_in: float) -> Drawing:
    """An empty sheet of the given size in inches."""
    drawing = Drawing(figsize=(width_in, height_in), facecolor=style.PAPER)
    FigureCanvasAgg(drawing)
    return drawing


def axes_in(drawing: Drawing, left: float, top: float, width: float, height: float) -> Axes:
    """Bare axes placed by inches from the sheet's top left corner."""
    sheet_width, sheet_height = drawing.get_size_inches()
    axes = drawing.add_axes(
        (left / sheet_width, 1 - (top + height) / sheet_height, width / sheet_width, height / sheet_height)
    )
    axes.set_axis_off()
    return axes


def axes_with_scales(drawing: Drawing) -> Axes:
    """Axes that fill a sheet, with as much room at their sides as their ticks and labels need."""
    drawing.set_layout_engine("constrained", w_pad=0.03, h_pad=0.03)
    return drawing.add_subplot()


def legend_above(axes: Axes, columns: int) -> None:
    """Say which line is which above the axes, where no line runs, over the drawing's whole width."""
    axes.figure.legend(
        *axes.get_legend_handles_labels(), loc="outside upper left", ncols=columns, borderaxespad=0.2
    )


def write_at(drawing: Drawing, left: float, top: float, text: str, **letters: Any) -> None:
    """Letters placed by inches from the sheet's top left corner, standing on their baseline."""
    width, height = drawing.get_size_inches()
    drawing.text(left / width, 1 - top / height, text, **{"va": "baseline", **letters})


def house_mark(drawing: Drawing, left: float, top: float, side: float) -> None:
    """The mark of the reports: a set square with its hole, by inches from the sheet's top left corner."""
    axes = axes_in(drawing, left, top, side, side)
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    for corners, colour in (
        ([(0, 0), (1, 0), (0, 1)], style.INK),
        ([(0.2, 0.2), (0.52, 0.2), (0.2, 0.52)], style.PAPER),
    ):
        axes.add_patch(Polygon(corners, closed=True, facecolor=colour, edgecolor="none"))


def as_png(drawing: Drawing, dots_per_inch: int) -> bytes:
    """A drawing as a PNG file's content."""
    buffer = io.BytesIO()
    drawing.savefig(buffer, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return buffer.getvalue()


def as_small_png(drawing: Drawing, dots_per_inch: int) -> bytes:
    """A drawing as a PNG file's content in the 256 colours of `style.palette`: half of the size or less."""
    picture = np.asarray(Image.open(io.BytesIO(as_png(drawing, dots_per_inch))).convert("RGB"))
    palette = style.palette()
    packed = picture.astype(np.uint32) @ np.array([1 << 16, 1 << 8, 1], np.uint32)
    drawn, place = np.unique(packed, return_inverse=True)
    _, nearest = KDTree(palette).query(np.stack([drawn >> 16, drawn >> 8 & 255, drawn & 255], -1))
    few = Image.fromarray(nearest[place].reshape(packed.shape).astype(np.uint8), "P")
    few.putpalette(palette.tobytes())
    buffer = io.BytesIO()
    few.save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def as_svg(drawing: Drawing) -> str:
    """A drawing as an ``<svg>`` element to stand within a page."""
    buffer = io.StringIO()
    drawing.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = buffer.getvalue()
    return _without_inline_styles(text[text.index("<svg") :])


def _without_inline_styles(svg: str) -> str:
    """The same drawing with its styles as plain attributes, which pages that allow no inline style show too."""
    svg = re.sub(r"\s*<style[^>]*>.*?</style>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"\d+\.\d{3,}", _rounded, svg)
    return re.sub(r'style="([^"]*)"', lambda found: _as_attributes(found.group(1)), svg)


def _rounded(number: re.Match[str]) -> str:
    """To a hundredth of a point, which nobody sees; scales of letters, below 1, to five digits."""
    value = float(number.group())
    return f"{value:.5g}" if value < 1 else f"{value:.2f}"


def _as_attributes(style_text: str) -> str:
    pairs = (part.partition(":") for part in style_text.split(";") if part.strip())
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, _, value in pairs)
