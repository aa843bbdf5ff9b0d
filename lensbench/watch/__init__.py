"""The live bench: one shot looked at in about a second, a folder followed, an evening's shots judged.

In: a shot's file or a folder, and what is known of the bench. Out: `Look`, with what to do next, and a page.
Called by the command line.
"""

from lensbench.watch._arrivals import follow
from lensbench.watch._bench import Bench, bench_of
from lensbench.watch._evening import Evening, expected_s, judge_evening
from lensbench.watch._history import History, Seen
from lensbench.watch._look import look_at
from lensbench.watch._looks import SPOTS, Look, Problem
from lensbench.watch._open import OpenQuestion
from lensbench.watch._page import LivePage, fullest
from lensbench.watch._readiness import get_ready
from lensbench.watch._words import HISTORY_HEAD, figure_rows, history_rows, in_short, problems_in_words, spot_rows

__all__ = [
    "HISTORY_HEAD",
    "SPOTS",
    "Bench",
    "Evening",
    "History",
    "LivePage",
    "Look",
    "OpenQuestion",
    "Problem",
    "Seen",
    "bench_of",
    "expected_s",
    "figure_rows",
    "follow",
    "fullest",
    "get_ready",
    "history_rows",
    "in_short",
    "judge_evening",
    "look_at",
    "problems_in_words",
    "spot_rows",
]
