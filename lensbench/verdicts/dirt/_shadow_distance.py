"""How far from the sensor a mark lies, by how its shadow blurs as the iris opens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from lensbench.findings import Figure, Mark
from lensbench.optics import effective_f_number

FITTED = 1.25
"""A width at half depth may be off by so much where the shadow's profile isn't quite the one that was fitted."""

BLUR_SHARE = {"spot": 0.85, "fibre": 0.85, "patch": 0.55}
"""Least width at half depth of a shadow that is blurred over 1: a small spot's is 1, a thin line's √3/2 (there the
disc's chords are half as long), and that of soft marks, which add up like Gaussians, 0.59."""

GROWN, SPREAD_OF_N = 1.3, 1.3
"""A shadow has grown when it is wider by this factor; f-numbers must differ by the other one to tell."""

PLAIN_SIGNAL, PLAIN_DEPTH = 15.0, 1.0
"""Signal to noise and depth (percent) of marks that can't be overlooked, unless they are blurred away."""


class Distance(NamedTuple):
    """Between what distances from the sensor, in mm, a mark or its image lies."""

    low: float
    high: float

    @property
    def figure(self) -> Figure | None:
        """The distance as a figure; None where only one end is known."""
        if self.low <= 0 or not np.isfinite(self.high):
            return None
        return Figure((self.low + self.high) / 2, self.low, self.high, "mm")


UNKNOWN = Distance(0.0, float("inf"))


def shadow_distance(
    seen: Sequence[tuple[float, Mark]],
    missed: Sequence[float],
    pitch_mm: float,
    magnification: float = 0.0,
    pupil_ratio: float = 1.0,
) -> Distance:
    """Bounds on a mark's distance from the sensor: its shadow is blurred over D / N_eff.

    No shadow is narrower than its blur, so every width bounds D from above. One that grows as the iris opens is
    mostly blur, and one that vanishes was blurred away: both bound D from below. A flat may be focused nearer to
    infinity than the target was, so that N_eff lies between N and N (1 + m / P).

    Parameters
    ----------
    seen : sequence of (float, Mark)
        f-numbers, and the mark as it was found there.
    missed : sequence of float
        f-numbers at which it was looked for and not found.
    pitch_mm : float
        Size of a pixel.
    magnification, pupil_ratio : float
        Of the lens as the target was shot; 0 where it isn't known.
    """
    if not seen:
        return UNKNOWN
    nearer = float(effective_f_number(1.0, magnification, pupil_ratio))
    high = min(
        FITTED * mark.width_px.high / BLUR_SHARE[mark.kind] * pitch_mm * f_number * nearer
        for f_number, mark in seen
    )
    (wide_n, wide), (narrow_n, narrow) = min(seen, key=lambda s: s[0]), max(seen, key=lambda s: s[0])
    low = 0.0
    if narrow_n > SPREAD_OF_N * wide_n and wide.width_px.low > GROWN * narrow.width_px.high:
        grown = wide.width_px.low**2 - narrow.width_px.high**2
        low = float(np.sqrt(grown / (1 - (wide_n / narrow_n) ** 2))) / FITTED * pitch_mm * wide_n
    plain = [m for _, m in seen if m.signal_to_noise > PLAIN_SIGNAL and abs(m.depth_percent.value) > PLAIN_DEPTH]
    wider = [f_number for f_number in missed if f_number < wide_n]
    if plain and wider:
        least = min(mark.width_px.low for mark in plain)
        low = max(low, least / FITTED**2 * pitch_mm * max(wider))
    return Distance(low, high) if low < high else UNKNOWN
