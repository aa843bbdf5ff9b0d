"""All that a session's apertures say together."""

from __future__ import annotations

from collections.abc import Sequence

from lensbench.findings import ApertureSeries, Setting
from lensbench.verdicts.aperture._blur import blur_apertures
from lensbench.verdicts.aperture._choices import choose_apertures
from lensbench.verdicts.aperture._figures import figures_by_aperture, metrics_of
from lensbench.verdicts.aperture._focus_shift import focus_shifts
from lensbench.verdicts.aperture._light import passed_light


def judge_series(
    settings: Sequence[Setting],
    size: tuple[int, int],
    pixel_pitch_um: float | None = None,
    pupil_ratio: float = 1.0,
) -> ApertureSeries | None:
    """Hold a session's apertures against each other, and against their light, blur and focus.

    Parameters
    ----------
    settings : sequence of Setting
        Those of a report, in rising f-number.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float, optional
        Distance of the pixels on the sensor.
    pupil_ratio : float
        Exit over entrance pupil.

    Returns
    -------
    ApertureSeries or None
        None where one aperture was shot and nothing is to be said of its iris.
    """
    metrics = metrics_of(settings, size, pupil_ratio)
    rows = figures_by_aperture(settings, metrics, pupil_ratio)
    blur = blur_apertures(settings, pixel_pitch_um, pupil_ratio)
    if len(rows) < 2 and not blur:
        return None
    return ApertureSeries(
        figures=rows,
        choices=choose_apertures(settings, metrics, rows),
        light=passed_light(settings),
        blur=blur,
        focus_shifts=focus_shifts(settings),
    )
