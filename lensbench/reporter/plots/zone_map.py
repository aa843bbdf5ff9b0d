"""The zone map: one picture that shows at a look where the lens is good, and whether its goals were met.

The sheet is always as wide, so that it reads the same at 800 px across. One or two settings take a block each:
sharpness large, and at its side colour fringing above light and dirt. More settings stand side by side by their
sharpness, and the sharpest one's colour and light below. What no setting has takes no room.
"""

from __future__ import annotations

from typing import NamedTuple

from matplotlib.figure import Figure as Drawing

from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import as_small_png, axes_in, new_drawing, write_at
from lensbench.reporter.plots.falloff_and_marks import draw_light
from lensbench.reporter.plots.fringing import draw_fringing
from lensbench.reporter.plots.zone_map_head import draw_head, head_height
from lensbench.reporter.plots.zone_map_key import draw_fringing_key, draw_light_key, draw_sharpness_key
from lensbench.reporter.plots.zone_sharpness import draw_sharpness
from lensbench.reporter.values.apertures import sharpest_setting
from lensbench.reporter.values.fringing import tiles_of
from lensbench.reporter.values.sharpness import has_zones
from lensbench.reporter.words.captions import light_in_few_words, light_in_short, sharpness_in_short
from lensbench.reporter.words.fringing import fringing_in_short

# All lengths are inches; chosen by eye.
WIDTH = 8.0
MARGIN = 0.3
_INNER = WIDTH - 2 * MARGIN
_TITLE = 0.3
_CAPTION = 0.22
_GUTTER = 0.26
_BETWEEN = 0.26
_LARGE_SHARE = 0.675
_HIGHEST = 5.2
_DOTS_PER_INCH = 160

_MOST_BLOCKS = 2
"""From more settings on each is shown by its sharpness alone."""

_MOST_SETTINGS = 8
"""From more on only the first setup of each aperture is shown."""


class _Panel(NamedTuple):
    """A drawing's place: left, top, width, height."""

    left: float
    top: float
    width: float
    height: float


def zone_map_png(report: Report) -> bytes:
    """The zone map of a report as a PNG file's content."""
    with style.house_style():
        return as_small_png(draw_zone_map(report), _DOTS_PER_INCH)


def zone_map_margins_px(report: Report) -> tuple[int, int]:
    """How many rows of the picture its head takes, and how many columns each empty margin."""
    return round((head_height(report) - 0.05) * _DOTS_PER_INCH), round((MARGIN - 0.03) * _DOTS_PER_INCH)


def draw_zone_map(report: Report) -> Drawing:
    """The zone map of a report as a drawing."""
    kinds = [kind for kind, has in _HAS.items() if any(map(has, report.settings))]
    shown = shown_settings(report)
    aspect = report.camera.size_px[0] / report.camera.size_px[1]
    by_sharpness = len(shown) > _MOST_BLOCKS and "sharpness" in kinds
    places = _small_blocks(len(shown), aspect) if by_sharpness else _blocks(len(shown), kinds, aspect)
    head = head_height(report)
    last = max((place.top + place.height for block in places for place in block.values()), default=0.0)
    below: dict[str, _Panel] = {}
    if by_sharpness and len(kinds) > 1:
        below = _row(kinds[1:], last + _BETWEEN + _TITLE + _CAPTION, aspect)
        last = max(place.top + place.height for place in below.values())
    sheet = new_drawing(WIDTH, head + last + 0.2 + _KEY_HEIGHT)
    draw_head(sheet, report, MARGIN)
    for setting, block in zip(shown, places, strict=True):
        _draw_block(sheet, report, setting, {kind: _down(place, head) for kind, place in block.items()})
    if below:
        best = sharpest_setting(report) or shown[0]
        _draw_block(sheet, report, best, {kind: _down(place, head) for kind, place in below.items()})
    if not kinds:
        write_at(sheet, MARGIN, head + 0.2, "Nothing was measured by zone.", fontsize=9, color=style.MUTED)
    _draw_key(sheet, report, kinds, head + last + 0.22, [*places, below] if below else places)
    return sheet


def shown_settings(report: Report) -> list[Setting]:
    """The settings that have a place on the map: all, or of very many the first setup of each aperture."""
    own = [setting for setting in report.settings if any(has(setting) for has in _HAS.values())]
    if len(own) <= _MOST_SETTINGS:
        return own
    return list({setting.label: setting for setting in reversed(own)}.values())[::-1]


# -- where everything stands ----------------------------------------------------------------------------------


def _blocks(number: int, kinds: list[str], aspect: float) -> list[dict[str, _Panel]]:
    """A block a setting, one under the other: one drawing, two side by side, or a large one and two small."""
    blocks, top = [], 0.0
    for _ in range(number):
        first = top + _TITLE + _CAPTION
        if len(kinds) < 3:
            block = _row(kinds, first, aspect)
        else:
            # As large as leaves the small ones room for their captions.
            width = min(_LARGE_SHARE * _INNER, _HIGHEST * aspect)
            height = width / aspect
            small = (height - _GUTTER - _CAPTION) / 2
            across = min(_INNER - width - _GUTTER, small * aspect)
            side, down = MARGIN + width + _GUTTER, across / aspect
            block = {
                kinds[0]: _Panel(MARGIN, first, width, height),
                kinds[1]: _Panel(side, first, across, down),
                kinds[2]: _Panel(side, first + height - down, across, down),
            }
        blocks.append(block)
        top = max((place.top + place.height for place in block.values()), default=top) + _BETWEEN
    return blocks


def _row(kinds: list[str], top: float, aspect: float) -> dict[str, _Panel]:
    """One drawing, or two side by side."""
    if not kinds:
        return {}
    width = min((_INNER - (len(kinds) - 1) * _GUTTER) / len(kinds), _HIGHEST * aspect)
    if len(kinds) == 1:
        width = min(width, 6.0)
    lefts = (MARGIN + k * (width + _GUTTER) for k in range(len(kinds)))
    return {kind: _Panel(left, top, width, width / aspect) for kind, left in zip(kinds, lefts, strict=True)}


def _small_blocks(number: int, aspect: float) -> list[dict[str, _Panel]]:
    """Sharpness alone, two in a row."""
    width = (_INNER - _GUTTER) / 2
    step = _TITLE + _CAPTION + width / aspect + _BETWEEN
    return [
        {
            "sharpness": _Panel(
                MARGIN + k % 2 * (width + _GUTTER), k // 2 * step + _TITLE + _CAPTION, width, width / aspect
            )
        }
        for k in range(number)
    ]


def _down(place: _Panel, by: float) -> _Panel:
    return place._replace(top=place.top + by)


# -- drawing --------------------------------------------------------------------------------------------------


def _draw_block(sheet: Drawing, report: Report, setting: Setting, places: dict[str, _Panel]) -> None:
    """A setting's name over its first drawing, and its drawings, each under a caption in words."""
    for number, (kind, place) in enumerate(places.items()):
        if number == 0:
            at = place.top - _CAPTION - 0.08
            write_at(sheet, place.left, at, setting.name, fontsize=11.5, weight="bold")
        _write_caption(sheet, report, setting, kind, place)
        if not _HAS[kind](setting):
            continue
        axes = axes_in(sheet, *place)
        if kind == "sharpness":
            roomy = place.width > 4.5
            draw_sharpness(axes, report, setting, letters=8.5 if roomy else 7.6, roomy=roomy)
        elif kind == "colour":
            draw_fringing(axes, report, setting, line=0.8)
        else:
            draw_light(axes, report, setting, letters=7.6)


_LETTER, _TITLE = 0.068, 0.8
"""How wide a letter of a caption is on average, and its title, in inches."""


def _write_caption(sheet: Drawing, report: Report, setting: Setting, kind: str, place: _Panel) -> None:
    words = {
        "sharpness": lambda: sharpness_in_short(report, setting),
        "colour": lambda: fringing_in_short(setting),
        "light": lambda: light_in_short(setting),
    }[kind]()
    title = {"sharpness": "Sharpness", "colour": "Colour", "light": "Light"}[kind]
    baseline = place.top - 0.08
    room = place.width - (0.0 if place.width < 3.0 else _TITLE)
    if kind == "light" and len(words) * _LETTER > room:
        words = light_in_few_words(setting)
    if place.width < 3.0:
        write_at(sheet, place.left, baseline, words[:1].upper() + words[1:], fontsize=7.6, color=style.MUTED)
        return
    write_at(sheet, place.left, baseline, title, fontsize=8.5, weight="bold")
    write_at(sheet, place.left + place.width, baseline, words, fontsize=8.5, color=style.MUTED, ha="right")


_KEY_HEIGHT = 0.95


def _draw_key(
    sheet: Drawing, report: Report, kinds: list[str], top: float, blocks: list[dict[str, _Panel]]
) -> None:
    left = MARGIN
    if "sharpness" in kinds:
        draw_sharpness_key(sheet, report, left, top)
        left += 4.5
    if "colour" in kinds:
        width = next(block["colour"].width for block in blocks if "colour" in block)
        draw_fringing_key(sheet, report, left, top, width / report.camera.size_px[0])
    if "light" in kinds:
        draw_light_key(sheet, report, left, top + (0.33 if "colour" in kinds else 0.0))


_HAS = {
    "sharpness": lambda setting: has_zones(setting),
    "colour": lambda setting: bool(tiles_of(setting)),
    "light": lambda setting: setting.falloff is not None or setting.dust is not None,
}
"""The drawings by name, in their order, each with what tells whether a setting has it."""
