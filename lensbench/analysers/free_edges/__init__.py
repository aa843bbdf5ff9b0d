"""Clean straight edges anywhere in a shot (a blade, foil before a light), found and measured; no target needed.

In: a Shot. Out: its edges with their sharpness, their colours' displacement, and why other lines could not serve.
Called by `run` and the command line.
"""

from lensbench.analysers.free_edges._measure import (
    EdgeColour,
    FreeEdge,
    FreeEdges,
    free_responses,
    measure_free_edges,
)

__all__ = [
    "EdgeColour",
    "FreeEdge",
    "FreeEdges",
    "free_responses",
    "measure_free_edges",
]
