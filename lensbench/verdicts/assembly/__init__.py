"""Whether the build was put together straight.

In: the findings of all settings. Out: the answer `Assembly` with its evidence.
Called by `run`.
"""

from lensbench.verdicts.assembly._answer import judge_assembly

__all__ = [
    "judge_assembly",
]
