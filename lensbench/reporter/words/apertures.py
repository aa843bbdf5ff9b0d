"""What an aperture series says, in sentences: which aperture serves what, its light, its blur, its focus."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import (
    ApertureChoice,
    ApertureSeries,
    BlurAperture,
    Figure,
    FocusShift,
    PassedLight,
    Price,
    Report,
    Rings,
)
from lensbench.formatting import bare, holds, limit, listed, magnitude, spread, with_interval

_FIGURES = {
    "centre": "the centre's MTF50",
    "corners": "the corners' MTF50",
    "evenness_percent": "evenness",
    "falloff_stops": "falloff in the darkest corner",
    "glow_percent": "glow over the whole frame",
    "depth_mm": "depth of field to either side",
}
"""How a price is called in a sentence."""

LIGHT_STAYED = "if the light itself stayed the same"


def series_of(report: Report) -> ApertureSeries | None:
    """What the apertures said together, if there were several."""
    return report.verdict.series if report.verdict else None


def series_in_words(report: Report) -> list[str]:
    """All sentences: the choices with their prices, marks against light, blur, focus shift, rings."""
    series = series_of(report)
    said: list[str] = []
    if series is not None:
        said += [choice_in_words(choice) for choice in series.choices]
        said += _light(series.light)
        said += [blur_in_words(blur) for blur in series.blur]
        said += [shift_in_words(shift) for shift in series.focus_shifts]
    rings = report.verdict.rings if report.verdict else None
    return [*said, rings_in_words(rings)] if rings else said


def choice_in_words(choice: ApertureChoice) -> str:
    """A purpose, its aperture with the figure that decided, what is equal to it, and its price."""
    if choice.purpose == "dirt shows from":
        count = int(choice.value.value) if choice.value else 0
        return f"Dirt shows from {choice.aperture} on ({count} mark{'s' * (count != 1)} there)."
    said = f"{choice.purpose.capitalize()}: {choice.aperture}{_decided_by(choice)}"
    if choice.equal:
        be = "is" if len(choice.equal) == 1 else "are"
        unsure = "too close to call" if choice.kept_percent else "equal within the uncertainty"
        said += f"; {listed(choice.equal)} {be} {unsure}"
    deeper = choice.next_deeper
    if deeper is not None:
        kept = f"its centre keeps {with_interval(deeper.kept_percent)}"
        said += f"; {deeper.aperture} reaches ± {limit(deeper.depth_mm.value)} mm, {kept}"
    prices = [_price_in_words(price) for price in choice.prices]
    return f"{said}. Its price: {listed(prices)}." if prices else f"{said}."


def choice_in_short(choice: ApertureChoice) -> str:
    """Such as ``deepest field f/11 (or f/16)``."""
    return f"{choice.purpose} {choice.aperture}{f' (or {listed(choice.equal)})' if choice.equal else ''}"


def _decided_by(choice: ApertureChoice) -> str:
    if choice.value is None:
        return ""
    if choice.purpose == "most even":
        return f" (the softest zone has {with_interval(choice.value)} of the sharpest one)"
    if choice.purpose == "deepest field":
        rule = f"of those whose centre keeps {choice.kept_percent:.0f} % of its best or more"
        return f" (± {limit(choice.value.value)} mm, {rule})"
    return f" ({with_interval(choice.value)})"


def _price_in_words(price: Price) -> str:
    figures = f"{with_interval(price.value, unit=False)} against {with_interval(price.best)}"
    return f"{_FIGURES[price.what]} {figures} at {price.best_at}"


def _light(passed: list[PassedLight]) -> Iterator[str]:
    """What is off its marks, one by one; what isn't, together."""
    right = [one for one in passed if not is_off(one)]
    for one in passed:
        if one not in right:
            yield light_in_words(one)
    if right:
        within = max(magnitude(one.off_stops).value + one.off_stops.half_width for one in right if one.off_stops)
        passes = "passes what its mark says" if len(right) == 1 else "pass what their marks say"
        names = listed([one.aperture for one in right])
        yield f"{names} {passes}, against {right[0].against}, within {spread(within)} stop, {LIGHT_STAYED}."


def light_in_words(one: PassedLight) -> str:
    """Such as ``Marked f/8 passes 0.40 ± 0.02 stop less than f/4 says``, and under which condition."""
    if one.marked_stops is None:
        return (
            f"{one.aperture} passes {_stops(one.less_stops)} less light than {one.against}, so its f-number is "
            f"{2 ** (one.less_stops.value / 2):.2f} times as large, {LIGHT_STAYED}."
        )
    if one.off_stops is None:
        return (
            f"Whether {one.aperture} is rightly marked can't be told: it passes {_stops(one.less_stops)} less "
            f"light than {one.against} where {one.marked_stops:.1f} are marked. Was the light changed, or moved?"
        )
    way = "less" if one.off_stops.value > 0 else "more"
    off = _stops(magnitude(one.off_stops))
    return f"Marked {one.aperture} passes {off} {way} than {one.against} says, {LIGHT_STAYED}."


def is_off(one: PassedLight) -> bool:
    """Whether there is something to say of an aperture: no mark, one that can't be told, one that is off."""
    return one.off_stops is None or not holds(one.off_stops, 0.0)


def light_in_short(one: PassedLight) -> str:
    """Such as ``f/8 passes 0.40 ± 0.02 stop less than marked``."""
    if one.marked_stops is None:
        return f"{one.aperture} passes {_stops(one.less_stops)} less than {one.against}"
    if one.off_stops is None:
        return f"can't tell of {one.aperture}: was the light changed, or moved?"
    way = "less" if one.off_stops.value > 0 else "more"
    return f"{one.aperture} passes {_stops(magnitude(one.off_stops))} {way} than marked"


def blur_in_short(blur: BlurAperture) -> str:
    """Such as ``third click is f/6.8 ± 0.2``."""
    return f"{blur.aperture} is f/{with_interval(blur.f_number)}"


def _stops(figure: Figure) -> str:
    """Stops in words."""
    return f"{with_interval(figure, unit=False)} stop{'s' * (figure.value > 1)}"


def blur_in_words(blur: BlurAperture) -> str:
    """The f-number by how blur grows along the rail."""
    said = f"By how blur grows along the rail, {blur_in_short(blur)}"
    return f"{said}, and works as f/{bare(blur.effective_f_number)} at the sensor."


def shift_in_words(shift: FocusShift) -> str:
    """Such as ``Refocus 0.12 ± 0.02 mm nearer after stopping down from f/4 to f/8``."""
    moved = shift.farther_mm
    if moved.low <= 0 <= moved.high:
        most = spread(max(abs(moved.low), abs(moved.high)))
        return f"Stopping down from {shift.wide} to {shift.small} moves focus by less than {most} mm, if at all."
    way, camera = ("nearer", "back") if moved.value > 0 else ("farther", "forward")
    said = (
        f"Refocus {with_interval(magnitude(moved))} {way} after stopping down from {shift.wide} to {shift.small} "
        f"(or move the camera {camera} by as much)"
    )
    if abs(moved.value) < shift.depth_mm.value:
        return f"{said}; the depth of field at {shift.small}, ± {limit(shift.depth_mm.value)} mm, covers it."
    return f"{said}: that is more than the depth of field, ± {limit(shift.depth_mm.value)} mm."


def rings_in_words(rings: Rings) -> str:
    """Such as ``For 1× add 3.1 ± 0.1 mm of rings``."""
    return (
        f"For {rings.wanted:g}× add {with_interval(rings.extension_mm)} of rings: the focal length, "
        f"{with_interval(rings.focal_length_mm)}, times what is missing of the magnification "
        f"({with_interval(rings.magnification)})."
    )
