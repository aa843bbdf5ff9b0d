"""Was the target in focus, square and flat, and how to step a rail.

In: the findings of one setting. Out: judgements with their numbers.
Called by `run`.
"""

from lensbench.verdicts.focus._error import FocusError, judge_focus_error
from lensbench.verdicts.focus._rail_advice import advise_rail
from lensbench.verdicts.focus._rail_notices import RailShot, rail_notices, single_shot_notices
from lensbench.verdicts.focus._sheet_depth import (
    BLUR_PX,
    SheetBulge,
    SheetDepth,
    judge_sheet_bulge,
    judge_sheet_depth,
    sharpness_lost,
)

__all__ = [
    "BLUR_PX",
    "FocusError",
    "RailShot",
    "SheetBulge",
    "SheetDepth",
    "advise_rail",
    "judge_focus_error",
    "judge_sheet_bulge",
    "judge_sheet_depth",
    "rail_notices",
    "sharpness_lost",
    "single_shot_notices",
]
