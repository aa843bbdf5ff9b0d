"""Reports of the earlier format, read under the names that their keys have now."""

from __future__ import annotations

from typing import Any

from lensbench.findings.reasons import Reason

EARLIER_FORMAT = "lensbench-report/1"

RENAMED = {
    "allowed_mtf50": "best_possible_mtf50",
    "allowed_mtf50_lp_mm": "best_possible_mtf50_lp_mm",
    "blame": "cause",
    "bright_spot": "hot_spot",
    "differ_by": "smallest_difference",
    "hard_edge": "image_circle",
    "known_until": "measurable_up_to",
    "left_out": "rejected",
    "left_stops": "residual_stops",
    "level": "equal_to_best",
    "lopsided": "gradient",
    "mind": "caveats",
    "place": "lies_on",
    "place_mm": "position_mm",
    "place_why": "evidence",
    "print_percent": "lost_to_print_percent",
    "reached_percent": "achieved_percent",
    "shown": "with_peak",
    "taken_off": "removed",
    "told_by": "source",
    "told_from_decentring": "distinguished_from_decentring",
}
"""Keys by the names that they had in the earlier format, wherever they stand."""

RENAMED_LISTS = {"places": "positions"}
"""The same for keys of lists alone: where dirt lies is still called so, and is a sentence."""


def with_present_names(value: Any) -> Any:
    """Plain data of an earlier report with its keys renamed, at every depth."""
    if isinstance(value, dict):
        present = {_present_name(str(name), part): with_present_names(part) for name, part in value.items()}
        return _with_rise(_with_reason(present) if "why" in present else present)
    return [with_present_names(part) for part in value] if isinstance(value, list) else value


def _present_name(name: str, part: Any) -> str:
    lists = RENAMED_LISTS if isinstance(part, list) else {}
    return lists.get(name) or RENAMED.get(name, name)


def _with_rise(edge: dict[str, Any]) -> dict[str, Any]:
    """An edge whose 10-90 % rise had no interval, with one that is relatively twice as wide as that of MTF50."""
    rise, mtf50 = edge.get("rise_px"), edge.get("mtf50")
    if not isinstance(rise, float | int):
        return edge
    if not isinstance(mtf50, dict) or not mtf50.get("value"):
        return {**edge, "rise_px": None}
    half = abs(rise * (mtf50["high"] - mtf50["low"]) / mtf50["value"])
    return {**edge, "rise_px": {"value": rise, "low": rise - half, "high": rise + half, "unit": "px"}}


def _with_reason(edge: dict[str, Any]) -> dict[str, Any]:
    """An edge whose reason was a text, with the percent by which it deviates from its neighbours in front."""
    percent, _, reason = edge.pop("why").rpartition(" % ")
    deviation = int(percent) * (-1 if reason == Reason.SOFTER else 1) if percent else None
    return {**edge, "reason": reason, "deviation_percent": deviation}
