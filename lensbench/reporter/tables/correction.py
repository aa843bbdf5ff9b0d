"""A correction as rows of text: its numbers, and what was measured before and after it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lensbench.formatting import NOT_MEASURED, number

if TYPE_CHECKING:
    from lensbench.correction import Proof, Values

_SHOWN = {
    "fringing_px": ("lateral colour, worst zone", "px", 2),
    "distortion_percent": ("distortion, of the half-diagonal", "%", 3),
    "mtf50": ("MTF50, median (after: demosaiced)", "cy/px", 3),
    "falloff_stops": ("falloff, lightest to darkest zone", "stops", 3),
    "cast_percent": ("colour cast, worst zone", "%", 2),
    "dirt_percent": ("dirt, deepest shadow", "%", 1),
}


def proof_rows(picture: str, proof: Proof) -> list[tuple[str, str, str, str]]:
    """Picture, what was measured, before and after; what the picture doesn't show is left out."""
    rows = []
    for name, (what, unit, decimals) in _SHOWN.items():
        pair = [getattr(part, name) for part in (proof.before, proof.after)]
        if any(value is not None for value in pair):
            before, after = (NOT_MEASURED if v is None else f"{number(v, decimals)} {unit}" for v in pair)
            rows.append((picture, what, before, after))
    return rows


def value_rows(values: Values) -> list[tuple[str, str]]:
    """What each number is, and the number; the guide has the formula."""
    rows = [("frame", "{} x {} px".format(*values.size_px)), ("radius", f"{number(values.radius_px, 1)} px")]
    for name, scale in (("red", values.red), ("blue", values.blue)):
        if scale is not None:
            rows.append((f"{name} against green: centre", _place(values.fringing_centre_px)))
            rows += [(f"{name} against green: k{n}", number(k, 7)) for n, k in enumerate(scale.factors)]
            rows.append((f"{name} against green: shift", f"{_place(scale.shift_px, 3)}"))
            rows.append((f"{name} against green: left at the worst place", f"{number(scale.left_px, 3)} px"))
    if values.light is not None:
        rows.append(("light: centre", _place(values.light.centre_px)))
        rows += [(f"light: s{n}", f"{number(s, 4)} stops") for n, s in enumerate(values.light.stops, 1)]
        rows.append(("light: left at the worst place", f"{number(values.light.left_stops, 3)} stops"))
    if values.distortion is not None:
        rows.append(("distortion: centre", _place(values.distortion.centre_px)))
        rows += [(f"distortion: k{n}", number(k, 6)) for n, k in enumerate(values.distortion.factors)]
        rows.append(("distortion: left at the worst place", f"{number(values.distortion.left_px, 3)} px"))
    return rows


def _place(place: tuple[float, float], decimals: int = 1) -> str:
    return f"x {number(place[0], decimals)}, y {number(place[1], decimals)} px"
