"""Whether the light of shots follows their f-numbers: half the light a stop, at one lamp."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

MOST_OFF_STOPS = 0.8
"""Marked shutter times, irises and ISO numbers together are off by less (marked times by 0.1 stop; common
practice)."""


@dataclass(frozen=True)
class Brightness:
    """How bright a shot is: its light, in numbers over black, and how it was exposed.

    Attributes
    ----------
    shot : str
        The shot's file.
    kind : str
        What it shows: ``target`` or ``flat``; each has its own lamp.
    f_number : float
    light : float
        Of the frame's middle, or the sheet's white.
    shutter_s, iso : float
        As the camera recorded them.
    """

    shot: str
    kind: str
    f_number: float
    light: float
    shutter_s: float
    iso: float

    @property
    def lamp_stops(self) -> float:
        """How bright the lamp must have been for this light, in stops above an unknown level."""
        return float(np.log2(self.light / (self.shutter_s * self.iso)) + 2 * np.log2(self.f_number))

    @property
    def aperture_stops(self) -> float:
        """The aperture, in stops."""
        return float(2 * np.log2(self.f_number))


@dataclass(frozen=True)
class OddLight:
    """A shot whose light doesn't follow its f-number: by how many stops it is too bright."""

    shot: Brightness
    stops: float
    alone: bool

    @property
    def f_number_by_light(self) -> float:
        """The f-number that its light speaks for."""
        return float(self.shot.f_number * 2 ** (-self.stops / 2))


def odd_lights(shots: Sequence[Brightness]) -> list[OddLight]:
    """The shots of one kind whose light contradicts their f-numbers; with two apertures either may be wrong."""
    if len({shot.f_number for shot in shots}) < 2:
        return []
    by_aperture = {f: [s.lamp_stops for s in shots if s.f_number == f] for f in {s.f_number for s in shots}}
    usual = median(median(stops) for stops in by_aperture.values())
    odd = [OddLight(s, s.lamp_stops - usual, True) for s in shots if abs(s.lamp_stops - usual) > MOST_OFF_STOPS]
    if len(by_aperture) == 2:
        first, last = (max(shots, key=lambda s: sign * s.lamp_stops) for sign in (1, -1))
        apart = first.lamp_stops - last.lamp_stops
        return [OddLight(first, apart, False)] if apart > MOST_OFF_STOPS else []
    return odd
