"""What the first look at a shot would load is loaded before it."""

from __future__ import annotations

import subprocess
import sys

COUNT = """
from lensbench.analysers.edge import _bin_loops, _sample_loops
from lensbench.analysers.numerics import banded
from lensbench.watch import get_ready

loops = [_bin_loops.binned, _bin_loops.residuals, _sample_loops.runs_inside, banded.factored, banded.rescaled]
print(*(len(loop.signatures) for loop in loops))
get_ready().join()
print(*(len(loop.signatures) for loop in loops))
"""


def test_the_loops_of_the_fit_are_loaded_before_a_shot_lands() -> None:
    # In a process of its own: the other tests load them as well.
    run = subprocess.run([sys.executable, "-c", COUNT], capture_output=True, text=True, check=True)
    before, after = ([int(count) for count in line.split()] for line in run.stdout.splitlines())
    assert not any(before)
    assert all(after)
    assert not run.stderr
