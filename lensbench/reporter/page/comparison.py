"""The page of builds compared: what changed, newest first, with maps of differences and tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup
from matplotlib.axes import Axes

from lensbench.findings.comparison import BuildChange, ComparedAperture, Comparison
from lensbench.reporter.page.panels import Panel, bare_panel
from lensbench.reporter.page.shell import environment, security_policy, text_of
from lensbench.reporter.plots.difference_map import draw_differences, has_zones, largest_difference
from lensbench.reporter.plots.style import house_style
from lensbench.reporter.tables.comparison import headline_table, zones_table
from lensbench.reporter.tables.table import Table
from lensbench.reporter.words.comparison import answer_of, build_in_short, change_in_words, what_was_changed


@dataclass(frozen=True)
class ChangePart:
    """What the page shows from one build to the next."""

    number: int
    before: str
    after: str
    answer: str
    said: list[str]
    changed: list[str]
    unlike: Sequence[str]
    maps: list[Panel]
    headlines: list[Table]
    zones: list[Table]


def comparison_text(comparison: Comparison, sizes: Sequence[tuple[int, int]]) -> str:
    """The page of builds compared as HTML.

    Parameters
    ----------
    comparison : Comparison
    sizes : sequence of (int, int)
        The frame of each change's later build, in pixels.
    """
    style = text_of("report.css")
    with house_style():
        parts = [
            _part(number, change, size)
            for number, (change, size) in enumerate(zip(comparison.changes, sizes, strict=True), start=1)
        ]
        return (
            environment()
            .get_template("comparison.html")
            .render(
                title=" → ".join(build.name for build in comparison.builds),
                parts=parts[::-1],
                policy=security_policy(style),
                style=Markup(style),
            )
        )


def _part(number: int, change: BuildChange, size: tuple[int, int]) -> ChangePart:
    zones = [zones_table(aperture) for aperture in change.apertures]
    return ChangePart(
        number=number,
        before=build_in_short(change.before),
        after=build_in_short(change.after),
        answer=answer_of(change),
        said=change_in_words(change),
        changed=what_was_changed(change.before, change.after),
        unlike=change.unlike,
        maps=[_map(change, aperture, size) for aperture in change.apertures if has_zones(aperture)],
        headlines=[headline_table(aperture) for aperture in change.apertures],
        zones=[table for table in zones if table is not None],
    )


def _map(change: BuildChange, aperture: ComparedAperture, size: tuple[int, int]) -> Panel:
    rows = [one for one in aperture.zones if one.what == "sharpness"]
    count: Mapping[bool | None, int] = {
        way: sum(one.counts and one.better is way for one in rows) for way in (True, False)
    }
    caption = f"{count[True]} zones sharper, {count[False]} softer, the rest too small a change to tell"

    def draw(axes: Axes) -> None:
        draw_differences(axes, aperture, size, largest_difference(change))

    return bare_panel(draw, aperture.aperture, caption, size[0] / size[1])
