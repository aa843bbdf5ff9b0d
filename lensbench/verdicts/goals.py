"""Did the build reach its goals? Each figure against its limit, never surer than its interval."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from lensbench import frame
from lensbench.figure import Figure
from lensbench.findings import UNTOLD, Report, Setting, trusted_falloffs
from lensbench.findings.goals import Goal, GradedGoal, Grades
from lensbench.shot import reference_channel
from lensbench.verdicts.repeats import of_repeats

MET, MISSED, CLOSE = "met", "missed", "too close to call"

Candidates = dict[str, list[Figure]]
"""Figures that a goal could be held against: by zone (empty for the whole frame), one a setup."""


def grade(
    report: Report, wanted: Sequence[Goal], f_number: float | None = None, aperture: str | None = None
) -> Grades:
    """Grade a report against goals.

    Where an aperture was shot in several setups, each figure is the mean over them with the interval that their
    spread leaves it; with one setup its interval is that of the shots alone.

    Parameters
    ----------
    report : Report
        What was measured.
    wanted : sequence of Goal
        What was wanted.
    f_number, aperture : optional
        The aperture to grade at; otherwise the one that meets most goals, and of those misses fewest.

    Returns
    -------
    Grades
    """
    apertures = _by_aperture(report.settings)
    asked = f_number is not None or aperture is not None
    if asked:
        apertures = {key: settings for key, settings in apertures.items() if key == (f_number, aperture)}
    graded = [_graded(report, settings, wanted) for settings in apertures.values()]
    if not graded:
        label = Setting(f_number=f_number, aperture=aperture).label
        reason = f"nothing was measured at {label}" if asked else "nothing was measured"
        goals = [GradedGoal(goal, UNTOLD, reason=reason) for goal in wanted]
        return Grades(UNTOLD, label, 0, "asked for" if asked else "only one", goals)
    best = max(graded, key=lambda one: (_count(one, MET), -_count(one, MISSED)))
    settings = list(apertures.values())[graded.index(best)]
    chosen = "asked for" if asked else "only one" if len(graded) == 1 else "meets most"
    setups = len({setting.setup for setting in settings})
    return Grades(_answer(best), settings[0].label, setups, chosen, best)


def _by_aperture(settings: Iterable[Setting]) -> dict[tuple[float | None, str | None], list[Setting]]:
    """The settings of each aperture, with the lens as it is shot with (not turned in its mount)."""
    groups: dict[tuple[float | None, str | None], list[Setting]] = {}
    for setting in settings:
        if not setting.lens_turn_deg:
            groups.setdefault((setting.f_number, setting.aperture), []).append(setting)
    return groups


def _graded(report: Report, settings: Sequence[Setting], wanted: Sequence[Goal]) -> list[GradedGoal]:
    return [_held_against(goal, _FIGURES[goal.what](report, settings, goal.part)) for goal in wanted]


def _count(graded: Sequence[GradedGoal], result: str) -> int:
    return sum(one.result == result for one in graded)


def _answer(graded: Sequence[GradedGoal]) -> str:
    """The answer to all goals together: the worst of their results."""
    results = {one.result for one in graded}
    return next((result for result in (MISSED, UNTOLD, CLOSE) if result in results), MET)


def _held_against(goal: Goal, found: Candidates | str) -> GradedGoal:
    """A goal with its result; the candidate that fares worst decides."""
    if isinstance(found, str):
        return GradedGoal(goal, UNTOLD, reason=found)
    graded = [
        GradedGoal(goal, _result(goal, figure), figure, zone)
        for zone, figure in ((zone, _joined(figures)) for zone, figures in found.items())
    ]
    return min(graded, key=lambda one: _room(goal, one.value))


def _joined(figures: Sequence[Figure]) -> Figure:
    """One figure from those of several setups."""
    return figures[0] if len(figures) == 1 else of_repeats("", "", "", figures).mean


def _result(goal: Goal, figure: Figure) -> str:
    least = -math.inf if goal.least is None else goal.least
    most = math.inf if goal.most is None else goal.most
    if least <= figure.low and figure.high <= most:
        return MET
    return MISSED if figure.high < least or figure.low > most else CLOSE


def _room(goal: Goal, figure: Figure | None) -> float:
    """How much room a figure leaves to its nearer limit; negative where it is beyond it."""
    if figure is None:
        return -math.inf
    rooms = [figure.value - goal.least] if goal.least is not None else []
    return min([*rooms, goal.most - figure.value] if goal.most is not None else rooms)


# -- the figures ----------------------------------------------------------------------------------------------


def _mtf50(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    if not report.camera.pixel_pitch_um:
        return "line pairs a millimetre need the sensor's size: add sensor_mm to session.toml"
    rows = [
        (zone.zone, zone.mtf50_lp_mm)
        for setting in settings
        for zone in _sharpness_zones(setting)
        if zone.mtf50_lp_mm is not None
    ]
    focused = [
        (zone.zone, zone.mtf50_at_centre_lp_mm)
        for setting in settings
        for zone in (setting.focus.zones if setting.focus else ())
        if zone.mtf50_at_centre_lp_mm and zone.direction == "mean" and zone.channel == _channel(setting)
    ]
    return _in_part(focused or rows, part, "no zone there has a figure for sharpness at this aperture")


def _of_possible(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    rows = [
        (zone.zone, zone.achieved_percent)
        for setting in settings
        for zone in (setting.limits.zones if setting.limits else ())
        if zone.achieved_percent and zone.direction == "mean" and zone.channel == _channel(setting)
    ]
    missing = "what is possible needs the f-number, the sensor's size and the magnification"
    return _in_part(rows, part, missing)


def _magnification(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    figures = [setting.magnification for setting in settings if setting.magnification]
    return {"": figures} if figures else "the magnification needs a target shot and the sensor's size"


def _of_geometry(report: Report, name: str, missing: str) -> Candidates | str:
    figure = getattr(report.geometry, name) if report.geometry else None
    return {"": [figure]} if figure else missing


_TWO_DISTANCES = "it needs two target shots a known step apart on a rail, focus untouched (rail_mm)"


def _field_of_view(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    return _of_geometry(report, "field_of_view_deg", _TWO_DISTANCES)


def _focal_length(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    view = report.geometry.view if report.geometry else None
    return {"": [view.focal_length_mm]} if view and view.focal_length_mm else _TWO_DISTANCES


def _distortion(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    found = _of_geometry(report, "distortion_percent", "distortion needs a target shot that reaches the corners")
    return found if isinstance(found, str) else {"": [_size(figure) for figure in found[""]]}


def _corner_falloff(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    figures = [setting.falloff.worst_corner for setting in trusted_falloffs(settings) if setting.falloff]
    corners = [(corner.zone, corner.stops) for corner in figures if corner]
    if not corners:
        return "falloff needs a shot of an even light whose corners can be read"
    darkest = max(corners, key=lambda corner: corner[1].value)[0]
    return {darkest: [stops for _, stops in corners]}


def _fringing(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    rows = [
        (f"{zone.zone}, {zone.channel}", distance_from_green(zone.radial_px, zone.around_px))
        for setting in settings
        for zone in (setting.fringing.zones if setting.fringing else ())
    ]
    return _worst_zones(rows, "fringing needs a target shot in colour")


def _glare(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    rows = [
        (zone.zone, zone.glare_percent)
        for setting in settings
        for zone in (setting.glare.zones if setting.glare else ())
        if zone.glare_percent
    ]
    return _worst_zones(rows, "glare needs the ink's own light: light traps or ink_reflectance in session.toml")


def _glow(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    rows = [
        (zone.zone, zone.glow_percent)
        for setting in settings
        for zone in (setting.glow.zones if setting.glow else ())
        if zone.channel == _channel(setting) and zone.zone in frame.ZONES
    ]
    return _worst_zones(rows, "glow needs a shot of edges whose surroundings can be read")


def _marks(report: Report, settings: Sequence[Setting], part: str) -> Candidates | str:
    counts = [len(setting.dust.marks) for setting in settings if setting.dust]
    if not counts:
        return "marks need a shot of an even light"
    return {"": [Figure.of(max(counts), 0.0, "")]}


_FIGURES: dict[str, Callable[[Report, Sequence[Setting], str], Candidates | str]] = {
    "mtf50_lp_mm": _mtf50,
    "mtf50_percent_of_possible": _of_possible,
    "magnification": _magnification,
    "field_of_view_deg": _field_of_view,
    "focal_length_mm": _focal_length,
    "distortion_percent": _distortion,
    "corner_falloff_stops": _corner_falloff,
    "fringing_px": _fringing,
    "glare_percent": _glare,
    "glow_percent": _glow,
    "marks": _marks,
}


def distance_from_green(radial: Figure, around: Figure) -> Figure:
    """How far a colour lies from green, whichever way, in pixels."""
    size = math.hypot(radial.value, around.value)
    half = math.hypot(radial.value * radial.half_width, around.value * around.half_width) / size if size else 0.0
    return Figure.of(size, half, "px")


def _sharpness_zones(setting: Setting) -> list:
    zones = setting.sharpness.zones if setting.sharpness else []
    channel = _channel(setting)
    return [zone for zone in zones if zone.direction == "mean" and zone.channel == channel]


def _channel(setting: Setting) -> str:
    return reference_channel([zone.channel for zone in setting.sharpness.zones]) if setting.sharpness else "green"


def _in_part(rows: Iterable[tuple[str, Figure]], part: str, missing: str) -> Candidates | str:
    """The figures of the zones of a part: all of a ring's must be there."""
    zones = [zone for zone in frame.ZONES if part in (zone, zone.split()[0])]
    found: Candidates = {}
    for zone, figure in rows:
        if zone in zones:
            found.setdefault(zone, []).append(figure)
    if len(found) < len(zones):
        lacking = [zone for zone in zones if zone not in found]
        return missing if not found else f"{missing}: {', '.join(lacking)}"
    return found


def _worst_zones(rows: Iterable[tuple[str, Figure]], missing: str) -> Candidates | str:
    found: Candidates = {}
    for zone, figure in rows:
        found.setdefault(zone, []).append(figure)
    return found or missing


def _size(figure: Figure) -> Figure:
    """A figure without its sign."""
    if figure.low < 0 < figure.high:
        return Figure(abs(figure.value), 0.0, max(-figure.low, figure.high), figure.unit)
    low, high = sorted((abs(figure.low), abs(figure.high)))
    return Figure(abs(figure.value), low, high, figure.unit)
