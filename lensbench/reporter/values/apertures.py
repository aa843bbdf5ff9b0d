"""Which apertures speak for a report: the rankings, and the setting that is sharpest."""

from __future__ import annotations

from lensbench.findings import ApertureRanking, ApertureSharpness, Figure, Report, Setting
from lensbench.formatting import bare
from lensbench.reporter.values.sharpness import sharpness_unit, zone_figures


def ranking_of(report: Report, part: str) -> ApertureRanking | None:
    """The ranking for a part of the frame, if there is one."""
    rankings = report.verdict.aperture if report.verdict else []
    return next((ranking for ranking in rankings if ranking.part == part), None)


def sharpest_setting(report: Report) -> Setting | None:
    """The setting that speaks for the lens: of the sharpest aperture, the setup that came out best."""
    ranking = ranking_of(report, "frame")
    if ranking is not None:
        return report.settings[ranking.ranked[0].settings[0]]
    return next((setting for setting in report.settings if zone_figures(setting, sharpness_unit(report))), None)


def bare_mean(one: ApertureSharpness) -> str:
    """An aperture's mean alone, with as many digits as its noise, or the spread of its setups, allows."""
    return bare(Figure.of(one.mean.value, one.spread.value, one.mean.unit) if one.spread else one.mean)
