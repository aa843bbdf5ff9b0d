"""Which aperture: ranked by sharpness, chosen by purpose, held against its light, its blur and its focus.

In: the settings of a report. Out: `ApertureRanking`s and an `ApertureSeries`.
Called by `run`.
"""

from lensbench.verdicts.aperture._ranking import PARTS, judge_aperture
from lensbench.verdicts.aperture._series import judge_series

__all__ = ["PARTS", "judge_aperture", "judge_series"]
