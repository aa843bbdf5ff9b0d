"""Sharpness on the page: by distance from the middle, as curves, by zone, aperture and colour; the lens alone."""

from __future__ import annotations

import functools
from dataclasses import dataclass

from lensbench.findings import Report, Setting
from lensbench.reporter.page.panels import Panel, scaled_panels
from lensbench.reporter.plots.curves import draw_curves, has_curves
from lensbench.reporter.plots.sharpness_by_distance import draw_sharpness_by_distance
from lensbench.reporter.tables.apertures import aperture_table
from lensbench.reporter.tables.sharpness import (
    finer_sharpness,
    sharpness_by_aperture,
    sharpness_by_colour,
    sharpness_by_zone,
)
from lensbench.reporter.tables.table import Table
from lensbench.reporter.words.captions import sharpness_in_short
from lensbench.reporter.words.limits import (
    caveats_in_words,
    level_curves_in_words,
    limits_in_words,
    linearity_in_words,
)


@dataclass(frozen=True)
class SharpnessSection:
    """What the page shows of sharpness."""

    by_distance: list[Panel]
    curves: list[Panel]
    caveats: list[str]
    by_aperture: Table | None
    by_zone: Table
    by_colour: list[Table]
    limits: list[str]
    finer: list[Table]


def sharpness_section(report: Report) -> SharpnessSection | None:
    """The section; None where no zone's sharpness was measured."""
    by_zone = sharpness_by_zone(report)
    if by_zone is None:
        return None
    in_short = functools.partial(sharpness_in_short, report)
    return SharpnessSection(
        by_distance=scaled_panels(report, _has_edges, draw_sharpness_by_distance, in_short),
        curves=scaled_panels(report, has_curves, draw_curves, lambda _: "contrast from coarse to fine"),
        caveats=[*caveats_in_words(report), *level_curves_in_words(report), linearity_in_words(report)],
        by_aperture=sharpness_by_aperture(report),
        by_zone=by_zone,
        by_colour=sharpness_by_colour(report),
        limits=limits_in_words(report),
        finer=[*filter(None, [aperture_table(report)]), *finer_sharpness(report)],
    )


def _has_edges(setting: Setting) -> bool:
    return bool(setting.sharpness and setting.sharpness.edges)
