"""Marks followed through the apertures, and how far from the sensor they lie by that."""

from __future__ import annotations

from collections.abc import Sequence

from lensbench.findings import Mark
from lensbench.verdicts.dirt._pairs import pair_marks
from lensbench.verdicts.dirt._setting_marks import SettingMarks
from lensbench.verdicts.dirt._shadow_distance import UNKNOWN, Distance, shadow_distance

Trace = dict[int, int]
"""One mark at the apertures that show it: its number there, by the number of the setting."""


def trace_marks(alike: Sequence[SettingMarks], size: tuple[int, int]) -> list[Trace]:
    """Follow each mark from the narrowest aperture, where it is sharpest, to wider ones.

    Parameters
    ----------
    alike : sequence of SettingMarks
        Settings that differ in aperture alone, in rising f-number.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    list of Trace
    """
    traces: list[Trace] = []
    latest: list[Mark] = []
    for flat in reversed(alike):
        pairs = {new: old for old, new in pair_marks(latest, flat.marks, size, alike=False).items()}
        for new, mark in enumerate(flat.marks):
            if new in pairs:
                traces[pairs[new]][flat.number] = new
                latest[pairs[new]] = mark
            else:
                traces.append({flat.number: new})
                latest.append(mark)
    return traces


def trace_distance(
    trace: Trace, alike: Sequence[SettingMarks], pitch_um: float | None, magnification: float, pupil_ratio: float
) -> Distance:
    """Bounds on a mark's distance from the sensor; none where f-numbers or the pixels' size aren't known.

    Parameters
    ----------
    trace : Trace
        The mark.
    alike : sequence of SettingMarks
        The settings that it was looked for in.
    pitch_um : float or None
        Pixel pitch.
    magnification, pupil_ratio : float
        Of the lens as the target was shot; 0 where the magnification isn't known.

    Returns
    -------
    Distance
    """
    if pitch_um is None:
        return UNKNOWN
    known = [(flat.f_number, flat) for flat in alike if flat.f_number is not None]
    seen = [(f_number, flat.marks[trace[flat.number]]) for f_number, flat in known if flat.number in trace]
    missed = [f_number for f_number, flat in known if flat.number not in trace]
    return shadow_distance(seen, missed, pitch_um / 1000, magnification, pupil_ratio)
