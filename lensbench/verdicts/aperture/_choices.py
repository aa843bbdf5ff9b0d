"""Which aperture serves what, and what it gives up for that."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from lensbench.figure import Figure
from lensbench.findings import ApertureChoice, ApertureFigures, DeeperField, Price, Setting
from lensbench.verdicts.aperture._figures import Metric, ratio_percent
from lensbench.verdicts.aperture._ranking import ranked

KEPT_PERCENT = 80.0
"""The deepest field is looked for among apertures whose centre keeps so much of the best one's MTF50 (our own
choice: about what a quarter wave of defocus leaves of a perfect lens's)."""

_MORE_IS_BETTER = {
    "centre": True,
    "corners": True,
    "evenness_percent": True,
    "falloff_stops": False,
    "glow_percent": False,
    "depth_mm": True,
}
"""The figures that can be the price of an aperture."""


def choose_apertures(
    settings: Sequence[Setting], metrics: Mapping[str, Metric], rows: Sequence[ApertureFigures]
) -> list[ApertureChoice]:
    """The aperture for each purpose that the shots can tell of.

    Parameters
    ----------
    settings : sequence of Setting
        Those of a report.
    metrics : mapping
        Their figures by name, and by the setting's number.
    rows : sequence of ApertureFigures
        The same by aperture.
    """
    found = [
        _highest("sharpest centre", "centre", settings, metrics, rows),
        _highest("most even", "evenness_percent", settings, metrics, rows),
        _deepest(rows),
        _dirt_shows_from(rows),
    ]
    return [choice for choice in found if choice is not None]


def _highest(
    purpose: str,
    name: str,
    settings: Sequence[Setting],
    metrics: Mapping[str, Metric],
    rows: Sequence[ApertureFigures],
) -> ApertureChoice | None:
    """The aperture with the highest of one figure; None with fewer than two to choose from."""
    order = ranked(settings, metrics[name]) if metrics[name] else []
    if len(order) < 2:
        return None
    best, *others = order
    equal = [other.label for other in others if other.equal_to_best]
    return ApertureChoice(purpose, best.label, best.mean, equal, _prices(best.label, name, rows))


def _deepest(rows: Sequence[ApertureFigures]) -> ApertureChoice | None:
    """The aperture with the most depth of field of those whose centre is surely sharp enough."""
    known = [(row, row.centre, row.depth_mm) for row in rows if row.centre and row.depth_mm]
    if len(known) < 2:
        return None
    best = max((centre for _, centre, _ in known), key=lambda figure: figure.value)
    kept = {
        row.aperture: Figure.of(100.0, 0.0, "%") if centre is best else ratio_percent(centre, best)
        for row, centre, _ in known
    }
    sure = [(row, depth) for row, _, depth in known if kept[row.aperture].low >= KEPT_PERCENT]
    chosen, depth = max(sure, key=lambda pair: pair[1].value)
    deeper = [
        DeeperField(row.aperture, other, kept[row.aperture])
        for row, _, other in known
        if other.value > depth.value
    ]
    unsure = [one.aperture for one in deeper if one.kept_percent.high >= KEPT_PERCENT]
    prices = _prices(chosen.aperture, "depth_mm", rows)
    nearest = max(deeper, key=lambda one: one.kept_percent.value, default=None)
    return ApertureChoice("deepest field", chosen.aperture, depth, unsure, prices, KEPT_PERCENT, nearest)


def _dirt_shows_from(rows: Sequence[ApertureFigures]) -> ApertureChoice | None:
    """The first aperture in the order of the settings (rising f-number) whose flat shows a mark."""
    looked = [row for row in rows if row.marks is not None]
    marked = [row for row in looked if row.marks]
    if len(looked) < 2 or not marked:
        return None
    first = marked[0]
    return ApertureChoice("dirt shows from", first.aperture, Figure.of(first.marks or 0, 0.0, ""), [], [])


def _prices(aperture: str, chosen_for: str, rows: Sequence[ApertureFigures]) -> list[Price]:
    """What an aperture gives up against the others, as far as it is beyond both intervals."""
    return [price for name in _MORE_IS_BETTER if name != chosen_for for price in _price(aperture, name, rows)]


def _price(aperture: str, name: str, rows: Sequence[ApertureFigures]) -> Iterator[Price]:
    known = {row.aperture: figure for row in rows if (figure := getattr(row, name)) is not None}
    if aperture not in known:
        return
    value, sign = known[aperture], 1 if _MORE_IS_BETTER[name] else -1
    best_at = max(known, key=lambda label: sign * known[label].value)
    best = known[best_at]
    apart = best.low > value.high if sign > 0 else best.high < value.low
    if apart:
        yield Price(name, value, best, best_at)
