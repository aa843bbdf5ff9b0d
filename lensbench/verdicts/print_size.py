"""How large a print stays sharp: until the finest lines that the eye resolves keep half of their contrast.

The eye resolves about one minute of arc a line, 5.7 line pairs a millimetre at 30 cm (handbook value; memory).
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import structs

from lensbench import frame
from lensbench.figure import Figure
from lensbench.findings import ApertureRanking, Camera, PrintSize, Setting
from lensbench.verdicts.repeats import of_repeats
from lensbench.verdicts.zones import KnownZone, known_zones

EYE_LP_MM = 5.7
"""What the eye resolves at `READING_CM`, in line pairs a millimetre."""

READING_CM = 30

PAPERS_CM = {
    "postcard (A6)": (14.8, 10.5),
    "A5": (21.0, 14.8),
    "A4": (29.7, 21.0),
    "A3": (42.0, 29.7),
    "A2": (59.4, 42.0),
    "A1": (84.1, 59.4),
    "A0": (118.9, 84.1),
}
"""Sheets of paper that a builder knows the size of (ISO 216)."""


def judge_print_size(
    settings: Sequence[Setting], rankings: Sequence[ApertureRanking], camera: Camera
) -> list[PrintSize]:
    """How large a picture may be printed, at the aperture that is sharpest over the frame.

    Parameters
    ----------
    settings : sequence of Setting
        Those of a report.
    rankings : sequence of ApertureRanking
        Of the same; the first one's best aperture is taken, with all of its setups.
    camera : Camera
        For the sensor's size.

    Returns
    -------
    list of PrintSize
        For the centre and for the softest zone, where they were measured; empty without the sensor's size. A zone
        that was measured in one direction alone counts with that one.
    """
    if not rankings or camera.sensor_mm is None or camera.pixel_pitch_um is None:
        return []
    best = rankings[0].ranked[0]
    known = known_zones([settings[number] for number in best.settings])
    if not known:
        return []
    mtf50 = {zone: _over_setups(figures) for zone, figures in known.items()}
    parts = {"centre": frame.ZONES[0], "frame": min(mtf50, key=lambda zone: mtf50[zone].value)}
    sizes = [
        _size_of(part, best.label, mtf50[zone], camera.sensor_mm, zone, known[zone].direction)
        for part, zone in parts.items()
        if zone in known
    ]
    lacking = [zone for zone in frame.ZONES if zone not in known]
    return [structs.replace(size, unmeasured=lacking) if size.part == "frame" else size for size in sizes]


def _over_setups(known: KnownZone) -> Figure:
    """A zone's mean over the setups."""
    return known.figures[0] if len(known.figures) == 1 else of_repeats("", "", "", known.figures).mean


def _size_of(
    part: str, aperture: str, mtf50: Figure, sensor_mm: tuple[float, float], zone: str, direction: str
) -> PrintSize:
    long_mm, short_mm = max(sensor_mm), min(sensor_mm)
    enlarged = mtf50.scaled(1 / EYE_LP_MM, "×")
    fitting = {name: min(long / long_mm, short / short_mm) * 10 for name, (long, short) in PAPERS_CM.items()}
    return PrintSize(
        part=part,
        zone=zone,
        direction=direction,
        aperture=aperture,
        enlargement=enlarged,
        long_cm=enlarged.scaled(long_mm / 10, "cm"),
        short_cm=enlarged.scaled(short_mm / 10, "cm"),
        surely=_largest(fitting, enlarged.low),
        perhaps=_largest(fitting, enlarged.high),
    )


def _largest(fitting: dict[str, float], enlargement: float) -> str:
    """The largest sheet that asks for no more enlargement; empty where even the smallest does."""
    return next((name for name in reversed(list(fitting)) if fitting[name] <= enlargement), "")
