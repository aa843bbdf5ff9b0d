"""Shots taken alike, joined: what single shots show becomes a Setting with its findings."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.analysers.fringing import measure_fringing
from lensbench.analysers.geometry import TargetShot, measure_geometry
from lensbench.analysers.mapping import Lines
from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.findings import Camera, Geometry, Notice, Setting
from lensbench.loaders.session import Session, ShotEntry
from lensbench.readings import Readings, TargetReading
from lensbench.target.layout import read_layout


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
    settings, notices = [], []
    order = list(map(Taken.of, session.shots))
    for key in sorted(keys, key=lambda key: (*key.rank, order.index(key))):
        alike = Readings.of(reading for reading in readings if Taken.of(reading.entries[0]) == key)
        setting, more = _setting(session, camera, key, alike)
        settings.append(setting)
        notices += more
    return settings, notices


def _setting(session: Session, camera: Camera, key: Taken, alike: Readings) -> tuple[Setting, list[Notice]]:
    names = [entry.file for reading in alike for entry in reading.entries]
    setting = Setting(key.f_number, key.aperture, key.lens_turn_deg, key.setup, names)
    for flats in alike.flats:
        setting.falloff, setting.dust = flats.falloff, flats.dust
    blades = [ShotEdges(reading.entry.file, reading.responses) for reading in alike.blades]
    targets = alike.targets
    if not targets:
        if blades:
            setting.sharpness = measure_sharpness(blades, camera.size_px, camera.pixel_pitch_um)
        return setting, []
    best = max(targets, key=lambda reading: reading.mtf50)
    on_rail = len({reading.entry.rail_mm for reading in targets}) > 1
    shown = [best] if on_rail else targets
    edges = [*(ShotEdges(reading.entry.file, reading.responses, reading.found) for reading in shown), *blades]
    setting.sharpness = measure_sharpness(edges, camera.size_px, camera.pixel_pitch_um)
    setting.fringing = measure_fringing(best.found, best.responses, camera.size_px, camera.pixel_pitch_um)
    setting.geometry = _geometry(session, camera, targets)
    setting.magnification = setting.geometry.magnification
    return setting, [_rail_notice(best, len(targets))] if on_rail else []


def _rail_notice(best: TargetReading, shots: int) -> Notice:
    name = best.entry.file
    return Notice(
        "rail",
        name,
        f"{name}: is the sharpest of {shots} shots along the rail; sharpness and fringing are its own.",
    )


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
