"""The flats of one setting: loaded once, and measured for falloff and dirt."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lensbench.analysers.dust import find_marks
from lensbench.analysers.falloff import PanelGiven, read_centre_light, read_light
from lensbench.analysers.flat_light import flat_exposure
from lensbench.analysers.photon_transfer import assess_noise
from lensbench.errors import BenchError
from lensbench.findings import Dust, Notice, PanelMarks
from lensbench.frame import pixel_pitch_um
from lensbench.loaders.guessing import why_no_even_light
from lensbench.loaders.session_keys import ShotEntry
from lensbench.run._darks import MeanDark, fitting_darks
from lensbench.run._loading import ShotFacts, left_out, load_shots
from lensbench.run._noise_warnings import noise_notices
from lensbench.run._readings import FlatsReading, Outcome
from lensbench.run._shot_warnings import mosaic_notices
from lensbench.shot import Shot
from lensbench.uniform_blocks import UniformBlocks, read_uniform_blocks
from lensbench.verdicts.dirt import flat_notices


def read_flats(
    folder: Path,
    entries: Sequence[ShotEntry],
    darks: Sequence[MeanDark],
    sensor_mm: tuple[float, float] | None = None,
) -> Outcome:
    """Measure falloff and dirt from the flats of one setting.

    Parameters
    ----------
    folder : Path
        The session's folder.
    entries : sequence of ShotEntry
        The flats, taken alike; dirt is looked for in the first one that can be read of each position of the panel.
    darks : sequence of MeanDark
        The session's dark frames; those exposed like the flats are subtracted.
    sensor_mm : (float, float), optional
        Width and height of the sensor, for lengths in millimetres.

    Returns
    -------
    Outcome
    """
    loaded, notices, digests = load_shots(folder, entries)
    shots, uneven = _even_only(loaded)
    reading, more = _flats_reading(shots, darks, sensor_mm) if shots else (None, [])
    return Outcome(reading, [*notices, *uneven, *more], digests)


def _flats_reading(
    shots: Sequence[tuple[ShotEntry, Shot]],
    darks: Sequence[MeanDark],
    sensor_mm: tuple[float, float] | None,
) -> tuple[FlatsReading | None, list[Notice]]:
    notices: list[Notice] = []
    entries = tuple(entry for entry, _ in shots)
    flats = [shot for _, shot in shots]
    fitting = fitting_darks(flats[0], darks)
    given = [PanelGiven(entry.panel, entry.panel_turn_deg, entry.panel_shift) for entry in entries]
    blocks = tuple(map(read_uniform_blocks, flats))
    light = dust = None
    try:
        light = read_light(flats, fitting.shots, given, pixel_pitch_um(flats[0].size, sensor_mm))
    except BenchError as error:
        notices.append(Notice("falloff", entries[0].file, str(error)))
    try:
        dust = _dirt(shots, blocks)
    except BenchError as error:
        notices.append(Notice("dust", entries[0].file, str(error)))
    # Bands, clouds and bars are looked for where dirt is: in the first flat.
    uneven = dust.light if dust is not None else []
    for number, (entry, shot) in enumerate(shots):
        notices += flat_notices(entry.file, flat_exposure(shot), uneven if number == 0 else [])
        notices += [*noise_notices(assess_noise(blocks[number]), entry.file), *mosaic_notices(shot, entry.file)]
    if light is None and dust is None:
        return None, notices
    centre_light = read_centre_light(flats, fitting.shots)
    facts = ShotFacts.of(flats[0])
    return FlatsReading(entries, facts, light, dust, fitting.files, centre_light, blocks), notices


def _even_only(shots: Sequence[tuple[ShotEntry, Shot]]) -> tuple[list[tuple[ShotEntry, Shot]], list[Notice]]:
    """The shots that may show an even light, and notices of those that plainly don't."""
    kept: list[tuple[ShotEntry, Shot]] = []
    notices: list[Notice] = []
    for entry, shot in shots:
        uneven = why_no_even_light(shot)
        if uneven is None:
            kept.append((entry, shot))
        else:
            text = f"{entry.file}: {uneven} Mend shows = … in session.toml."
            notices.append(left_out(entry.file, text))
    return kept, notices


def _dirt(shots: Sequence[tuple[ShotEntry, Shot]], blocks: Sequence[UniformBlocks]) -> Dust:
    """The marks of the first flat, and of the first one with the light panel at each other position."""
    first_by_panel: dict[int, tuple[Shot, UniformBlocks]] = {}
    for (entry, shot), own in zip(shots, blocks, strict=True):
        first_by_panel.setdefault(entry.panel, (shot, own))
    (_, first), *moved = ((panel, find_marks(*given)) for panel, given in first_by_panel.items())
    return Dust(first.marks, [PanelMarks(panel, dust.marks) for panel, dust in moved], first.light)
