"""Whether a build is better than the last, or whether that is just focus and noise.

In: reports of builds. Out: the answer `Comparison`: each build against the one before.
Called by the command line.
"""

from lensbench.verdicts.comparison._compare import compare_builds

__all__ = ["compare_builds"]
