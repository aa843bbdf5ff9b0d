"""Free edges as a table, a row for each edge and colour, and why other lines could not serve."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container
from itertools import zip_longest
from statistics import median

from lensbench.analysers.free_edges import EdgeColour, FreeEdge, FreeEdges
from lensbench.findings.reasons import REMEDIES, Reason
from lensbench.formatting import NOT_MEASURED, bare, decimals_of, listed, number, with_interval
from lensbench.frame import ZONES
from lensbench.reporter.values.free_edges import free_edge_unit, shown_colour, shown_mtf50
from lensbench.reporter.values.zones import zone_heading
from lensbench.reporter.words.limits import nearly_level_in_words

MANY = 4
"""Edges from which on a sentence sums them up."""

WORDS = 3
"""How many of the first columns are words."""

RINGS = tuple(dict.fromkeys(zone.split(" ")[0] for zone in ZONES))


def edge_table(result: FreeEdges) -> tuple[list[str], list[list[str]]]:
    """Headings and rows, the figures rounded to their intervals; all fits 80 columns.

    An edge takes three rows, or as many as it has colours: which way it runs, its zone and its middle stand below
    each other.
    """
    head = ["no.", "where", "colour", f"MTF50 {free_edge_unit(result)}", "10–90 % px", "colour aside px"]
    return head, [row for edge in result.edges for row in _rows(edge, result)]


def _rows(edge: FreeEdge, result: FreeEdges) -> list[list[str]]:
    where = [
        f"{edge.direction}, {number(edge.angle_deg, 1)}°",
        zone_heading(edge.zone),
        f"{edge.x:.0f}, {edge.y:.0f} px",
    ]
    figures = [[colour.channel, *_figures(colour, result)] for colour in edge.colours]
    rows = zip_longest(where, figures)
    return [
        [str(edge.number) if k == 0 else "", place or "", *(cells or [""] * 4)]
        for k, (place, cells) in enumerate(rows)
    ]


def _figures(colour: EdgeColour, result: FreeEdges) -> list[str]:
    if colour.reason:
        return [NOT_MEASURED] * 3
    mtf50 = colour.mtf50_lp_mm if result.pixel_pitch_um else colour.mtf50
    aside = with_interval(colour.lateral_px, unit=False, signed=True)
    return [with_interval(mtf50, unit=False), bare(colour.rise_px), aside]


def in_summary(result: FreeEdges) -> list[str]:
    """The sharpest edge, the median and the median by zone, of one colour; nothing for a few edges."""
    channels = Counter(shown_colour(edge).channel for edge in result.edges)
    if len(result.edges) < MANY:
        return []
    channel = channels.most_common(1)[0][0]
    figures = [(edge, shown_mtf50(edge, result)) for edge in result.edges if shown_colour(edge).channel == channel]
    unit, (best, sharpest) = free_edge_unit(result), max(figures, key=lambda pair: pair[1].value)
    every = median(figure.value for _, figure in figures)
    decimals = decimals_of(sharpest)
    zones: dict[str, list[float]] = {}
    for edge, figure in figures:
        zones.setdefault(edge.zone, []).append(figure.value)
    by_zone = (f"{zone_heading(zone)} {number(median(zones[zone]), decimals)}" for zone in ZONES if zone in zones)
    missing = _without_an_edge(zones)
    none = f" Without an edge: {listed(missing)}." if missing else ""
    return [
        f"{len(figures)} edges in {channel}: the sharpest is no. {best.number} with {with_interval(sharpest)}, "
        f"the median MTF50 {number(every, decimals)} {unit}. Medians by zone: {', '.join(by_zone)}.{none}"
    ]


def _without_an_edge(zones: Container[str]) -> list[str]:
    """Zones without any of some, whole rings by one name."""
    missing: list[str] = []
    for ring in RINGS:
        parts = [zone for zone in ZONES if zone.startswith(ring)]
        without = [zone for zone in parts if zone not in zones]
        missing += [ring] if without == parts else map(zone_heading, without)
    return missing


def not_measured(result: FreeEdges) -> list[str]:
    """A sentence on each reason why an edge's colours have no figures."""
    missing: dict[Reason, list[str]] = {}
    for edge in result.edges:
        for colour in edge.colours:
            if colour.reason:
                missing.setdefault(colour.reason, []).append(f"{colour.channel} of no. {edge.number}")
    return [f"Not measured ({reason}): {listed(names)}." for reason, names in missing.items()]


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
