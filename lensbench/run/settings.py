"""Shots taken alike, joined: what single shots show becomes a Setting with its findings."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.analysers.falloff import describe_apertures, describe_light
from lensbench.analysers.focus import FocusShot, Sheet, measure_focus
from lensbench.analysers.fringing import measure_fringing
from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.analysers.glare import Ink, measure_glare
from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.findings import Camera, Falloff, Focus, Geometry, Notice, Setting
from lensbench.loaders.session import Session, ShotEntry
from lensbench.run.readings import BladeReading, FlatsReading, Readings, TargetReading
from lensbench.run.setting_warnings import setting_notices
from lensbench.target.layout import read_layout
from lensbench.verdicts.focus import RailShot, advise_rail, rail_notices
from lensbench.verdicts.limits import judge_limits


@dataclass(frozen=True)
class Taken:
    """How shots taken alike were taken."""

    f_number: float | None
    aperture: str | None
    lens_turn_deg: float
    setup: int

    @classmethod
    def of(cls, entry: ShotEntry) -> Taken:
        return cls(entry.f_number, entry.aperture, entry.lens_turn_deg, entry.setup)

    @property
    def rank(self) -> tuple:
        """Rising f-number, then those without one."""
        known = self.f_number is not None
        return (not known, self.f_number if known else 0.0, self.lens_turn_deg, self.setup)


def make_settings(session: Session, camera: Camera, readings: Readings) -> tuple[list[Setting], list[Notice]]:
    """Join what single shots show into settings.

    Parameters
    ----------
    session : Session
        What the user says of the shots.
    camera : Camera
        The frame that they share.
    readings : Readings
        What the shots show.

    Returns
    -------
    list of Setting
        One for each group of shots taken alike, in rising f-number.
    list of Notice
        What the user should know of them.
    """
    keys = {Taken.of(reading.entries[0]) for reading in readings}
    falloffs = _falloffs(readings.flats)
    settings, notices = [], []
    order = list(map(Taken.of, session.shots))
    for key in sorted(keys, key=lambda key: (*key.rank, order.index(key))):
        alike = Readings.of(reading for reading in readings if Taken.of(reading.entries[0]) == key)
        setting, more = _setting(session, camera, key, alike, falloffs.get(key))
        settings.append(setting)
        notices += more
    return settings, notices


def _falloffs(flats: list[FlatsReading]) -> dict[Taken, Falloff]:
    """Falloff by setting: of all apertures together where the lens stood alike, which tells bright spots."""
    found, stands = {}, {}
    for reading in flats:
        if reading.light is not None:
            taken = Taken.of(reading.entries[0])
            stand = (taken.lens_turn_deg, taken.setup) if taken.f_number is not None else taken
            stands.setdefault(stand, []).append((taken, reading.light))
    for group in stands.values():
        group.sort(key=lambda pair: pair[0].rank)
        taken, lights = zip(*group, strict=True)
        if len(group) == 1:
            found[taken[0]] = describe_light(lights[0])
        else:
            found |= zip(taken, describe_apertures(lights, [one.f_number for one in taken]), strict=True)
    return found


def _setting(
    session: Session, camera: Camera, key: Taken, alike: Readings, falloff: Falloff | None
) -> tuple[Setting, list[Notice]]:
    names = [entry.file for reading in alike for entry in reading.entries]
    setting = Setting(key.f_number, key.aperture, key.lens_turn_deg, key.setup, names)
    for flats in alike.flats:
        setting.falloff, setting.dust = falloff, flats.dust
    blades, blade_notices = _blades(alike.blades)
    targets = alike.targets
    if not targets:
        if blades:
            size, pitch = camera.size_px, camera.pixel_pitch_um
            setting.sharpness = measure_sharpness(blades, size, pitch)
            setting.limits = judge_limits(setting, size, pitch, session.lens.pupil_ratio)
        return setting, blade_notices
    ink = Ink(session.target.ink_reflectance, tuple(session.target.light_traps))
    setting.glare = measure_glare([t.dark_tiles for t in targets], camera.size_px, targets[0].reference, ink)
    setting.geometry = _geometry(session, camera, targets)
    setting.magnification = setting.geometry.magnification
    on_rail = len({reading.entry.rail_mm for reading in targets}) > 1
    if on_rail:
        setting.focus = _focus(camera, setting.geometry, targets)
    best = _speaker(setting, targets)
    used = [best] if on_rail else targets
    edges = [*map(_edges, used), *blades]
    setting.sharpness = measure_sharpness(edges, camera.size_px, camera.pixel_pitch_um)
    setting.fringing = measure_fringing(best.found, best.responses, camera.size_px, camera.pixel_pitch_um)
    setting.rail_advice = advise_rail(setting, session.lens.pupil_ratio)
    rail = [RailShot(reading.entry.file, reading.entry.rail_mm, reading.mtf50) for reading in targets]
    return setting, [*blade_notices, *rail_notices(setting, rail), *_weighed(session, camera, setting, used)]


def _blades(readings: list[BladeReading]) -> tuple[list[ShotEdges], list[Notice]]:
    """The edges of all blade shots; along a rail those of the sharpest only, since the others are out of focus."""
    notices = []
    if len({reading.entry.rail_mm for reading in readings}) > 1:
        best = max(readings, key=lambda reading: reading.mtf50)
        text = (
            f"{best.entry.file}: is the sharpest of {len(readings)} blade shots along the rail; only it is used."
        )
        readings, notices = [best], [Notice("rail", best.entry.file, text)]
    return [ShotEdges(reading.entry.file, reading.responses) for reading in readings], notices


def _weighed(session: Session, camera: Camera, setting: Setting, used: list[TargetReading]) -> list[Notice]:
    """Say what of a setting's sharpness is the lens's own; gives back what the user should know of that."""
    pupil_ratio, signs = session.lens.pupil_ratio, [reading.signs for reading in used]
    ragged = max((one.raggedness_px for one in signs if one.raggedness_px), key=lambda f: f.value, default=None)
    setting.limits = judge_limits(
        setting, camera.size_px, camera.pixel_pitch_um, pupil_ratio, session.target.print_dpi, ragged
    )
    moved = any(one.motion is not None for one in signs)
    notices, short = setting_notices(setting, camera, used[0].reference, pupil_ratio, moved)
    setting.sharpness.caveats = list(dict.fromkeys([*(words for one in signs for words in one.in_short), *short]))
    return notices


def _speaker(setting: Setting, targets: list[TargetReading]) -> TargetReading:
    """The shot that speaks for a setting: nearest to the centre's best focus where that is known, or the sharpest.

    A shot, not figures interpolated between shots: its edges, curves and colours are those of one real picture.
    """
    if setting.focus:
        return next(reading for reading in targets if reading.entry.file == setting.focus.shot)
    return max(targets, key=lambda reading: reading.mtf50)


def _edges(reading: TargetReading) -> ShotEdges:
    return ShotEdges(reading.entry.file, reading.responses, reading.found)


def _focus(camera: Camera, geometry: Geometry, targets: list[TargetReading]) -> Focus | None:
    """What the shots of a setting that stood along a rail show together."""
    series = [
        FocusShot(
            reading.entry.file,
            reading.entry.rail_mm,
            measure_sharpness([_edges(reading)], camera.size_px).tiles,
        )
        for reading in targets
        if reading.entry.rail_mm is not None
    ]
    return measure_focus(series, camera.size_px, camera.pixel_pitch_um, _sheet(geometry))


def _sheet(geometry: Geometry) -> Sheet | None:
    """How the target stood, as far as geometry knows."""
    if geometry.scale_px_mm is None:
        return None
    lean = None
    if geometry.alignment and geometry.alignment.right_away_deg and geometry.alignment.bottom_away_deg:
        lean = geometry.alignment.right_away_deg, geometry.alignment.bottom_away_deg
    magnification = geometry.magnification.value if geometry.magnification else None
    return Sheet(geometry.scale_px_mm.value, magnification, lean)


def _geometry(session: Session, camera: Camera, targets: list[TargetReading]) -> Geometry:
    layout = read_layout(session.folder / session.target.layout)
    shots = [
        TargetShot(
            name=reading.entry.file,
            lines=Lines.measured(reading.found, reading.responses[reading.reference], camera.size_px),
            mirrored=reading.found.mirrored,
            rail_mm=reading.entry.rail_mm,
            mtf50=reading.mtf50,
        )
        for reading in targets
    ]
    target = session.target
    return measure_geometry(
        shots, layout, camera.size_px, camera.sensor_mm, target.rulers_measured_mm, session.lens.pupil_ratio
    )
