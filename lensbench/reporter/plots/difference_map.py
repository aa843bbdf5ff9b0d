"""Where one build is sharper or softer than the one before: zones by their difference, sharper ones yellow."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing

from lensbench import frame
from lensbench.findings.comparison import BuildChange, ComparedAperture, Difference
from lensbench.formatting import brief
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import as_png, axes_in, house_mark, new_drawing, write_at
from lensbench.reporter.plots.frame_parts import open_frame, write_in_zone, zone_patch
from lensbench.reporter.plots.zone_map import MARGIN, WIDTH
from lensbench.reporter.plots.zone_map_key import colour_bar
from lensbench.reporter.values.figures import nice_ceiling
from lensbench.reporter.words.comparison import answer_of, build_in_short

# Inches; chosen by eye.
_HEAD, _TITLE, _GUTTER, _BETWEEN, _FOOT = 1.15, 0.3, 0.26, 0.3, 0.7
_FAINT = 0.35
_DOTS_PER_INCH = 160


def has_zones(aperture: ComparedAperture) -> bool:
    """Whether any zone's sharpness was compared."""
    return any(one.what == "sharpness" for one in aperture.zones)


def largest_difference(change: BuildChange) -> float:
    """Where the scale of a change's maps ends, to both sides, in its own unit."""
    sizes = [abs(one.difference.value) for a in change.apertures for one in a.zones if one.what == "sharpness"]
    return nice_ceiling(max([*sizes, 1e-6]))


def draw_differences(
    axes: Axes, aperture: ComparedAperture, size: tuple[int, int], end: float, letters: float = 8.5
) -> None:
    """Draw one aperture's zones, filled by their difference, and faintly where it is zero within the uncertainty.

    Parameters
    ----------
    axes : Axes
        Bare axes with the frame's own proportions.
    aperture : ComparedAperture
        With zones.
    size : (int, int)
        The frame's, in pixels.
    end : float
        Where the scale ends to both sides.
    letters : float
        Size of the figures in points.
    """
    open_frame(axes, size, rings=False)
    rows = {one.part: one for one in aperture.zones if one.what == "sharpness"}
    for zone in frame.ZONES:
        one = rows.get(zone)
        shown = _fill(one, end) if one else style.UNMEASURED
        axes.add_patch(zone_patch(zone, size, facecolor=shown, edgecolor=style.PAPER, linewidth=1.2))
        if one:
            weight = "bold" if one.counts else "normal"
            ink = style.ink_on(shown)
            write_in_zone(axes, zone, size, _label(one), color=ink, fontsize=letters, weight=weight, zorder=6)


def comparison_png(changes: list[tuple[BuildChange, tuple[int, int]]]) -> bytes:
    """The maps of every change, each with the size of its frame in pixels, as a PNG file's content."""
    with style.house_style():
        return as_png(draw_comparison(changes), _DOTS_PER_INCH)


def draw_comparison(changes: list[tuple[BuildChange, tuple[int, int]]]) -> Drawing:
    """The maps of every change, newest last, two apertures in a row."""
    width = (WIDTH - 2 * MARGIN - _GUTTER) / 2
    heights = [_height(change, width * size[1] / size[0]) for change, size in changes]
    sheet = new_drawing(WIDTH, sum(heights) + 0.2)
    top = 0.0
    for (change, size), height in zip(changes, heights, strict=True):
        _draw_change(sheet, change, size, top, width)
        top += height
    return sheet


def _height(change: BuildChange, map_height: float) -> float:
    rows = -(-sum(map(has_zones, change.apertures)) // 2)
    return _HEAD + rows * (_TITLE + map_height + _BETWEEN) + (_FOOT if rows else 0.0)


def _draw_change(sheet: Drawing, change: BuildChange, size: tuple[int, int], top: float, width: float) -> None:
    house_mark(sheet, MARGIN, top + 0.3, 0.4)
    write_at(sheet, MARGIN + 0.55, top + 0.5, _shortened(answer_of(change), 60), fontsize=15, weight="bold")
    builds = f"{build_in_short(change.before)}  →  {build_in_short(change.after)}"
    write_at(sheet, MARGIN + 0.55, top + 0.72, _shortened(builds, 95), fontsize=8.5, color=style.MUTED)
    shown, end = [a for a in change.apertures if has_zones(a)], largest_difference(change)
    height = width * size[1] / size[0]
    for number, aperture in enumerate(shown):
        row, column = divmod(number, 2)
        left = MARGIN + column * (width + _GUTTER)
        start = top + _HEAD + row * (_TITLE + height + _BETWEEN)
        write_at(sheet, left, start + 0.12, _shortened(aperture.aperture, 40), fontsize=11.5, weight="bold")
        draw_differences(axes_in(sheet, left, start + _TITLE - 0.06, width, height), aperture, size, end)
    if shown:
        rows = -(-len(shown) // 2)
        unit = next(one.difference.unit for one in shown[0].zones if one.what == "sharpness")
        foot = top + _HEAD + rows * (_TITLE + height + _BETWEEN) - 0.1
        colour_bar(sheet, style.SCALE, end, (MARGIN + 0.15, foot, 2.4, 0.11), start=-end)
        said = f"Change of MTF50, {unit}: yellow sharper, blue softer."
        write_at(sheet, MARGIN + 2.9, foot + 0.08, said, fontsize=8, color=style.MUTED)
        faint = "Faint: within what refocusing and remounting change."
        write_at(sheet, MARGIN + 2.9, foot + 0.27, faint, fontsize=8, color=style.MUTED)


def _label(one: Difference) -> str:
    return brief(one.difference, signed=True)


def _fill(one: Difference, end: float) -> tuple[float, float, float]:
    """A zone's colour, mixed with paper where its difference does not count."""
    strength = 1.0 if one.counts else _FAINT
    colour = style.colour_of(0.5 + one.difference.value / end / 2)
    red, green, blue = (1 - strength * (1 - part) for part in colour[:3])
    return red, green, blue


def _shortened(text: str, most: int) -> str:
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return plain if len(plain) <= most else f"{plain[: most - 2]} …"
