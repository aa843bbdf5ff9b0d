"""The zone map: one picture that shows at a look where the lens is good.

Each setting takes one block: a large panel of sharpness, and at its side two small ones, colour fringing above
light and dirt. The key stands once, at the foot.
"""

from __future__ import annotations

import math

import numpy as np
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Circle, Ellipse, FancyArrowPatch

from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style as hand
from lensbench.reporter.plots.fringing import arrow_scale, draw_fringing
from lensbench.reporter.plots.light import darkest_stops, draw_light
from lensbench.reporter.plots.sharpness import draw_sharpness, sharpness_ceiling, sharpness_unit, shown_channel
from lensbench.reporter.words import sentences
from lensbench.reporter.words.fringing import fringing_in_short

# All lengths are inches.
_MARGIN = 0.45
_HEADER = 1.02
_FOOT = 1.05
_LARGE_AREA = 24.0
_CAPTION = 0.3
_GUTTER = 0.26
_BETWEEN = 0.5
_LEAST_LARGE = 4.4
_LEAST_SMALL = 2.5
_DOTS_PER_INCH = 200

HEADER_PX = round((_HEADER - 0.1) * _DOTS_PER_INCH)
MARGIN_PX = round((_MARGIN - 0.03) * _DOTS_PER_INCH)
"""How many rows of the picture its header takes, and how many columns each empty margin."""


def zone_map_png(report: Report) -> bytes:
    """The zone map of a report as a PNG file's content."""
    with hand.house_style():
        return hand.as_png(draw_zone_map(report), _DOTS_PER_INCH)


def draw_zone_map(report: Report) -> Drawing:
    """The zone map of a report as a drawing."""
    blocks = report.settings
    columns = 1 if len(blocks) <= 2 else 2 if len(blocks) <= 6 else 3
    rows = math.ceil(len(blocks) / columns)
    aspect = report.camera.size_px[0] / report.camera.size_px[1]
    large = math.sqrt(_LARGE_AREA * aspect), math.sqrt(_LARGE_AREA / aspect)
    small_height = (large[1] - _CAPTION - _GUTTER * 0.5) / 2
    small = small_height * aspect, small_height
    block_width = max(large[0], _LEAST_LARGE) + _GUTTER + max(small[0], _LEAST_SMALL)
    block_height = _CAPTION + large[1] + _BETWEEN * 0.7
    sheet = hand.new_drawing(
        2 * _MARGIN + columns * block_width + (columns - 1) * _BETWEEN, _HEADER + rows * block_height + _FOOT
    )
    _draw_header(sheet, report)
    for number, setting in enumerate(blocks):
        row, column = divmod(number, columns)
        left = _MARGIN + column * (block_width + _BETWEEN)
        _draw_block(sheet, report, setting, (left, _HEADER + row * block_height), large, small)
    _draw_key(sheet, report, _HEADER + rows * block_height, large, small)
    return sheet


def _draw_header(sheet: Drawing, report: Report) -> None:
    hand.house_mark(sheet, _MARGIN, 0.36, 0.36)
    hand.write_at(sheet, _MARGIN + 0.52, 0.56, report.build.name, fontsize=15, weight="bold")
    hand.write_at(sheet, _MARGIN + 0.52, 0.75, sentences.about_the_shots(report), fontsize=8, color=hand.MUTED)


def _draw_block(sheet: Drawing, report: Report, setting: Setting, at, large, small) -> None:
    left, top = at
    side = left + max(large[0], _LEAST_LARGE) + _GUTTER
    baseline = top + _CAPTION - 0.09
    name = setting.name
    hand.write_at(sheet, left, baseline, name, fontsize=12, weight="bold")
    _write_caption(sheet, left + large[0], baseline, "", sentences.sharpness_in_short(report, setting), ha="right")
    draw_sharpness(hand.axes_in(sheet, left, top + _CAPTION, *large), report, setting, letters=8.5)

    _write_caption(sheet, side, baseline, "Colour", fringing_in_short(setting))
    draw_fringing(hand.axes_in(sheet, side, top + _CAPTION, *small), report, setting, line=0.8)

    below = top + _CAPTION + large[1] - small[1]
    _write_caption(sheet, side, below - 0.09, "Light", sentences.light_in_short(setting))
    draw_light(hand.axes_in(sheet, side, below, *small), report, setting)


def _write_caption(sheet: Drawing, left: float, baseline: float, title: str, text: str, ha: str = "left") -> None:
    if title:
        hand.write_at(sheet, left, baseline, title, fontsize=8, weight="bold")
        left += 0.09 * len(title)
    hand.write_at(sheet, left, baseline, text, fontsize=8, color=hand.MUTED, ha=ha)


# -- the key --------------------------------------------------------------------------------------------------


def _draw_key(sheet: Drawing, report: Report, top: float, large, small) -> None:
    _key_of_sharpness(sheet, report, _MARGIN, top)
    side = _MARGIN + max(large[0], _LEAST_LARGE) + _GUTTER
    _key_of_fringing(sheet, report, side, top, small[0] / report.camera.size_px[0])
    _key_of_light(sheet, report, side, top + 0.4)


def _note(sheet: Drawing, left: float, baseline: float, text: str, ha: str = "left") -> None:
    hand.write_at(sheet, left, baseline, text, fontsize=7, color=hand.MUTED, ha=ha)


def _key_of_sharpness(sheet: Drawing, report: Report, left: float, top: float) -> None:
    """The colour scale, and what the set square's legs stand for."""
    unit, ceiling = sharpness_unit(report), sharpness_ceiling(report)
    _note(sheet, left, top + 0.07, f"Sharpness: MTF50, {unit}, {_channel(report)}")
    bar = hand.axes_in(sheet, left, top + 0.16, 1.9, 0.11)
    bar.imshow(np.linspace(0, 1, 256)[None, :], cmap=hand.SCALE, aspect="auto")
    for share, side in ((0, "left"), (0.5, "center"), (1, "right")):
        _note(sheet, left + 1.9 * share, top + 0.41, f"{ceiling * share:g}", side)
    axes = hand.axes_in(sheet, left + 2.3, top + 0.06, 0.46, 0.4)
    axes.set_xlim(-0.1, 1.05)
    axes.set_ylim(-0.1, 0.9)
    axes.plot((0, 1), (0.7, 0), color=hand.HAIRLINE, linewidth=0.8)
    for end, share in (((1, 0), 0.95), ((0, 0.7), 0.65)):
        axes.plot((0, end[0]), (0, end[1]), color=hand.INK, linewidth=4.2, solid_capstyle="round")
        axes.plot((0, end[0]), (0, end[1]), color=hand.colour_of(share), linewidth=2.8, solid_capstyle="round")
    _note(sheet, left + 2.48, top + 0.12, "edges across the radius: tangential")
    _note(sheet, left + 2.86, top + 0.46, "edges along the radius, away from the middle: sagittal")


def _channel(report: Report) -> str:
    """The channel that sharpness is shown in."""
    return next((shown_channel(s) for s in report.settings if s.sharpness and s.sharpness.zones), "green")


def _key_of_fringing(sheet: Drawing, report: Report, left: float, top: float, inch_per_px: float) -> None:
    """An arrow of a round length in each colour."""
    scale = arrow_scale(report)
    pixels = hand.nice_ceiling(0.2 / (scale * inch_per_px))
    length = pixels * scale * inch_per_px
    axes = hand.axes_in(sheet, left, top, length, 0.2)
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    for channel, height, style in (("red", 0.8, "-|>"), ("blue", 0.2, "->")):
        arrow = FancyArrowPatch(
            (0, height), (1, height), arrowstyle=f"{style},head_length=0.34,head_width=0.17", mutation_scale=8,
            color=hand.COLOURS[channel], linewidth=0.9, shrinkA=0, shrinkB=0,
        )  # fmt: skip
        axes.add_patch(arrow)
    _note(sheet, left + length + 0.1, top + 0.13, f"{pixels:g} px: red and blue against green")


def _key_of_light(sheet: Drawing, report: Report, left: float, top: float) -> None:
    """What the lines and rings are."""
    bar = hand.axes_in(sheet, left, top - 0.02, 0.7, 0.11)
    bar.imshow(np.linspace(1, 0, 256)[None, :], cmap=hand.SCALE, aspect="auto")
    _note(sheet, left + 0.8, top + 0.065, f"0 to {darkest_stops(report):g} stops darker; lines by thirds")
    outline = {"fill": False, "edgecolor": hand.INK, "linewidth": 0.9}
    axes = hand.axes_in(sheet, left, top + 0.2, 2.6, 0.16)
    axes.set_xlim(0, 26)
    axes.set_ylim(0, 1.6)
    axes.add_patch(Circle((0.8, 0.8), 0.7, **outline))
    axes.add_patch(Ellipse((6.8, 0.8), 2.6, 0.9, **outline))
    axes.add_patch(Circle((13.4, 0.8), 0.75, linestyle=(0, (2.2, 1.4)), **outline))
    for place, word in ((1.9, "spot"), (8.5, "fibre"), (14.5, "patch")):
        axes.text(place, 0.75, word, fontsize=7, color=hand.MUTED, va="center_baseline")
