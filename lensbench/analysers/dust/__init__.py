"""Dirt marks: the shadows of dust, fibres and smears in an even light.

In: a Shot of an even light. Out: the finding `Dust`, marks, the highest signal to noise first.
Called by `run` and the command line.
"""

from lensbench.analysers.dust._measure import find_marks

__all__ = [
    "find_marks",
]
