"""What contradicts itself in a session, in words, and the settings without what hangs on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from msgspec.structs import replace

from lensbench import frame
from lensbench.findings import Notice, Setting
from lensbench.formatting import brief
from lensbench.optics import GREEN_NM, quarter_wave_field
from lensbench.shot import reference_channel
from lensbench.verdicts.contradictions._brightness import Brightness, OddLight, odd_lights

SURELY_SHARPER_PERCENT = 103.0
"""The lower end of what a zone achieves of the best possible, above which no lens is: pixels that are narrower
than their pitch pass a little more than is reckoned with."""

SURELY_BRIGHTER_STOPS = 0.05
"""All corners together are brighter than the centre by more than this, past their intervals, only where the light
is."""

NARROWEST_DEPTH = 0.6
"""A measured depth of field under this share of a quarter wave's is narrower than diffraction allows: pixels and
aberrations only widen it (with the share of sharpness that bounds it, a perfect lens's is 1)."""

MISFIT = "an f_number that fits the sharpness (see the warnings)"
"""What `Limits.missing` then lists."""


@dataclass(frozen=True)
class Contradictions:
    """What contradicts itself.

    Attributes
    ----------
    settings : list of Setting
        Without the figures that hang on what is doubtful.
    doubtful : set of int
        Places of settings whose f-number is in doubt.
    notices : list of Notice
    """

    settings: list[Setting]
    doubtful: set[int]
    notices: list[Notice]


def find_contradictions(
    settings: Sequence[Setting], brightness: Sequence[Brightness], pupil_ratio: float = 1.0
) -> Contradictions:
    """Find what can't be, and take out what hangs on it.

    Parameters
    ----------
    settings : sequence of Setting
        With limits, falloff and focus.
    brightness : sequence of Brightness
        Of the shots whose exposure and f-number are known.
    pupil_ratio : float
        Exit over entrance pupil.

    Returns
    -------
    Contradictions
    """
    doubtful: set[int] = set()
    notices: list[Notice] = []
    kept: list[Setting] = []
    for number, setting in enumerate(settings):
        sharper, brighter, narrow = _too_sharp(setting), _bright_corners(setting), _narrow(setting, pupil_ratio)
        notices += [notice for notice in (sharper, brighter, narrow) if notice]
        if sharper:
            doubtful.add(number)
            setting = _without_best_possible(setting)
        if brighter:
            setting = replace(setting, falloff=None)
        if narrow:
            setting = replace(setting, focus=None, rail_advice=None)
        kept.append(setting)
    for kind in ("target", "flat"):
        odd = odd_lights([one for one in brightness if one.kind == kind])
        notices += [_odd_light(one) for one in odd]
        # A lamp for the even light is often turned up or down between apertures; the sheet's seldom.
        if kind == "target":
            doubtful |= {n for n, s in enumerate(kept) if any(one.shot.shot in s.shots for one in odd)}
    return Contradictions(kept, doubtful, notices)


def _too_sharp(setting: Setting) -> Notice | None:
    """Sharper than diffraction at this f-number and the pixels allow."""
    if setting.limits is None or setting.sharpness is None:
        return None
    reference = reference_channel([zone.channel for zone in setting.sharpness.zones])
    sharp = [
        zone
        for zone in setting.limits.zones
        if zone.direction == "mean"
        and zone.channel == reference
        and zone.achieved_percent is not None
        and zone.achieved_percent.low > SURELY_SHARPER_PERCENT
    ]
    if not sharp:
        return None
    worst = max(sharp, key=lambda zone: zone.achieved_percent.low if zone.achieved_percent else 0.0)
    text = (
        f"{setting.name}: is sharper than any lens can be: the {worst.zone.replace('-', ' ')} zone has "
        f"{brief(worst.achieved_percent)} % of what diffraction at {setting.label} and the pixels leave. Check "
        f"f_number of {setting.shots[0]} in session.toml first, then sensor_mm; or the picture was sharpened. "
        "Until "
        "then nothing is held against the best possible."
    )
    return Notice("too-sharp", setting.shots[0], text)


def _without_best_possible(setting: Setting) -> Setting:
    if setting.limits is None:
        return setting
    zones = [
        replace(zone, best_possible_mtf50=None, best_possible_mtf50_lp_mm=None, achieved_percent=None)
        for zone in setting.limits.zones
    ]
    limits = replace(setting.limits, zones=zones, effective_f_number=None, missing=[MISFIT])
    return replace(setting, limits=limits)


def _bright_corners(setting: Setting) -> Notice | None:
    """Corners that are all brighter than the centre."""
    if setting.falloff is None:
        return None
    corners = [zone.stops for zone in setting.falloff.zones if zone.zone in frame.ZONES and "corner" in zone.zone]
    if len(corners) < 4 or any(stops.high > -SURELY_BRIGHTER_STOPS for stops in corners):
        return None
    least, most = (-pick(stops.value for stops in corners) for pick in (max, min))
    text = (
        f"{setting.name}: the centre is darker than all four corners, by {least:.2f} to {most:.2f} stops, which "
        "no "
        "lens does. The light is brighter at the sides (a ring of lamps, the camera's own shadow, paper that "
        "shines "
        f"back), or this isn't an even light: check shows and file of {setting.shots[-1]} in session.toml, or "
        "light "
        "it from behind through a diffuser and shoot again. Falloff is left out."
    )
    return Notice("dark-centre", setting.shots[-1], text)


def _narrow(setting: Setting, pupil_ratio: float) -> Notice | None:
    """A depth of field along the rail that is narrower than diffraction allows."""
    focus, magnification = setting.focus, setting.magnification
    if focus is None or magnification is None or setting.f_number is None or magnification.value <= 0:
        return None
    least = float(quarter_wave_field(setting.f_number, magnification.value, GREEN_NM * 1e-6, pupil_ratio))
    if focus.depth_mm.high >= NARROWEST_DEPTH * least:
        return None
    text = (
        f"{setting.name}: by the rail's readings the depth of field is ± {focus.depth_mm.value:.2g} mm, but at "
        "this "
        f"aperture and magnification no lens has less than ± {least:.2g} mm. The readings are about "
        f"{least / focus.depth_mm.value:.0f} times too small, or f_number is too large: check rail_mm (in "
        f"millimetres) and f_number of {focus.shots[0]} and the others in session.toml. The focus series is left "
        "out."
    )
    return Notice("rail-scale", focus.shots[0], text)


def _odd_light(odd: OddLight) -> Notice:
    shot, way = odd.shot, "brighter" if odd.stops > 0 else "darker"
    given = f"f/{shot.f_number:g}, {shot.shutter_s:.3g} s and ISO {shot.iso:g}"
    if odd.alone:
        text = (
            f"{shot.shot}: is {abs(odd.stops):.1f} stops {way} than {given} make it beside the other shots; its "
            "light "
            f"speaks for about f/{odd.f_number_by_light:.2g}. Check its f_number in session.toml, unless the lamp "
            "was "
            "changed or moved."
        )
    else:
        text = (
            f"{shot.shot}: is {abs(odd.stops):.1f} stops {way} than {given} make it beside the shots at the other "
            "aperture. Check both f_numbers in session.toml, unless the lamp was changed or moved."
        )
    return Notice("odd-light", shot.shot, text)
