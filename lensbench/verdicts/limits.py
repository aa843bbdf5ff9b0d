"""What belongs to whom in a sharpness figure: lens, pixel, diffraction and print."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.findings import (
    ContrastCurve,
    Figure,
    Limits,
    PrintBlur,
    Setting,
    TileSharpness,
    ZoneLimits,
    ZoneSharpness,
)
from lensbench.optics import channel_um, effective_f_number, gaussian_mtf, perfect_mtf, pixel_mtf

USABLE = 0.05
"""Half of the widest 95 % interval, in contrast, with which a divided curve still says something."""

PRINT_LIMITED = 3.0
"""A zone is print-limited where the print alone costs more of its MTF50 than this many percent."""

MM_AN_INCH = 25.4

_FINE = np.linspace(0, 1, 501)
"""Frequencies, in cycles a pixel, at which limits are looked for; the pixel's aperture passes nothing at 1."""


def judge_limits(
    setting: Setting,
    size: tuple[int, int],
    pixel_pitch_um: float | None,
    pupil_ratio: float = 1.0,
    print_dpi: float | None = None,
    raggedness_px: Figure | None = None,
) -> Limits | None:
    """Divide pixel and print out of a setting's curves, and hold its zones against what is possible.

    The zone's figure is that of lens, pixel and print together; along the direction of its edges the pixel, a
    square of full fill, passes sinc · sinc. A print's uneven edge blurs the mean edge by a Gaussian: by the
    raggedness measured, or where that is too fine to be seen by the printer's dots, since an edge rounded to
    whole dots strays from its line by 1/√12 of one.

    Parameters
    ----------
    setting : Setting
        With its sharpness, its f-number and its magnification, as far as they are known.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float or None
        Distance of the pixels on the sensor.
    pupil_ratio : float
        Exit over entrance pupil, for the effective f-number.
    print_dpi : float, optional
        The printer's dots an inch.
    raggedness_px : Figure, optional
        How far the printed edges stray from their lines, standard deviation, on the sensor.

    Returns
    -------
    Limits or None
        None without sharpness.
    """
    if setting.sharpness is None:
        return None
    effective, missing = _effective(setting, pixel_pitch_um, pupil_ratio)
    blur = _print_blur(setting, pixel_pitch_um, print_dpi, raggedness_px)
    behind = _Behind(effective, pixel_pitch_um, blur.sigma_px.value if blur else 0.0)
    pixels = _pixels_by_zone(setting.sharpness.tiles, size)
    zones = [
        _zone_limits(row, row.curve, pixels[row.zone, row.channel, row.direction], behind)
        for row in setting.sharpness.zones
        if row.curve is not None and (row.zone, row.channel, row.direction) in pixels
    ]
    return Limits(
        zones=zones,
        effective_f_number=effective,
        print_blur=blur,
        print_limited=_print_limited(zones),
        missing=missing,
    )


def best_possible_mtf50(pixel: NDArray, channel: str, f_number: float, pixel_pitch_um: float) -> float:
    """MTF50 in cycles a pixel of a perfect lens behind pixels.

    Parameters
    ----------
    pixel : ndarray
        The pixel's response at 501 even steps from 0 to 1 cycle a pixel.
    channel : str
        Which colour's wavelength (`optics.channel_um`).
    f_number : float
        Effective, at the sensor.
    """
    both = pixel * perfect_mtf(_FINE, channel_um(channel) / pixel_pitch_um, f_number)
    return float(_falls_to_half(_FINE, both))


# -- what is known --------------------------------------------------------------------------------------------


def _effective(setting: Setting, pitch_um: float | None, pupil_ratio: float) -> tuple[float | None, list[str]]:
    """The effective f-number, and what is missing to say what is possible."""
    missing = []
    if setting.f_number is None:
        missing.append("the f-number (f_number under [[shot]])")
    if pitch_um is None:
        missing.append("the sensor's size (sensor_mm under [camera])")
    elif setting.magnification is None:
        missing.append("the magnification")
    if missing or setting.f_number is None or setting.magnification is None:
        return None, missing
    return float(effective_f_number(setting.f_number, setting.magnification.value, pupil_ratio)), []


def _print_blur(
    setting: Setting, pitch_um: float | None, dpi: float | None, raggedness: Figure | None
) -> PrintBlur | None:
    if raggedness is not None and raggedness.low > 0:
        return PrintBlur(raggedness, "raggedness")
    if dpi is None or pitch_um is None or setting.magnification is None:
        return None
    dot = MM_AN_INCH / dpi * setting.magnification.value / (pitch_um / 1000)
    return PrintBlur(Figure.of(dot / np.sqrt(12), 0.0, "px"), "dots")


def _pixels_by_zone(
    tiles: Sequence[TileSharpness], size: tuple[int, int]
) -> dict[tuple[str, str, str], NDArray[np.float64]]:
    """The pixel's response by zone, channel and direction: the mean over the places behind the zone's figure."""
    place = np.array([(tile.x, tile.y) for tile in tiles]).reshape(-1, 2)
    x, y = place.T
    outward, around = frame.radial_axes(x, y, size)
    zone = frame.zone_index(x, y, size)
    members: dict[tuple[str, str, str], list[int]] = {}
    for i, tile in enumerate(tiles):
        for way in ("sagittal", "tangential"):
            if getattr(tile, way) is not None:
                members.setdefault((frame.ZONES[zone[i]], tile.channel, way), []).append(i)
    # A sagittal edge runs along the radius: the blur that it shows, and the pixel, lie around the circle.
    normals = {"sagittal": around, "tangential": outward}
    pixels = {
        key: pixel_mtf(_FINE, *normals[key[2]][chosen].T[..., None]).mean(axis=0)
        for key, chosen in members.items()
    }
    for name, channel, _ in list(pixels):
        both = [pixels[key] for way in normals if (key := (name, channel, way)) in pixels]
        pixels[name, channel, "mean"] = np.mean(both, axis=0)
    return pixels


# -- a zone ---------------------------------------------------------------------------------------------------


class _Behind(NamedTuple):
    """What stands behind the lens's own contrast: effective f-number, pixel pitch, print blur in px."""

    effective_f_number: float | None
    pitch_um: float | None
    print_sigma_px: float


class _LensAlone(NamedTuple):
    """A curve with pixel and print divided out: as far as it means something, and where it falls to half."""

    curve: ContrastCurve | None = None
    up_to: float | None = None
    mtf50: Figure | None = None


def _zone_limits(row: ZoneSharpness, curve: ContrastCurve, pixel: NDArray, behind: _Behind) -> ZoneLimits:
    pitch, sigma = behind.pitch_um, behind.print_sigma_px
    printed = gaussian_mtf(_FINE, sigma)
    lens = _lens_alone(curve, pixel * printed)
    best = None
    if behind.effective_f_number is not None and pitch is not None:
        best = best_possible_mtf50(pixel, row.channel, behind.effective_f_number, pitch)
    per_mm = 1000 / pitch if pitch else None
    return ZoneLimits(
        zone=row.zone,
        channel=row.channel,
        direction=row.direction,
        lens_only_mtf50=lens.mtf50,
        lens_only_mtf50_lp_mm=lens.mtf50.scaled(per_mm, "lp/mm") if lens.mtf50 and per_mm else None,
        measurable_up_to=lens.up_to,
        best_possible_mtf50=best,
        best_possible_mtf50_lp_mm=best * 1000 / pitch if best is not None and pitch else None,
        achieved_percent=row.mtf50.scaled(100 / best, "%") if best is not None else None,
        lost_to_print_percent=_print_percent(curve, printed) if sigma > 0 else None,
        lens_only=lens.curve,
    )


def _lens_alone(curve: ContrastCurve, divisor: NDArray) -> _LensAlone:
    """Divide a curve as far as that makes sense, and find where the quotient falls to half."""
    frequency, mtf, high = (np.array(getattr(curve, name)) for name in ("frequency", "mtf", "high"))
    at = np.interp(frequency, _FINE, divisor)
    # The lower end stops at 0 where contrast is almost nothing; the upper one shows the interval's true width.
    half = high - mtf
    good = np.logical_and.accumulate((at > 0) & (half < USABLE * at))
    count = int(good.sum())
    if count < 2:
        return _LensAlone()
    frequency, lens = frequency[:count], mtf[:count] / at[:count]
    width = half[:count] / at[:count]
    where = _falls_to_half(frequency, lens)
    mtf50 = None
    if np.isfinite(where):
        fall = _steepness(frequency, lens, where)
        mtf50 = Figure.of(where, float(np.interp(where, frequency, width)) / fall, "cy/px")
    return _LensAlone(ContrastCurve.of(frequency, lens, width), float(frequency[-1]), mtf50)


def _print_percent(curve: ContrastCurve, printed: NDArray) -> float | None:
    """How much higher the MTF50 would be, in percent, with the print's blur divided out."""
    frequency, mtf = np.array(curve.frequency), np.array(curve.mtf)
    seen = _falls_to_half(frequency, mtf)
    without = _falls_to_half(frequency, mtf / np.maximum(np.interp(frequency, _FINE, printed), 1e-6))
    return float(100 * (without / seen - 1)) if np.isfinite(seen) and np.isfinite(without) else None


def _print_limited(zones: Sequence[ZoneLimits]) -> list[str]:
    """The zones whose figures the print sets, by the mean of the directions, each once."""
    return list(
        dict.fromkeys(
            zone.zone
            for zone in zones
            if zone.direction == "mean"
            and zone.lost_to_print_percent is not None
            and zone.lost_to_print_percent > PRINT_LIMITED
        )
    )


def _falls_to_half(frequency: Sequence[float] | NDArray, mtf: NDArray) -> float:
    """Where a curve first falls to half; NaN where it doesn't."""
    below = np.flatnonzero(np.asarray(mtf) < 0.5)
    if len(below) == 0 or below[0] == 0:
        return float("nan")
    k = below[0]
    share = (mtf[k - 1] - 0.5) / (mtf[k - 1] - mtf[k])
    return float(frequency[k - 1] + share * (frequency[k] - frequency[k - 1]))


def _steepness(frequency: NDArray, mtf: NDArray, where: float) -> float:
    k = int(np.clip(np.searchsorted(frequency, where), 1, len(frequency) - 1))
    return float(max((mtf[k - 1] - mtf[k]) / (frequency[k] - frequency[k - 1]), 0.05))
