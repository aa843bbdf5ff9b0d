"""Marked f-numbers held against the light that they pass; an iris without marks gets its stops from the light.

Light on the sensor falls with the square of the f-number: a stop for each factor of √2 (ISO 517).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from lensbench.figure import NORMAL_95, Figure
from lensbench.findings import CentreLight, PassedLight, Setting

SHUTTER_STOPS = 0.1
"""How far a recorded shutter time, or ISO number, may be from the true one: cameras write 1/60 and mean 1/64, 0.09
stop (APEX; memory). Shots of one time, or one number, share it."""

LIGHT_CHANGED_STOPS = 1.5
"""No iris is so far off its marks; then the light itself was changed between the shots (our own choice)."""


def passed_light(settings: Sequence[Setting]) -> list[PassedLight]:
    """How much less light each aperture passes than the widest one of the same setup.

    Parameters
    ----------
    settings : sequence of Setting
        In rising f-number; those with `centre_light` count, mounted as the first of them.

    Returns
    -------
    list of PassedLight
        One for each aperture but the first; empty where fewer than two have flats with recorded exposures. Without
        marks the first is the one that passes most.
    """
    lit = [(setting, setting.centre_light) for setting in settings if setting.centre_light]
    if not lit:
        return []
    mount = (lit[0][0].lens_turn_deg, lit[0][0].setup)
    lit = [pair for pair in lit if (pair[0].lens_turn_deg, pair[0].setup) == mount]
    lit.sort(key=lambda pair: (pair[0].f_number is None, pair[0].f_number or 0.0, -pair[1].per_exposure.value))
    (widest, most), *others = lit
    return [_passed(setting, light, widest, most) for setting, light in others]


def _passed(setting: Setting, light: CentreLight, widest: Setting, most: CentreLight) -> PassedLight:
    less = math.log2(most.per_exposure.value / light.per_exposure.value)
    noise = [one.per_exposure.half_width / one.per_exposure.value / math.log(2) for one in (most, light)]
    # Evenly likely anywhere within its rounding: 1/√3 of it as a standard deviation, for each of the two.
    changed = (light.shutter_s != most.shutter_s) + (light.iso != most.iso)
    rounding = NORMAL_95 * SHUTTER_STOPS * math.sqrt(changed * 2 / 3)
    figure = Figure.of(less, math.hypot(*noise, rounding), "stops")
    if setting.f_number is None or widest.f_number is None:
        return PassedLight(setting.label, widest.label, figure)
    marked = 2 * math.log2(setting.f_number / widest.f_number)
    off = Figure.of(less - marked, figure.half_width, "stops")
    sure = abs(off.value) < LIGHT_CHANGED_STOPS
    return PassedLight(setting.label, widest.label, figure, marked, off if sure else None)
