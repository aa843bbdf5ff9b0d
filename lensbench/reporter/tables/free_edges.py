"""Free edges as a table, a row for each edge and colour, and why other lines could not serve."""

from __future__ import annotations

from collections import Counter
from statistics import median

from lensbench.analysers.free_edges import EdgeColour, FreeEdge, FreeEdges
from lensbench.findings.reasons import REMEDIES, Reason
from lensbench.formatting import NOT_MEASURED, bare, decimals_of, number, with_interval
from lensbench.frame import ZONES
from lensbench.reporter.values.free_edges import free_edge_unit, shown_mtf50
from lensbench.reporter.values.zones import zone_heading
from lensbench.reporter.words.limits import nearly_level_in_words

MANY = 4
"""Edges from which on a sentence sums them up."""

WORDS = 4
"""How many of the first columns are words."""


def edge_table(result: FreeEdges) -> tuple[list[str], list[list[str]]]:
    """Headings and rows, the figures rounded to their intervals."""
    unit = "lp/mm" if result.pixel_pitch_um else None
    head = ["no.", "runs", "zone", "colour", "x, y px", "angle °", "length px", "MTF50 cy/px"]
    head += ["MTF50 lp/mm"] if unit else []
    head += ["10–90 % px", "colour aside px"]
    return head, [row for edge in result.edges for row in _rows(edge, unit is not None)]


def _rows(edge: FreeEdge, with_lp_mm: bool) -> list[list[str]]:
    place = [f"{edge.x:.0f}, {edge.y:.0f}", number(edge.angle_deg, 1), number(edge.length_px, 0)]
    rows = []
    for k, colour in enumerate(edge.colours):
        names = [str(edge.number), edge.direction, edge.zone] if k == 0 else [""] * 3
        rows.append([*names, colour.channel, *(place if k == 0 else [""] * 3), *_figures(colour, with_lp_mm)])
    return rows


def _figures(colour: EdgeColour, with_lp_mm: bool) -> list[str]:
    if colour.reason:
        return [colour.reason.value, *[NOT_MEASURED] * (2 + with_lp_mm)]
    lp_mm = [with_interval(colour.mtf50_lp_mm, unit=False)] if with_lp_mm else []
    aside = with_interval(colour.lateral_px, unit=False, signed=True)
    return [with_interval(colour.mtf50, unit=False), *lp_mm, bare(colour.rise_px), aside]


def in_summary(result: FreeEdges) -> list[str]:
    """The sharpest edge, the median and the median by zone, in a sentence; nothing for a few edges."""
    if len(result.edges) < MANY:
        return []
    figures = [(edge, shown_mtf50(edge, result)) for edge in result.edges]
    unit, (best, sharpest) = free_edge_unit(result), max(figures, key=lambda pair: pair[1].value)
    every = median(figure.value for _, figure in figures)
    decimals = decimals_of(sharpest)
    zones: dict[str, list[float]] = {}
    for edge, figure in figures:
        zones.setdefault(edge.zone, []).append(figure.value)
    by_zone = (f"{zone_heading(zone)} {number(median(zones[zone]), decimals)}" for zone in ZONES if zone in zones)
    return [
        f"{len(figures)} edges: the sharpest is no. {best.number} with {with_interval(sharpest)}, the median "
        f"MTF50 {number(every, decimals)} {unit}. Medians by zone: {', '.join(by_zone)}."
    ]


def level_curves(result: FreeEdges) -> list[str]:
    """A sentence on the edges whose contrast runs nearly level about a half, in any colour; none without such."""
    measured = [[colour for colour in edge.colours if colour.mtf50] for edge in result.edges]
    level = sum(any(colour.nearly_level for colour in colours) for colours in measured)
    words = nearly_level_in_words(level, sum(bool(colours) for colours in measured))
    return [words] if words else []


def refusals(result: FreeEdges) -> list[str]:
    """A sentence for each reason why lines could not serve, the commonest first, with what to do."""
    if not result.edges and not result.refused:
        return [
            "Nothing dark with a straight side stands before anything bright. Put a blade before an even light."
        ]
    reasons = Counter(line.reason for line in result.refused)
    return [_sentence(reason, count) for reason, count in reasons.most_common()]


def _sentence(reason: Reason, count: int) -> str:
    lines = "1 line was" if count == 1 else f"{count} lines were"
    remedy = f": {REMEDIES[reason]}." if reason in REMEDIES else "."
    return f"{lines} left out ({reason}){remedy}"
