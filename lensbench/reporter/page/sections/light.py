"""The light on the page: maps of falloff and marks, profiles, tables; and glare in the dark tiles."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes

from lensbench.findings import Report, Setting
from lensbench.reporter.page.panels import Panel, frame_panels, scaled_panels
from lensbench.reporter.plots.falloff_and_marks import draw_light
from lensbench.reporter.plots.falloff_profile import draw_profile, has_profile
from lensbench.reporter.plots.glare import draw_glare, draw_glare_key, has_glare
from lensbench.reporter.tables.light import falloff_tables, glare_tables
from lensbench.reporter.tables.table import Table
from lensbench.reporter.words.captions import glare_in_short, light_in_short, profile_in_short
from lensbench.reporter.words.light import glare_in_words, light_in_words


@dataclass(frozen=True)
class LightSection:
    """What the page shows of an even light."""

    maps: list[Panel]
    profiles: list[Panel]
    words: list[str]
    tables: list[Table]


@dataclass(frozen=True)
class GlareSection:
    """What the page shows of light in the dark tiles."""

    maps: list[Panel]
    words: list[str]
    tables: list[Table]


def light_section(report: Report) -> LightSection | None:
    """The section on the light; None where no flat was measured."""
    maps = frame_panels(report, _has_light, _draw_light, light_in_short)
    if not maps:
        return None
    return LightSection(
        maps=maps,
        profiles=scaled_panels(report, has_profile, draw_profile, profile_in_short),
        words=light_in_words(report),
        tables=falloff_tables(report),
    )


def glare_section(report: Report) -> GlareSection | None:
    """The section on glare; None where no dark tile was read."""
    maps = frame_panels(report, has_glare, draw_glare, glare_in_short, draw_glare_key)
    return GlareSection(maps, glare_in_words(report), glare_tables(report)) if maps else None


def _has_light(setting: Setting) -> bool:
    return setting.falloff is not None or setting.dust is not None


def _draw_light(axes: Axes, report: Report, setting: Setting) -> None:
    draw_light(axes, report, setting, letters=7.5)
