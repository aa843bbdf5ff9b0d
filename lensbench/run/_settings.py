"""Shots taken alike, joined: what single shots show becomes a Setting with its findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from msgspec.structs import replace

from lensbench.analysers.falloff import LightReading, describe_falloff
from lensbench.analysers.focus import FocusShot, Sheet, measure_focus
from lensbench.analysers.fringing import measure_fringing
from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry, mistakes_in
from lensbench.analysers.glare import Ink, measure_glare
from lensbench.analysers.glow import measure_glow
from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.findings import Camera, Falloff, Focus, Geometry, Notice, Setting
from lensbench.loaders.session import Session
from lensbench.run._configuration import ShotConfiguration
from lensbench.run._noise_warnings import noise_caveats
from lensbench.run._readings import BladeReading, FlatsReading, Readings, TargetReading
from lensbench.run._setting_warnings import setting_notices
from lensbench.run._shot_warnings import sign_caveats
from lensbench.target.layout import Layout
from lensbench.verdicts.focus import RailShot, advise_rail, rail_notices
from lensbench.verdicts.limits import judge_limits


class Given(NamedTuple):
    """What is known of a session besides what its shots show; `layout` is None without a target."""

    session: Session
    camera: Camera
    layout: Layout | None


class JoinedSettings(NamedTuple):
    """The settings in rising f-number, the sharpest target shot's geometry, and what the user should know."""

    settings: list[Setting]
    geometry: Geometry | None
    notices: list[Notice]


def join_settings(given: Given, readings: Readings) -> JoinedSettings:
    """Join what single shots show into settings, one for each group of shots taken alike.

    Parameters
    ----------
    given : Given
        What the user says of the shots, the frame that they share, the target.
    readings : Readings
        What the shots show.

    Returns
    -------
    JoinedSettings
    """
    groups = readings.by_configuration(given.session.shots)
    geometries = {
        one: _geometry(given, given.layout, alike.targets)
        for one, alike in groups.items()
        if alike.targets and given.layout is not None
    }
    main = _main_geometry(readings.targets, geometries)
    falloffs = _falloffs(readings.flats, main)
    settings, notices = [], []
    for one, alike in groups.items():
        setting, more = _setting(given, alike, _begun(one, alike, falloffs.get(one), geometries.get(one)))
        settings.append(setting)
        notices += more
    return JoinedSettings(settings, main, notices)


def _begun(one: ShotConfiguration, alike: Readings, falloff: Falloff | None, geometry: Geometry | None) -> Setting:
    """A setting with what is found over several settings, and the marks of its flats."""
    return Setting(
        f_number=one.f_number,
        aperture=one.aperture,
        lens_turn_deg=one.lens_turn_deg,
        turned=one.turned,
        setup=one.setup,
        shots=[entry.file for reading in alike for entry in reading.entries],
        magnification=geometry.magnification if geometry else None,
        falloff=falloff,
        dust=alike.flats[0].dust if alike.flats else None,
        centre_light=alike.flats[0].centre_light if alike.flats else None,
        geometry=geometry,
    )


# -- over several settings ------------------------------------------------------------------------------------


def _geometry(given: Given, layout: Layout, targets: Sequence[TargetReading]) -> Geometry:
    target, camera = given.session.target, given.camera
    shots = [
        TargetShot(
            name=reading.entry.file,
            lines=Lines.measured(reading.found, reading.responses[reading.reference], camera.size_px),
            mirrored=reading.found.mirrored,
            rail_mm=reading.entry.rail_mm,
            mtf50=reading.mtf50,
            others=tuple(
                Lines.measured(reading.found, response, camera.size_px)
                for channel, response in reading.responses.items()
                if channel != reading.reference
            ),
        )
        for reading in targets
    ]
    return measure_geometry(
        shots,
        layout,
        camera.size_px,
        camera.sensor_mm,
        target.rulers_measured_mm,
        given.session.lens.pupil_ratio,
    )


def _main_geometry(
    targets: Sequence[TargetReading], geometries: Mapping[ShotConfiguration, Geometry]
) -> Geometry | None:
    """The geometry of the setting with the sharpest shot."""
    if not targets:
        return None
    return geometries[ShotConfiguration.of(max(targets, key=lambda reading: reading.mtf50).entry)]


def _falloffs(flats: Sequence[FlatsReading], geometry: Geometry | None) -> dict[ShotConfiguration, Falloff]:
    """Falloff by setting: of all apertures together where the lens was mounted alike, which shows hot spots.

    The cos⁴ law stands beside it where the field angle was measured.
    """
    distance = geometry.view.image_distance_px if geometry and geometry.view else None
    by_mount: dict[tuple | ShotConfiguration, list[tuple[ShotConfiguration, LightReading]]] = {}
    for reading in flats:
        if reading.light is not None:
            one = ShotConfiguration.of(reading.entries[0])
            mount = (one.lens_turn_deg, one.setup) if one.f_number is not None else one
            by_mount.setdefault(mount, []).append((one, reading.light))
    found: dict[ShotConfiguration, Falloff] = {}
    for group in by_mount.values():
        ones, lights = zip(*sorted(group, key=lambda pair: pair[0].order), strict=True)
        f_numbers = [one.f_number for one in ones if one.f_number is not None]
        found |= zip(ones, describe_falloff(lights, f_numbers, distance), strict=True)
    return found


# -- a setting ------------------------------------------------------------------------------------------------


def _setting(given: Given, alike: Readings, begun: Setting) -> tuple[Setting, list[Notice]]:
    """The setting with what its edges show, what that means, and what the user should know."""
    size, pitch = given.camera.size_px, given.camera.pixel_pitch_um
    blades, notices = _blades(alike.blades)
    if alike.targets:
        setting, used = _with_targets(given, alike.targets, blades, begun)
        setting, more = _judged(given, setting, alike.targets, used)
        return setting, [*notices, *more]
    if blades:
        sharp = replace(begun, sharpness=measure_sharpness(blades, size, pitch))
        judged = replace(sharp, limits=judge_limits(sharp, size, pitch, given.session.lens.pupil_ratio))
        return _with_glow(judged, given.camera, blades), notices
    return begun, notices


def _blades(readings: list[BladeReading]) -> tuple[list[ShotEdges], list[Notice]]:
    """The edges of all blade shots; along a rail those of the sharpest only, since the others are out of focus."""
    notices = []
    if len({reading.entry.rail_mm for reading in readings}) > 1:
        best = max(readings, key=lambda reading: reading.mtf50)
        text = (
            f"{best.entry.file}: is the sharpest of {len(readings)} blade shots along the rail; only it is used."
        )
        readings, notices = [best], [Notice("rail-shot", best.entry.file, text)]
    return [ShotEdges(reading.entry.file, reading.responses) for reading in readings], notices


def _with_glow(setting: Setting, camera: Camera, shots: Sequence[ShotEdges]) -> Setting:
    """The setting with the glow of its edges, less what diffraction makes at its effective f-number."""
    effective = setting.limits.effective_f_number if setting.limits else None
    magnification = setting.magnification.value if setting.magnification else None
    glow = measure_glow(
        [shot.responses for shot in shots], camera.size_px, camera.pixel_pitch_um, effective, magnification
    )
    return replace(setting, glow=glow)


def _with_targets(
    given: Given, targets: list[TargetReading], blades: list[ShotEdges], begun: Setting
) -> tuple[Setting, list[TargetReading]]:
    """The setting with what its target shots show, and those of them that its sharpness is from."""
    size, pitch = given.camera.size_px, given.camera.pixel_pitch_um
    target, geometry = given.session.target, begun.geometry
    ink = Ink(target.ink_reflectance, tuple(target.light_traps))
    on_rail = len({reading.entry.rail_mm for reading in targets}) > 1
    focus = _focus(given.camera, geometry, targets) if on_rail and geometry else None
    best = _reference_shot(focus, targets)
    used = [best] if on_rail else targets
    setting = replace(
        begun,
        glare=measure_glare([reading.dark_tiles for reading in targets], size, targets[0].reference, ink),
        focus=focus,
        sharpness=measure_sharpness([*map(_edges, used), *blades], size, pitch),
        fringing=measure_fringing(best.found, best.responses, size, pitch),
    )
    return setting, used


def _reference_shot(focus: Focus | None, targets: list[TargetReading]) -> TargetReading:
    """The shot that a setting's figures are from: nearest to the centre's best focus, or the sharpest.

    A shot, not figures interpolated between shots: its edges, curves and colours are those of one real picture.
    """
    if focus is not None:
        return next(reading for reading in targets if reading.entry.file == focus.shot)
    return max(targets, key=lambda reading: reading.mtf50)


def _edges(reading: TargetReading) -> ShotEdges:
    return ShotEdges(reading.entry.file, reading.responses, reading.found)


def _focus(camera: Camera, geometry: Geometry, targets: list[TargetReading]) -> Focus | None:
    """What the shots of a setting along a rail show together."""
    series = [
        FocusShot(
            reading.entry.file,
            reading.entry.rail_mm,
            measure_sharpness([_edges(reading)], camera.size_px).tiles,
        )
        for reading in targets
        if reading.entry.rail_mm is not None and reading.entry.file != geometry.misread_rail
    ]
    return measure_focus(series, camera.size_px, camera.pixel_pitch_um, _sheet(geometry))


def _sheet(geometry: Geometry) -> Sheet | None:
    """The target's scale and lean, as far as geometry knows."""
    if geometry.scale_px_mm is None:
        return None
    lean, alignment = None, geometry.alignment
    if alignment and alignment.right_away_deg and alignment.bottom_away_deg:
        lean = alignment.right_away_deg, alignment.bottom_away_deg
    magnification = geometry.magnification.value if geometry.magnification else None
    return Sheet(geometry.scale_px_mm.value, magnification, lean)


def _judged(
    given: Given, setting: Setting, targets: list[TargetReading], used: list[TargetReading]
) -> tuple[Setting, list[Notice]]:
    """The setting with its limits, caveats and advice on the rail, and what the user should know of them."""
    camera, pupil_ratio = given.camera, given.session.lens.pupil_ratio
    signs = [reading.signs for reading in used]
    ragged = max((one.raggedness_px for one in signs if one.raggedness_px), key=lambda f: f.value, default=None)
    size, pitch = camera.size_px, camera.pixel_pitch_um
    limits = judge_limits(setting, size, pitch, pupil_ratio, given.session.target.print_dpi, ragged)
    judged = replace(setting, limits=limits, rail_advice=advise_rail(setting, pupil_ratio))
    judged = _with_glow(judged, camera, list(map(_edges, used)))
    moved = any(one.motion is not None for one in signs)
    notices, caveats = setting_notices(judged, camera, used[0].reference, pupil_ratio, moved)
    seen = [words for one in used for words in [*sign_caveats(one.signs), *noise_caveats(one.noise_signs)]]
    caveats = list(dict.fromkeys([*seen, *caveats]))
    rail = [RailShot(reading.entry.file, reading.entry.rail_mm, reading.mtf50) for reading in targets]
    mistakes = [] if judged.geometry is None else mistakes_in(judged.geometry)
    said = [Notice(code, None, f"{judged.name}: {text}") for code, text in mistakes]
    said += [*rail_notices(judged, rail), *notices]
    sharpness = replace(judged.sharpness, caveats=caveats) if judged.sharpness else None
    return replace(judged, sharpness=sharpness), said
