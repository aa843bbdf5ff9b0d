"""What is wrong with a flat's exposure or light, in words: what, how much, what it spoils, and what to change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from lensbench.analysers.flat_light import FlatExposure
from lensbench.findings import Notice, UnevenLight

CLIPPED, MOSTLY_CLIPPED = 0.002, 0.2
"""Share of a channel's samples clipped from which it is said (hot pixels are fewer), and from which a full stop
less is advised."""

DARK, GOOD = 0.12, 0.6
"""Light, as a share of full scale, below which a flat is dark, and what to aim at."""

GRADIENT_STOPS = 0.4
"""Stops between opposite sides from which the light is said to be uneven: lenses themselves leave less."""

SIDES = ("right", "bottom right", "bottom", "bottom left", "left", "top left", "top", "top right")

MOVE = "Light the sheet anew and shoot again."


def flat_notices(name: str, exposure: FlatExposure, light: Sequence[UnevenLight]) -> list[Notice]:
    """What the user should know before trusting a flat's marks and falloff.

    Parameters
    ----------
    name : str
        The flat's file name.
    exposure : FlatExposure
        How it was exposed.
    light : sequence of UnevenLight
        What its light plainly is besides even (`Dust.light`).

    Returns
    -------
    list of Notice
        Codes ``clipped``, ``dark`` and ``uneven-light``.
    """
    return [*_exposure(name, exposure), *_gradient(name, exposure), *(_uneven(name, one) for one in light)]


def _exposure(name: str, exposure: FlatExposure) -> Iterator[Notice]:
    channel, share = max(exposure.clipped.items(), key=lambda item: item[1], default=("", 0.0))
    if share > CLIPPED:
        less = "a full stop" if share > MOSTLY_CLIPPED else "2/3 stop"
        text = (
            f"{name}: {100 * share:.1f} % of {channel} is clipped (at 100 %). Dirt and falloff can't be seen "
            f"there, and what looks like marks at its border may be none. Expose {less} less."
        )
        yield Notice("clipped", name, text)
    elif exposure.level < DARK:
        stops = max(round(np.log2(GOOD / max(exposure.level, 1e-3))), 1)
        text = (
            f"{name}: is dark (its light is at {100 * exposure.level:.0f} % of full scale), so faint marks drown "
            f"in noise. Expose {stops} stop{'s' * (stops > 1)} more."
        )
        yield Notice("dark", name, text)


def _gradient(name: str, exposure: FlatExposure) -> Iterator[Notice]:
    if exposure.gradient_stops < GRADIENT_STOPS:
        return
    x, y = exposure.darker_at
    side = SIDES[int(np.round(np.degrees(np.arctan2(y, x)) / 45)) % 8]
    text = (
        f"{name}: its {side} is {exposure.gradient_stops:.1f} stops darker than the opposite side. A lens alone "
        "hardly does that: the light is uneven, and falloff is lens and light together. Light the sheet from both "
        "sides, or turn the panel half round for one more flat (panel_turn_deg = 180)."
    )
    yield Notice("uneven-light", name, text)


def _uneven(name: str, light: UnevenLight) -> Notice:
    much = f"{light.percent:.1f} %"
    texts = {
        "bands": (
            f"bands {light.period_px or 0:.0f} rows apart and {much} deep run across it, as a flickering lamp "
            "makes with a rolling shutter. Falloff is bent by them. Expose for 1/25 s or longer (a whole number "
            "of flickers), or use daylight or a lamp on direct current."
        ),
        "upright bands": (
            f"bands {light.period_px or 0:.0f} columns apart and {much} deep run up and down it, as a flickering "
            "lamp makes with a rolling shutter. Falloff is bent by them. Expose for 1/25 s or longer, or use "
            "daylight or a lamp on direct current."
        ),
        "bar": (
            f"one bar {much} deep runs all across it: a shadow, or a joint of the light. It is not counted as "
            f"dirt, and falloff is bent by it. {MOVE}"
        ),
        "window bars": (
            f"bars {much} deep run across it and up and down, as of a window. They are not counted as dirt, and "
            f"falloff is bent by them. Put a white sheet before the window, or light one. {MOVE}"
        ),
        "clouds": (
            f"the light itself is blotched by {much}, as by clouds. Marks wider than 150 px can't be "
            "distinguished from that, and falloff is bent by it. Shoot a lit white sheet, or a cloudless sky away "
            "from the sun."
        ),
        "leak": (
            f"light from a border brightens it by {much}, as through a gap in the build or a bare mount. Cover "
            "joints and viewfinder, and shoot again; if it stays, it is the light's own."
        ),
        "line": (
            f"a straight line {much} deep runs from border to border: a joint of the panel, a wire or a crease. "
            "It is not counted as dirt. Move the light; if the line stays where it is, it lies in lens or camera."
        ),
    }
    return Notice("uneven-light", name, f"{name}: {texts[light.kind]}")
