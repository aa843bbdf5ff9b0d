"""The key of the zone map: colour scales, set square, arrows and rings, placed by inches on its sheet."""

from __future__ import annotations

from typing import Any

from matplotlib.cm import ScalarMappable
from matplotlib.colors import Colormap, Normalize
from matplotlib.figure import Figure as Drawing
from matplotlib.legend_handler import HandlerPatch
from matplotlib.patches import Ellipse, FancyArrowPatch

from lensbench.findings import MEAN, Report
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import axes_in, write_at
from lensbench.reporter.values.figures import nice_ceiling
from lensbench.reporter.values.fringing import arrow_scale
from lensbench.reporter.values.light import darkest_stops
from lensbench.reporter.values.sharpness import channel_of_all, sharpness_ceiling, sharpness_unit
from lensbench.verdicts.zones import known_zones


def draw_sharpness_key(sheet: Drawing, report: Report, left: float, top: float) -> None:
    """Draw the colour scale, and what the set square's legs stand for."""
    _note(sheet, left, top + 0.07, f"Sharpness: MTF50, {sharpness_unit(report)}, {channel_of_all(report)}")
    colour_bar(sheet, style.SCALE, sharpness_ceiling(report), (left + 0.05, top + 0.16, 1.9, 0.11))
    _note(sheet, left, top + 0.62, "long legs: sharp; unequal: softer one way")
    if any(one.direction != MEAN for setting in report.settings for one in known_zones([setting]).values()):
        _note(sheet, left, top + 0.79, "a figure on a pale ground: one direction alone")
    axes = axes_in(sheet, left + 2.62, top + 0.1, 0.46, 0.4)
    axes.set_xlim(-0.1, 1.05)
    axes.set_ylim(-0.1, 0.9)
    axes.plot((0, 1), (0.7, 0), color=style.HAIRLINE, linewidth=0.8)
    for end, share in (((1, 0), 0.95), ((0, 0.7), 0.65)):
        axes.plot((0, end[0]), (0, end[1]), color=style.INK, linewidth=4.2, solid_capstyle="round")
        axes.plot((0, end[0]), (0, end[1]), color=style.colour_of(share), linewidth=2.8, solid_capstyle="round")
    _note(sheet, left + 2.77, top + 0.12, "across the radius: tangential")
    _note(sheet, left + 2.62, top + 0.62, "along the radius: sagittal")


def draw_fringing_key(sheet: Drawing, report: Report, left: float, top: float, inch_per_px: float) -> None:
    """Draw an arrow of a round length in each colour."""
    scale = arrow_scale(report)
    pixels = nice_ceiling(0.2 / (scale * inch_per_px))
    length = pixels * scale * inch_per_px
    axes = axes_in(sheet, left, top, length, 0.2)
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    for channel, height, head in (("red", 0.8, "-|>"), ("blue", 0.2, "->")):
        arrow = FancyArrowPatch(
            (0, height), (1, height), arrowstyle=f"{head},head_length=0.34,head_width=0.17", mutation_scale=8,
            color=style.COLOURS[channel], linewidth=0.9, shrinkA=0, shrinkB=0,
        )  # fmt: skip
        axes.add_patch(arrow)
    _note(sheet, left + length + 0.1, top + 0.13, f"{pixels:g} px: red and blue against green")


def draw_light_key(sheet: Drawing, report: Report, left: float, top: float) -> None:
    """Draw the scale of falloff, and what the rings around marks are."""
    colour_bar(sheet, style.SCALE.reversed(), darkest_stops(report), (left, top, 1.2, 0.11))
    _note(sheet, left + 1.35, top + 0.1, "stops darker; lines by thirds")
    look: dict[str, Any] = {"fill": False, "edgecolor": style.INK, "linewidth": 0.9}
    rings = {
        "spot": Ellipse((0, 0), 1.2, 1.2, **look),
        "fibre": Ellipse((0, 0), 2.4, 0.8, **look),
        "patch": Ellipse((0, 0), 1.2, 1.2, linestyle=(0, (2.2, 1.4)), **look),
    }
    axes = axes_in(sheet, left, top + 0.3, 2.6, 0.2)
    axes.legend(
        list(rings.values()), list(rings), handler_map={Ellipse: HandlerPatch(patch_func=_ring)}, ncols=3,
        loc="center left", labelcolor=style.MUTED, fontsize=8, borderpad=0, borderaxespad=0,
    )  # fmt: skip


def _ring(orig_handle: Ellipse, width: float, height: float, **_: Any) -> Ellipse:
    """A ring in the legend, its sides given in heights of a line."""
    return Ellipse((width / 2, height / 2), orig_handle.width * height, orig_handle.height * height)


def colour_bar(
    sheet: Drawing, colours: Colormap, end: float, box: tuple[float, float, float, float], start: float = 0.0
) -> None:
    """Draw a level colour scale from `start` to `end` in a box (left, top, width, height)."""
    bar_axes = axes_in(sheet, *box)
    bar_axes.set_axis_on()
    scale = ScalarMappable(Normalize(start, end), colours)
    ticks = (start, (start + end) / 2, end)
    bar = sheet.colorbar(scale, cax=bar_axes, orientation="horizontal", ticks=ticks)
    bar.ax.set_xticklabels([f"{tick:g}".replace("-", "−") for tick in ticks])
    bar.outline.set_visible(False)
    bar.ax.tick_params(labelsize=7.6)


def _note(sheet: Drawing, left: float, baseline: float, text: str) -> None:
    write_at(sheet, left, baseline, text, fontsize=8, color=style.MUTED)
