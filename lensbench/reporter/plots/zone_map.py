"""The zone map: one picture that shows at a look where the lens is good.

Each setting takes one block: a large panel of sharpness, and at its side two small ones, colour fringing above
light and dirt. The key stands once, at the foot.
"""

from __future__ import annotations

import math

from matplotlib.figure import Figure as Drawing

from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import as_png, axes_in, house_mark, new_drawing, write_at
from lensbench.reporter.plots.falloff_and_marks import draw_light
from lensbench.reporter.plots.fringing import draw_fringing
from lensbench.reporter.plots.zone_map_key import draw_fringing_key, draw_light_key, draw_sharpness_key
from lensbench.reporter.plots.zone_sharpness import draw_sharpness
from lensbench.reporter.words.captions import about_the_shots, light_in_short, sharpness_in_short
from lensbench.reporter.words.fringing import fringing_in_short

_Inches = tuple[float, float]

# All lengths are inches; chosen by eye.
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
    with style.house_style():
        return as_png(draw_zone_map(report), _DOTS_PER_INCH)


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
    sheet = new_drawing(
        2 * _MARGIN + columns * block_width + (columns - 1) * _BETWEEN, _HEADER + rows * block_height + _FOOT
    )
    _draw_header(sheet, report)
    for number, setting in enumerate(blocks):
        row, column = divmod(number, columns)
        left = _MARGIN + column * (block_width + _BETWEEN)
        _draw_block(sheet, report, setting, (left, _HEADER + row * block_height), large, small)
    foot, side = _HEADER + rows * block_height, _MARGIN + max(large[0], _LEAST_LARGE) + _GUTTER
    draw_sharpness_key(sheet, report, _MARGIN, foot)
    draw_fringing_key(sheet, report, side, foot, small[0] / report.camera.size_px[0])
    draw_light_key(sheet, report, side, foot + 0.4)
    return sheet


def _draw_header(sheet: Drawing, report: Report) -> None:
    house_mark(sheet, _MARGIN, 0.36, 0.36)
    write_at(sheet, _MARGIN + 0.52, 0.56, report.build.name, fontsize=15, weight="bold")
    write_at(sheet, _MARGIN + 0.52, 0.75, about_the_shots(report), fontsize=8, color=style.MUTED)


def _draw_block(
    sheet: Drawing, report: Report, setting: Setting, at: _Inches, large: _Inches, small: _Inches
) -> None:
    """A setting: its sharpness, large, and beside it colour above light."""
    left, top = at
    side = left + max(large[0], _LEAST_LARGE) + _GUTTER
    baseline = top + _CAPTION - 0.09
    name = setting.name
    write_at(sheet, left, baseline, name, fontsize=12, weight="bold")
    _write_caption(sheet, left + large[0], baseline, "", sharpness_in_short(report, setting), ha="right")
    draw_sharpness(axes_in(sheet, left, top + _CAPTION, *large), report, setting, letters=8.5)

    _write_caption(sheet, side, baseline, "Colour", fringing_in_short(setting))
    draw_fringing(axes_in(sheet, side, top + _CAPTION, *small), report, setting, line=0.8)

    below = top + _CAPTION + large[1] - small[1]
    _write_caption(sheet, side, below - 0.09, "Light", light_in_short(setting))
    draw_light(axes_in(sheet, side, below, *small), report, setting)


def _write_caption(sheet: Drawing, left: float, baseline: float, title: str, text: str, ha: str = "left") -> None:
    if title:
        write_at(sheet, left, baseline, title, fontsize=8, weight="bold")
        left += 0.09 * len(title)
    write_at(sheet, left, baseline, text, fontsize=8, color=style.MUTED, ha=ha)
