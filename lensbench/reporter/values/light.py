"""Falloff, the image circle and glare as they are shown."""

from __future__ import annotations

import math

import numpy as np

from lensbench.findings import LENS_AND_LIGHT, CutCorner, Falloff, ImageCircle, Report, Setting
from lensbench.reporter.values.figures import nice_ceiling
from lensbench.reporter.values.zones import CORNERS, corner_name


def darkest_stops(report: Report) -> float:
    """Where the report's scale of falloff ends: whole stops at or above the darkest position, one at least."""
    grids = [setting.falloff.grid.stops for setting in report.settings if setting.falloff]
    worst = [stops for rows in grids for row in rows for stops in row if stops is not None]
    return max(1.0, math.ceil(max(worst) - 0.05)) if worst else 1.0


def brightest_dark(report: Report) -> float:
    """Where the report's scale of light in dark tiles ends: above all but the odd tile, in percent."""
    values = [tile.dark_percent.value for s in report.settings if s.glare for tile in s.glare.tiles]
    highest = float(np.percentile(values, 99)) if values else 0.0
    return nice_ceiling(highest) if highest > 0 else 1.0


def black_corners(setting: Setting) -> list[str]:
    """The corners too dark for a figure where light does not cover the frame: ``top left`` and so on."""
    if setting.falloff is None or setting.falloff.covers_frame:
        return []
    measured = {zone.zone for zone in setting.falloff.zones}
    return [corner_name(zone) for zone in CORNERS if zone not in measured]


def image_circle(falloff: Falloff) -> ImageCircle | None:
    """Where the light ends abruptly, if it does."""
    return falloff.coverage.image_circle if falloff.coverage else None


def cut_corners(falloff: Falloff) -> list[CutCorner]:
    """The corners that the end of the image circle cuts."""
    circle = image_circle(falloff)
    return circle.corners if circle else []


def together(falloff: Falloff | None) -> str:
    """What follows a figure of falloff that is not the lens's alone."""
    return f" ({LENS_AND_LIGHT})" if falloff is not None and falloff.source == LENS_AND_LIGHT else ""
