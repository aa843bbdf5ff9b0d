"""Whether a target was out of focus as a whole, and by how much: no zone sharp, all blurred as by defocus."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import ContrastCurve, Limits, Sharpness, ZoneLimits, ZoneSharpness
from lensbench.optics import channel_um, defocused_mtf, pixel_mtf, quarter_wave_focus

LEAST_DEPTHS = 3.0
"""Out of focus is what lies so many quarter-wave depths off in its best zone ..."""

MOST_REACHED = 50.0
"""... and leaves the sharpest zone less than this percent of what diffraction and pixel allow ..."""

LIKE_DEFOCUS, MOSTLY_LIKE_DEFOCUS = 0.04, 0.06
"""... with contrast curves that defocus alone explains to this much (rms), in the best zone and in most others. A
lens's haze or flare is not explained by it."""

ROUND_PERCENT = 20.0
"""Defocus blurs evenly all round: sagittal and tangential MTF50 of the best zone differ by less than this."""

_TRIES = 160
_MOST_DEPTHS = 60.0

_Row = TypeVar("_Row", ZoneLimits, ZoneSharpness)


@dataclass(frozen=True)
class FocusError:
    """How far out of focus a whole shot was.

    Attributes
    ----------
    defocus_um : float
        At the sensor, in the zone that is nearest to its focus. The sign can't be known from one shot.
    depths : float
        The same in quarter-wave depths.
    best_zone : str
        That zone.
    achieved_percent : float
        Its MTF50 in percent of what diffraction and the pixel allow.
    """

    defocus_um: float
    depths: float
    best_zone: str
    achieved_percent: float


def judge_focus_error(
    sharpness: Sharpness, limits: Limits, channel: str, pixel_pitch_um: float | None
) -> FocusError | None:
    """Hold every zone's contrast curve against those of a perfect lens out of focus.

    Parameters
    ----------
    sharpness : Sharpness
        Of one setting.
    limits : Limits
        What `limits.judge_limits` says of it.
    channel : str
        The channel that speaks for sharpness.
    pixel_pitch_um : float or None
        Distance of the pixels.

    Returns
    -------
    FocusError or None
        None where some zone is in focus, where the blur is another one, or where too little is known to tell.
    """
    if limits.effective_f_number is None or pixel_pitch_um is None:
        return None
    reached = {z.zone: z.achieved_percent.value for z in _means(limits.zones, channel) if z.achieved_percent}
    if not reached or max(reached.values()) > MOST_REACHED:
        return None
    lens = _PerfectLens(channel_um(channel), limits.effective_f_number, pixel_pitch_um)
    zones = [zone for zone in _means(sharpness.zones, channel) if zone.curve is not None]
    defocus, misfit = np.array([lens.fit(zone.curve, zone.mtf50.value) for zone in zones if zone.curve]).T
    depth_um = lens.depth_um
    nearest = int(np.argmin(defocus))
    best = zones[nearest].zone
    if defocus[nearest] < LEAST_DEPTHS * depth_um:
        return None
    if misfit[nearest] > LIKE_DEFOCUS or np.median(misfit) > MOSTLY_LIKE_DEFOCUS:
        return None
    if not _is_round(sharpness, best, channel):
        return None
    return FocusError(float(defocus[nearest]), float(defocus[nearest] / depth_um), best, reached[best])


def _means(rows: Iterable[_Row], channel: str) -> list[_Row]:
    """The rows of a channel that are the mean of both directions."""
    return [row for row in rows if row.channel == channel and row.direction == "mean"]


def _is_round(sharpness: Sharpness, zone: str, channel: str) -> bool:
    both = [row.percent.value for row in sharpness.astigmatism if (row.zone, row.channel) == (zone, channel)]
    return all(abs(percent) < ROUND_PERCENT for percent in both)


class _PerfectLens(NamedTuple):
    """A perfect lens before pixels: wavelength and pixel pitch in micrometres, f-number at the sensor."""

    wavelength_um: float
    f_number: float
    pitch_um: float

    @property
    def depth_um(self) -> float:
        """The quarter-wave depth at the sensor."""
        return float(quarter_wave_focus(self.f_number, self.wavelength_um))

    def contrast(self, frequency: NDArray, defocus_um: NDArray) -> NDArray:
        """With each defocus, at frequencies in cycles a pixel, shape (defocus, frequencies)."""
        lens = defocused_mtf(frequency / self.pitch_um, self.wavelength_um, self.f_number, defocus_um[:, None])
        return np.abs(lens * pixel_mtf(frequency, 1.0, 0.0))

    def fit(self, curve: ContrastCurve, mtf50: float) -> tuple[float, float]:
        """The defocus in micrometres that comes nearest to a curve, and what it leaves unexplained (rms)."""
        # Even steps: the curve's own are densest at low frequencies, where all curves are alike.
        even = np.linspace(0, min(3 * mtf50, 0.9), 40)[1:]
        seen = np.interp(even, curve.frequency, curve.mtf)
        tries = np.linspace(0, _MOST_DEPTHS**0.5, _TRIES) ** 2 * self.depth_um
        misfit = np.sqrt(((self.contrast(even, tries) - seen) ** 2).mean(axis=1))
        k = int(np.argmin(misfit))
        return float(tries[k]), float(misfit[k])
