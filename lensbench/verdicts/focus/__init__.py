"""Was the target in focus and square, and how to step a rail.

In: the findings of one setting. Out: judgements with their numbers.
Called by `run`.
"""

from lensbench.verdicts.focus._error import FocusError, judge_focus_error
from lensbench.verdicts.focus._rail import RailShot, advise_rail, rail_notices, single_shot_notices
from lensbench.verdicts.focus._sheet_depth import BLUR_PX, SheetDepth, judge_sheet_depth

__all__ = [
    "BLUR_PX",
    "FocusError",
    "RailShot",
    "SheetDepth",
    "advise_rail",
    "judge_focus_error",
    "judge_sheet_depth",
    "rail_notices",
    "single_shot_notices",
]
