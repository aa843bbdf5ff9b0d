"""The hand that all drawings of the reports share: ink, letters, the colour scale, the frame, the set square.

Drawings use matplotlib's figures directly, without its global state, so that several can be drawn at once.
"""

from __future__ import annotations

import functools
import io
import math
from collections.abc import Iterator
from contextlib import contextmanager

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Circle, Polygon, Rectangle, Wedge
from matplotlib.patheffects import withStroke
from scipy.ndimage import distance_transform_edt

from lensbench import frame

INK = "#1b2230"
BLACK = "#000000"
MUTED = "#667080"
HAIRLINE = "#c3c9d2"
PAPER = "#ffffff"
UNMEASURED = "#eceff3"
COLOURS = {"red": "#c8372d", "green": "#2f7d4f", "blue": "#1f5fd0", "grey": "#555b66"}
"""Ink for what belongs to a colour channel; red and blue also differ in the shape of what is drawn."""

SCALE = matplotlib.colormaps["cividis"]
"""The one colour scale: perceptually even, and the same to colour-blind eyes and in grey."""

_STYLE = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8,
    "text.color": INK,
    "axes.linewidth": 0.6,
    "svg.fonttype": "path",
    "svg.hashsalt": "lensbench",
    "path.simplify": False,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw within this: the letters and line widths of the house."""
    with matplotlib.rc_context(_STYLE):
        yield


def new_drawing(width_in: float, height_in: float) -> Drawing:
    """An empty sheet of the given size in inches."""
    drawing = Drawing(figsize=(width_in, height_in), facecolor=PAPER)
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


def write_at(drawing: Drawing, left: float, top: float, text: str, **style) -> None:
    """Letters placed by inches from the sheet's top left corner, standing on their baseline."""
    width, height = drawing.get_size_inches()
    drawing.text(left / width, 1 - top / height, text, **{"va": "baseline", **style})


def name_scale(axes: Axes, text: str, letters: float) -> None:
    """Say what the upright scale counts, at the bottom left, where falling and rising curves leave room."""
    axes.annotate(
        text, (0, 0), (3, 3), xycoords="axes fraction", textcoords="offset points", ha="left", va="bottom",
        fontsize=letters * 0.9, color=MUTED, path_effects=halo(), zorder=5,
    )  # fmt: skip


def as_png(drawing: Drawing, dots_per_inch: int) -> bytes:
    """A drawing as a PNG file's content."""
    buffer = io.BytesIO()
    drawing.savefig(buffer, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return buffer.getvalue()


def as_svg(drawing: Drawing) -> str:
    """A drawing as an ``<svg>`` element to stand within a page."""
    buffer = io.StringIO()
    drawing.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = buffer.getvalue()
    return text[text.index("<svg") :]


def colour_of(share: float) -> tuple[float, float, float, float]:
    """The scale's colour for 0 (worst) to 1 (best)."""
    return SCALE(min(max(share, 0.0), 1.0))


def ink_on(colour) -> str:
    """Black or paper, whichever reads better on a colour (contrast by WCAG's relative luminance)."""
    return BLACK if _contrast(colour, BLACK) >= _contrast(colour, PAPER) else PAPER


def _contrast(first, second) -> float:
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour) -> float:
    rgb = np.array(matplotlib.colors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def halo(colour: str = PAPER, width: float = 2.0) -> list:
    """Path effects that keep letters and lines readable over anything."""
    return [withStroke(linewidth=width, foreground=colour)]


_STEPS = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)


def nice_ceiling(value: float) -> float:
    """The next of 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten at or above a positive value."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in _STEPS if step * power >= value * 0.9999)


def nice_floor(value: float) -> float:
    """The last of the same numbers at or below a positive value."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in reversed(_STEPS) if step * power <= value * 1.0001)


# -- the frame ------------------------------------------------------------------------------------------------


def open_frame(axes: Axes, size: tuple[int, int], rings: bool = True) -> None:
    """Set axes to the picture's own pixels, y down, and draw its border and, faintly, the rings of zones."""
    width, height = size
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(height - 0.5, -0.5)
    axes.set_aspect("equal")
    border = Rectangle((-0.5, -0.5), width, height, fill=False, edgecolor=INK, linewidth=0.8, zorder=9)
    border.set_clip_on(False)
    axes.add_patch(border)
    if rings:
        for end in list(frame.RINGS.values())[:-1]:
            radius = end * frame.half_diagonal(size)
            ring = Circle(frame.centre_of(size), radius, fill=False, edgecolor=HAIRLINE, linewidth=0.5, zorder=1)
            axes.add_patch(ring)


def leave_blank(axes: Axes, size: tuple[int, int]) -> None:
    """An empty frame that says so, where there is nothing to draw."""
    open_frame(axes, size, rings=False)
    axes.add_patch(Rectangle((-0.5, -0.5), *size, facecolor=UNMEASURED, edgecolor="none"))
    axes.text(*frame.centre_of(size), "not measured", color=MUTED, ha="center", va="center")


def zone_patch(zone: str, size: tuple[int, int], **style) -> Wedge | Circle:
    """The outline of a zone, to be clipped at the frame's border."""
    ring, _, quarter = zone.partition(" ")
    radius = frame.half_diagonal(size)
    ends = list(frame.RINGS)
    inner = frame.RINGS[ends[ends.index(ring) - 1]] if ring != "centre" else 0.0
    outer = min(frame.RINGS[ring], 1.01)
    if ring == "centre":
        return Circle(frame.centre_of(size), outer * radius, **style)
    # Angles run clockwise as seen, since y points down.
    start = {"bottom-right": 0, "bottom-left": 90, "top-left": 180, "top-right": 270}[quarter]
    return Wedge(frame.centre_of(size), outer * radius, start, start + 90, width=(outer - inner) * radius, **style)


@functools.cache
def zone_anchor(zone: str, size: tuple[int, int]) -> tuple[float, float]:
    """Where in a zone its figures stand, (x, y) in px: its middle, or in a corner where there is most room."""
    across, down = np.linspace(-0.5, size[0] - 0.5, 242), np.linspace(-0.5, size[1] - 0.5, 242)
    x, y = np.meshgrid(across, down)
    inside = frame.zone_index(x, y, size) == frame.ZONES.index(zone)
    inside[[0, -1]] = inside[:, [0, -1]] = False
    if not inside.any():
        return frame.centre_of(size)
    if not zone.startswith("corner"):
        return float(x[inside].mean()), float(y[inside].mean())
    room = distance_transform_edt(inside, sampling=(size[1], size[0]))
    widest = np.unravel_index(np.argmax(room), room.shape)
    return float(x[widest]), float(y[widest])


# -- the set square -------------------------------------------------------------------------------------------


def set_square(corner: np.ndarray, first_leg: np.ndarray, second_leg: np.ndarray) -> np.ndarray:
    """The three corners of a set square from its right angle and its two legs, shape (3, 2)."""
    return np.array([corner, corner + first_leg, corner + second_leg])


def house_mark(drawing: Drawing, left: float, top: float, side: float) -> None:
    """The mark of the reports: a set square with its hole, by inches from the sheet's top left corner."""
    axes = axes_in(drawing, left, top, side, side)
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.add_patch(Polygon([(0, 0), (1, 0), (0, 1)], closed=True, facecolor=INK, edgecolor="none"))
    axes.add_patch(Polygon([(0.2, 0.2), (0.52, 0.2), (0.2, 0.52)], closed=True, facecolor=PAPER, edgecolor="none"))
