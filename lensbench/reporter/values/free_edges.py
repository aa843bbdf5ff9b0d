"""Free edges as they are shown: the colour that speaks for an edge, and its MTF50."""

from __future__ import annotations

from lensbench.analysers.free_edges import EdgeColour, FreeEdge, FreeEdges
from lensbench.findings import Figure


def shown_colour(edge: FreeEdge) -> EdgeColour:
    """The colour that an edge is flagged by: green where it was measured, else the first that was."""
    measured = [colour for colour in edge.colours if colour.mtf50]
    return next((colour for colour in measured if colour.channel == "green"), measured[0])


def free_edge_unit(result: FreeEdges) -> str:
    """The unit that free edges are shown in: lp/mm where the pixel pitch is known, else cy/px."""
    return "lp/mm" if result.pixel_pitch_um else "cy/px"


def shown_mtf50(edge: FreeEdge, result: FreeEdges) -> Figure:
    """An edge's MTF50 in its shown colour and the shown unit."""
    colour = shown_colour(edge)
    figure = colour.mtf50_lp_mm if result.pixel_pitch_um else colour.mtf50
    assert figure is not None  # The shown colour is one that was measured.
    return figure
