"""From setup to setup: how much figures change when the lens is refocused and remounted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy import stats

from lensbench.findings import Figure, Repeated, Repeats, Setting
from lensbench.shot import reference_channel

CONFIDENCE = 0.95


def judge_repeats(settings: Sequence[Setting]) -> list[Repeats]:
    """Hold the setups of each aperture against one another.

    Parameters
    ----------
    settings : sequence of Setting
        Those of a report; the ones that differ in nothing but `setup` are repeats.

    Returns
    -------
    list of Repeats
        One for each aperture (and lens turn) with two setups or more that share a figure.
    """
    groups: dict[tuple, list[Setting]] = {}
    for setting in settings:
        groups.setdefault((setting.f_number, setting.aperture, setting.lens_turn_deg), []).append(setting)
    found = []
    for (f_number, aperture, turn), group in groups.items():
        figures = _repeated(group)
        if figures:
            found.append(Repeats(f_number, aperture, turn, [setting.setup for setting in group], figures))
    return found


def of_repeats(what: str, zone: str, channel: str, figures: Sequence[Figure]) -> Repeated:
    """One figure's mean and spread over setups.

    The mean's interval is Student's, the spread's that of chi squared, both with one degree of freedom less than
    there are setups: with two of them next to nothing is known, and the intervals say so. Two builds may be called
    different where their means lie farther apart than Student's t times the standard error of a difference. Setups
    that by chance differ less than their shots' noise lets them are taken to differ by that.

    Parameters
    ----------
    what, zone, channel : str
        As `Repeated` names them.
    figures : sequence of Figure
        Two or more, one a setup.
    """
    values = np.array([figure.value for figure in figures])
    count, unit = len(values), figures[0].unit
    deviation = float(values.std(ddof=1))
    t = stats.t.ppf((1 + CONFIDENCE) / 2, count - 1)
    least, most = stats.chi2.ppf([(1 + CONFIDENCE) / 2, (1 - CONFIDENCE) / 2], count - 1)
    low, high = (deviation * float(np.sqrt((count - 1) / chi)) for chi in (least, most))
    noise = float(np.sqrt(np.mean([figure.half_width**2 for figure in figures])))
    reach = max(t * deviation, noise)
    return Repeated(
        what,
        zone,
        channel,
        mean=Figure.of(values.mean(), reach / np.sqrt(count), unit),
        spread=Figure(deviation, low, high, unit),
        shot_half_width=noise,
        smallest_difference=float(reach * np.sqrt(2 / count)),
        setups=count,
    )


def _repeated(group: Sequence[Setting]) -> list[Repeated]:
    by_place: dict[tuple[str, str, str], list[Figure]] = {}
    for setting in group:
        for place, figure in _figures(setting):
            by_place.setdefault(place, []).append(figure)
    return [of_repeats(*place, figures) for place, figures in by_place.items() if len(figures) > 1]


def _figures(setting: Setting) -> Iterator[tuple[tuple[str, str, str], Figure]]:
    """A setting's figures by what they are, zone and channel."""
    yield from _sharpness(setting)
    for fringing in setting.fringing.zones if setting.fringing else ():
        yield ("fringing", fringing.zone, fringing.channel), fringing.radial_px
    for falloff in setting.falloff.zones if setting.falloff else ():
        yield ("falloff", falloff.zone, ""), falloff.stops


def _sharpness(setting: Setting) -> Iterator[tuple[tuple[str, str, str], Figure]]:
    """MTF50, mean of directions, in green: with a rail series at the centre's best focus, else of the shots."""
    if setting.focus:
        zones = [
            (zone, zone.mtf50_at_centre_lp_mm or zone.mtf50_at_centre)
            for zone in setting.focus.zones
            if zone.mtf50_at_centre
        ]
    else:
        zones = [(zone, zone.mtf50_lp_mm or zone.mtf50) for zone in _zones(setting)]
    shown = reference_channel([zone.channel for zone, _ in zones])
    for zone, figure in zones:
        if zone.direction == "mean" and zone.channel == shown:
            yield ("sharpness", zone.zone, zone.channel), figure


def _zones(setting: Setting) -> list:
    return setting.sharpness.zones if setting.sharpness else []
