"""A report compared with what is true of the shots it was made from: the demo's own check.

The truth is what the simulator says that a perfect measurement would find. Figures are compared at the very
positions that were measured: an edge with its own truth, a zone with the mean truth over the tiles of its figure.
"""

from __future__ import annotations

from collections.abc import Mapping

from lensbench.demo._flat_truth import flat_beside, flat_statistics
from lensbench.demo._statistics import Beside, Statistic
from lensbench.demo._target_truth import target_beside, target_statistics
from lensbench.findings import Report
from lensbench.simulator.session import Truth
from lensbench.simulator.target_shot import TargetTruth


def compare(report: Report, truths: Mapping[str, Truth]) -> tuple[list[Beside], list[Statistic]]:
    """Compare every setting of a report with the truth of its shots.

    Parameters
    ----------
    report : Report
        Of one target shot and one flat a setting.
    truths : mapping of str to TargetTruth or FlatTruth
        By the shots' file names.

    Returns
    -------
    list of Beside
        Some figures of every kind beside the truth.
    list of Statistic
        Over all figures of a kind.
    """
    beside: list[Beside] = []
    statistics: list[Statistic] = []
    for setting in report.settings:
        for name in setting.shots:
            truth = truths[name]
            if isinstance(truth, TargetTruth):
                beside += target_beside(setting, truth)
                statistics += target_statistics(setting, truth)
            else:
                beside += flat_beside(setting, truth, report.camera.size_px)
                statistics += flat_statistics(setting, truth)
    return beside, statistics
