"""What concerns a session as a whole, in words: sensor, apertures, orientation, dark frames of no use."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from math import log2

from lensbench.findings import Notice
from lensbench.frame import sensor_misfit
from lensbench.loaders.session import Session
from lensbench.loaders.session_keys import ShotEntry
from lensbench.run._loading import ShotFacts
from lensbench.run._readings import Readings
from lensbench.target.layout import Layout


def sensor_notices(sensor_mm: tuple[float, float] | None, size: tuple[int, int]) -> list[Notice]:
    """A warning where the sensor's size in the session file can't be that of the pictures; else none."""
    misfit = sensor_misfit(size, sensor_mm) if sensor_mm else None
    if misfit is None:
        return []
    return [Notice("sensor", None, f"session.toml: {misfit} Until then all sizes on the sensor are in pixels.")]


PRINTERS_SCALE = 0.03
"""Share by which printers are off at most without being told to scale (common practice: within 1 %)."""

APERTURES_DIFFER_STOPS = 0.7
"""Apertures recorded and written down differ by rounding only: a third of a stop, or half."""


def layout_notices(layout: Layout | None) -> Iterator[Notice]:
    """A target that nothing in the shots tells from other prints."""
    if layout is not None and layout.name is None:
        text = (
            "target.json: was made before sheets had names of their own, and prints of other sizes look alike, so "
            "the shots can't show whether it belongs to this print. Check that neighbouring tiles of the print "
            f"are {layout.pitch_mm:.2f} mm apart, or make a new target: sizes and magnification hang on it."
        )
        yield Notice("unnamed-sheet", None, text)


def ruler_notices(session: Session, layout: Layout | None) -> Iterator[Notice]:
    """Both bars longer or shorter than drawn by more than printers make them."""
    measured = session.target.rulers_measured_mm
    if layout is None or measured is None:
        return
    scale = [length / drawn for length, drawn in zip(measured, layout.rulers_mm, strict=True)]
    if all(abs(one - 1) > PRINTERS_SCALE for one in scale):
        off = 100 * (sum(scale) / 2 - 1)
        way = "larger" if off > 0 else "smaller"
        text = (
            f"session.toml: by rulers_measured_mm the sheet is printed {abs(off):.1f} % {way} than drawn, and "
            f"printers are seldom off by more than {100 * PRINTERS_SCALE:.0f} % unless told to fit a page. Check "
            f"it on the sheet: neighbouring tiles must be {layout.pitch_mm * (1 + off / 100):.2f} mm apart. Sizes "
            "and the magnification hang on it."
        )
        yield Notice("rulers", None, text)


def aperture_notices(session: Session, facts: Sequence[ShotFacts]) -> Iterator[Notice]:
    """An f-number in the session file that isn't the one that the camera recorded."""
    recorded = {fact.file: fact.f_number for fact in facts}
    for entry in session.shots:
        own = recorded.get(entry.file)
        if own and entry.f_number and abs(2 * log2(entry.f_number / own)) > APERTURES_DIFFER_STOPS:
            text = (
                f"{entry.file}: session.toml says f/{entry.f_number:g}, but the camera recorded f/{own:g}. Where "
                "the lens tells the camera its aperture, mend f_number; an adapter may record any number, which "
                "then means nothing."
            )
            yield Notice("other-aperture", entry.file, text)


def session_notices(session: Session, facts: Sequence[ShotFacts]) -> Iterator[Notice]:
    """Shots without an aperture, and a camera that was held turned."""
    nameless = [e.file for e in session.shots if e.shows != "dark" and e.f_number is None and e.aperture is None]
    if nameless:
        text = f"{len(nameless)} of {len(session.shots)} shots have no aperture ({nameless[0]} for one). Add "
        how = 'f_number = … or aperture = "third click" to them in session.toml.'
        yield Notice("aperture", None, text + how)
    yield from aperture_notices(session, facts)
    if {fact.orientation for fact in facts} - {1}:
        text = (
            "The camera recorded that it was held turned. Left, right, top and bottom are those of the picture as "
        )
        yield Notice("orientation", None, f"{text}stored, before a viewer turns it.")


def dark_notices(shots: Sequence[ShotEntry], readings: Readings, left_out: Collection[str | None]) -> list[Notice]:
    """The dark frames that were exposed like no flat and no target.

    Parameters
    ----------
    shots : sequence of ShotEntry
        The session's.
    readings : Readings
        Which know the dark frames that were subtracted.
    left_out : collection of str
        Shots that a notice says are left out.
    """
    used = {name for target in readings.targets for name in target.darks}
    used |= {name for flats in readings.flats for name in flats.darks}
    idle = [e.file for e in shots if e.shows == "dark" and e.file not in used and e.file not in left_out]
    text = "was exposed like no flat and no target here, so it is taken off none. Use their shutter time and ISO."
    return [Notice("dark-unused", name, f"{name}: {text}") for name in idle]
