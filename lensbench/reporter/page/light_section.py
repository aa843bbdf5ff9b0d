"""What the page says of the light, beside its maps: profiles, sentences, tables, and glare in the dark tiles."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.findings import Report, Setting
from lensbench.reporter.page.drawings import Panel, panels
from lensbench.reporter.plots.falloff_profile import draw_profile, has_profile
from lensbench.reporter.plots.glare import draw_glare, has_glare
from lensbench.reporter.tables.light import falloff_tables, glare_tables
from lensbench.reporter.tables.page import Table
from lensbench.reporter.words.light import glare_in_words, light_in_words


@dataclass(frozen=True)
class LightParts:
    """The parts of the page's sections on light and on glare; empty lists where there is nothing to say."""

    profiles: list[Panel]
    words: list[str]
    tables: list[Table]
    glare: list[Panel]
    glare_words: list[str]
    glare_tables: list[Table]


def light_parts(report: Report) -> LightParts:
    """Everything that the page says of the light but its maps."""
    return LightParts(
        profiles=panels(report, has_profile, draw_profile, _profile_in_short, aspect=1.6, room=(0.3, 0.22)),
        words=light_in_words(report),
        tables=falloff_tables(report),
        glare=panels(report, has_glare, draw_glare, _glare_in_short),
        glare_words=glare_in_words(report),
        glare_tables=glare_tables(report),
    )


def _profile_in_short(setting: Setting) -> str:
    law = any(step.cos4_stops for step in setting.falloff.profile)
    return "stops from the middle to the corners, the band from the lightest side to the darkest" + (
        "; broken: the cos⁴ law" if law else ""
    )


def _glare_in_short(setting: Setting) -> str:
    if setting.glare.ink_percent is not None:
        return "glare by zone, percent of the white around"
    return "light in the dark, the ink's included, percent of the white around"
