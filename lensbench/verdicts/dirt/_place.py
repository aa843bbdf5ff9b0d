"""What each mark lies on, sensor, lens or light panel: what stays, turns and moves along, and how shadows blur."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from msgspec.structs import replace

from lensbench.findings import UNTOLD, Camera, Dirt, Dust, Setting, Sighting, TracedMark
from lensbench.verdicts.dirt._comparisons import compare_flats
from lensbench.verdicts.dirt._sentences import (
    PANEL_WOULD_TELL,
    TURN_WOULD_TELL,
    apertures_in_words,
    further_shots,
    places_in_words,
)
from lensbench.verdicts.dirt._setting_marks import SettingMarks, marks_of_settings
from lensbench.verdicts.dirt._shadow_distance import Distance
from lensbench.verdicts.dirt._surfaces import (
    LENS,
    LENS_FRONT,
    LENS_REAR,
    PANEL,
    SENSOR,
    SURFACES,
    Clue,
)
from lensbench.verdicts.dirt._traces import Trace, trace_distance, trace_marks

SENSOR_MM, LENS_MM = 5.0, 8.0
"""Nearer to the sensor than the first there is only its own glass; farther than the second none of it (common
practice: cover glass and filters are 1 to 4 mm thick, and the shutter runs right before them)."""


def place_dirt(
    settings: Sequence[Setting], camera: Camera, exit_pupil_mm: float | None = None, pupil_ratio: float = 1.0
) -> tuple[list[Setting], Dirt | None]:
    """Find out what every mark of a session lies on, and from which aperture on it shows.

    Parameters
    ----------
    settings : sequence of Setting
        In rising f-number.
    camera : Camera
        For the frame's size, and the pixels' where it is known.
    exit_pupil_mm : float, optional
        Distance from the sensor to the exit pupil: what lies before the iris blurs as if it lay beyond it.
    pupil_ratio : float
        The exit pupil's width over the entrance pupil's.

    Returns
    -------
    list of Setting
        The settings with `lies_on` and `evidence` of their marks.
    Dirt or None
        The marks with the lens mounted as in the setting that shows the most; None where no flat was measured.
    """
    flats = marks_of_settings(settings)
    if not flats:
        return list(settings), None
    clues, notes = compare_flats(flats, camera.size_px)
    magnification = max((one.magnification.value for one in settings if one.magnification), default=0.0)
    by_mount: dict[tuple[float, int], list[TracedMark]] = {}
    for mount in dict.fromkeys(flat.mount for flat in flats):
        alike = [flat for flat in flats if flat.mount == mount]
        by_mount[mount] = []
        for trace in trace_marks(alike, camera.size_px):
            distance = trace_distance(trace, alike, camera.pixel_pitch_um, magnification, pupil_ratio)
            observed = dict.fromkeys(clue for sighting in trace.items() for clue in clues.get(sighting, ()))
            surface = _judged([*observed, *_distance_clues(distance)], distance, exit_pupil_mm)
            by_mount[mount].append(_traced_mark(trace, alike, distance, surface))
    fullest = max(flats, key=lambda flat: len(flat.marks))
    shown = sorted(by_mount[fullest.mount], key=lambda mark: _rank(mark, fullest.number))
    advice = [*notes, *further_shots(shown)]
    dirt = Dirt(shown, places_in_words(shown), apertures_in_words(shown), advice)
    return _with_marks(settings, (mark for marks in by_mount.values() for mark in marks)), dirt


def _rank(mark: TracedMark, fullest: int) -> int:
    """Its number at the setting that shows the most marks; those not seen there come last."""
    return next((s.mark for s in mark.sightings if s.setting == fullest), 1_000_000)


def _with_marks(settings: Sequence[Setting], traced: Iterable[TracedMark]) -> list[Setting]:
    """The settings with what every mark lies on."""
    known = {(s.setting, s.mark): mark for mark in traced for s in mark.sightings}

    def placed(number: int, dust: Dust) -> Dust:
        marks = [
            replace(mark, lies_on=known[number, k].lies_on, evidence=known[number, k].evidence)
            for k, mark in enumerate(dust.marks)
        ]
        return replace(dust, marks=marks)

    return [
        setting if setting.dust is None else replace(setting, dust=placed(number, setting.dust))
        for number, setting in enumerate(settings)
    ]


# -- one mark -------------------------------------------------------------------------------------------------


class _Surface(NamedTuple):
    """What a mark lies on, and how that is known."""

    lies_on: str
    evidence: str


def _judged(clues: Sequence[Clue], distance: Distance, exit_pupil_mm: float | None) -> _Surface:
    """The surfaces that the clues leave, and on the lens the side of the iris."""
    possible = [surface for surface in SURFACES if not any(surface in clue.not_on for clue in clues)]
    evidence = [clue.evidence for clue in clues]
    lies_on = " or ".join(possible) if 0 < len(possible) < len(SURFACES) else UNTOLD
    if not possible:
        evidence = [f"the shots disagree: {' but '.join(evidence)}"]
    elif possible == [LENS]:
        lies_on, more = _side_of_the_iris(distance, exit_pupil_mm)
        evidence += more
    if PANEL in possible and len(possible) > 1:
        evidence.append(PANEL_WOULD_TELL)
    if LENS in possible and SENSOR in possible:
        evidence.append(TURN_WOULD_TELL)
    return _Surface(lies_on, "; ".join(evidence))


def _traced_mark(trace: Trace, alike: Sequence[SettingMarks], distance: Distance, surface: _Surface) -> TracedMark:
    seen = [flat for flat in alike if flat.number in trace]
    widest, narrowest = seen[0], seen[-1]
    mark = narrowest.marks[trace[narrowest.number]]
    late = widest.f_number is not None and widest is not alike[0]
    return TracedMark(
        kind=mark.kind,
        x=mark.x,
        y=mark.y,
        lies_on=surface.lies_on,
        evidence=surface.evidence,
        distance_mm=distance.figure,
        sightings=[Sighting(flat.number, trace[flat.number]) for flat in seen],
        shows_from=widest.label if late else None,
    )


def _distance_clues(distance: Distance) -> list[Clue]:
    """What the blur of a mark's shadow says: a panel in focus is as sharp as the sensor's own dust."""
    if distance.high < SENSOR_MM:
        return [Clue(frozenset({LENS}), f"its shadow is too sharp for more than {distance.high:.1f} mm")]
    if distance.low > LENS_MM:
        return [Clue(frozenset({SENSOR}), f"its shadow is too soft for less than {distance.low:.0f} mm")]
    return []


def _side_of_the_iris(distance: Distance, exit_pupil_mm: float | None) -> tuple[str, list[str]]:
    """Before or behind the iris: what lies before it has its image beyond the exit pupil, seen from the sensor."""
    if exit_pupil_mm is not None and distance.low > exit_pupil_mm:
        return LENS_FRONT, ["it blurs more than anything behind the iris would"]
    if exit_pupil_mm is not None and distance.high < exit_pupil_mm:
        return LENS_REAR, ["it blurs less than anything before the iris would"]
    return LENS, []
