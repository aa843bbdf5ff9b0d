"""What one shot of edges, or the flats of one setting, show: loaded, searched, measured, with what went wrong.

These are the pieces of work that the pipeline gives to several processes; each loads its own shots and hands back
small results. A shot that can't be used becomes a notice, never an end of the whole.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lensbench.analysers.dust import find_marks
from lensbench.analysers.edge import EdgeResponses, measure_edges, tile_edges
from lensbench.analysers.falloff import GatheredLight, PanelGiven, gather_light
from lensbench.analysers.free_edges import free_responses
from lensbench.analysers.glare import TileLight, read_dark_tiles
from lensbench.errors import BenchError
from lensbench.findings import Dust, Notice, PanelMarks, ShotDigest
from lensbench.frame import pixel_pitch_um
from lensbench.loaders.guessing import guess_shows, why_no_darkness, why_no_even_light
from lensbench.loaders.session import ShotEntry
from lensbench.loaders.shot_file import read_shot
from lensbench.run.shot_warnings import ShotSigns, exposure_notices, look_for_signs, sign_notices
from lensbench.shot import Shot
from lensbench.target.finder import FoundTiles, find_tiles
from lensbench.target.layout import Layout


@dataclass(frozen=True)
class ShotFacts:
    """What the report says of the camera, from one shot."""

    size: tuple[int, int]
    camera: str | None
    orientation: int


@dataclass(frozen=True, eq=False)
class EdgesReading:
    """One shot's edges, measured; `reference` is the channel that speaks for its sharpness."""

    entry: ShotEntry
    facts: ShotFacts
    responses: dict[str, EdgeResponses]
    reference: str

    @property
    def entries(self) -> tuple[ShotEntry, ...]:
        """The shots read: this one."""
        return (self.entry,)

    @property
    def mtf50(self) -> float:
        """How sharp the shot is as a whole: the median over its edges in cycles a pixel; 0 without any."""
        values = self.responses[self.reference].mtf50
        values = values[np.isfinite(values)]
        return float(np.median(values)) if len(values) else 0.0


@dataclass(frozen=True, eq=False)
class TargetReading(EdgesReading):
    """One target shot, measured, with the signs of what besides the lens shaped its edges.

    `darks` are the dark frames that were taken off the light of its dark tiles.
    """

    found: FoundTiles
    signs: ShotSigns
    dark_tiles: TileLight
    darks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class BladeReading(EdgesReading):
    """One shot of free straight edges, measured."""


@dataclass(frozen=True, eq=False)
class FlatsReading:
    """The flats of one setting, measured: what each finding needs is loaded once for all of them.

    `darks` are the dark frames that were taken off.
    """

    entries: tuple[ShotEntry, ...]
    facts: ShotFacts
    light: GatheredLight | None
    dust: Dust | None
    darks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Readings:
    """All that a session's shots show, by kind."""

    targets: list[TargetReading]
    flats: list[FlatsReading]
    blades: list[BladeReading]

    @classmethod
    def of(cls, readings: Iterable[TargetReading | FlatsReading | BladeReading]) -> Readings:
        """Readings of any kind, sorted by kind."""
        kinds: tuple[list, list, list] = ([], [], [])
        for reading in readings:
            kinds[(TargetReading, FlatsReading, BladeReading).index(type(reading))].append(reading)
        return cls(*kinds)

    def __iter__(self) -> Iterator[TargetReading | FlatsReading | BladeReading]:
        return iter([*self.targets, *self.flats, *self.blades])

    def of_one_size(self) -> tuple[Readings, list[Notice]]:
        """Only the readings of the session's usual frame size, and notices of the others."""
        sizes = Counter(reading.facts.size for reading in self)
        if len(sizes) <= 1:
            return self, []
        usual = sizes.most_common(1)[0][0]
        odd = [reading for reading in self if reading.facts.size != usual]
        notices = [other_size(entry.file, one.facts.size, usual) for one in odd for entry in one.entries]
        return Readings.of(reading for reading in self if reading.facts.size == usual), notices


@dataclass(frozen=True, eq=False)
class Outcome:
    """What one piece of work gave: a reading (None where nothing could be used), and what the user should know.

    `digests` are of the shots that could be loaded, used or not.
    """

    reading: TargetReading | FlatsReading | BladeReading | None
    notices: list[Notice]
    digests: list[ShotDigest]


def read_target(
    folder: Path, entry: ShotEntry, layout: Layout, darks: Sequence[ShotEntry], threads: int
) -> Outcome:
    """Measure every edge of one target shot.

    Parameters
    ----------
    folder : Path
        The session's folder.
    entry : ShotEntry
        The shot.
    layout : Layout
        The target that it shows.
    darks : sequence of ShotEntry
        The session's dark frames; those exposed like the shot are taken off the light in the dark tiles.
    threads : int
        How many threads share the edges.

    Returns
    -------
    Outcome
    """
    loaded, notices = _loaded(folder, [entry])
    reading = None
    for _, shot in loaded:
        reading, more = _target_reading(folder, entry, shot, layout, darks, threads)
        notices += more
    return Outcome(reading, notices, _digests(loaded))


def _target_reading(
    folder: Path, entry: ShotEntry, shot: Shot, layout: Layout, darks: Sequence[ShotEntry], threads: int
) -> tuple[TargetReading | None, list[Notice]]:
    notices: list[Notice] = []
    found = find_tiles(shot, layout)
    tile_notices = [Notice("tiles", entry.file, f"{entry.file}: {note}") for note in found.notes]
    if len(found.column) == 0:
        other = _looks(shot, entry)
        text = f"{entry.file}: shows no tile of the target{other}."
        return None, [*notices, *(tile_notices if not other else []), left_out(entry.file, text)]
    notices += tile_notices
    places = tile_edges(found)
    responses = measure_edges(shot, places, threads=threads)
    notices += exposure_notices(shot, entry.file, responses)
    if not any(response.measured.any() for response in responses.values()):
        why = most_common_reason(responses[shot.reference])
        return None, [*notices, left_out(entry.file, f"{entry.file}: no edge can be measured ({why}).")]
    if found.mirrored:
        text = f"{entry.file}: shows the target from its back (mirrored). The figures hold; turn a film over, "
        notices.append(Notice("mirrored", entry.file, f"{text}or check that no mirror stands in the way."))
    signs = look_for_signs(shot, places, responses)
    notices += sign_notices(signs, entry.file)
    fitting = _darks_like(shot, folder, darks)
    dark_tiles = read_dark_tiles(shot, found, responses[shot.reference], list(fitting.values()))
    facts, reference = _facts(shot), shot.reference
    return TargetReading(entry, facts, responses, reference, found, signs, dark_tiles, tuple(fitting)), notices


def read_blade(folder: Path, entry: ShotEntry, threads: int) -> Outcome:
    """Measure every clean straight edge of one blade shot; parameters and results are as for `read_target`."""
    loaded, notices = _loaded(folder, [entry])
    reading = None
    for _, shot in loaded:
        reading, more = _blade_reading(entry, shot, threads)
        notices += more
    return Outcome(reading, notices, _digests(loaded))


def _blade_reading(entry: ShotEntry, shot: Shot, threads: int) -> tuple[BladeReading | None, list[Notice]]:
    responses, refused = free_responses(shot, threads)
    if not len(responses[shot.reference]):
        reasons = Counter(line.reason for line in refused).most_common(1)
        why = f" ({reasons[0][0]})" if reasons else ""
        text = f"{entry.file}: shows no clean straight edge{why}{_looks(shot, entry)}."
        return None, [left_out(entry.file, text)]
    return BladeReading(entry, _facts(shot), responses, shot.reference), []


def read_flats(
    folder: Path,
    entries: Sequence[ShotEntry],
    darks: Sequence[ShotEntry],
    sensor_mm: tuple[float, float] | None = None,
) -> Outcome:
    """Measure falloff and dirt from the flats of one setting.

    Parameters
    ----------
    folder : Path
        The session's folder.
    entries : sequence of ShotEntry
        The flats, taken alike; dirt is looked for in the first one that can be read of each place of the panel.
    darks : sequence of ShotEntry
        The session's dark frames; those exposed like the flats are taken off.
    sensor_mm : (float, float), optional
        Width and height of the sensor, for lengths in millimetres.

    Returns
    -------
    Outcome
    """
    loaded, notices = _loaded(folder, entries)
    shots, uneven = _even_only(loaded)
    reading, more = _flats_reading(folder, shots, darks, sensor_mm) if shots else (None, [])
    return Outcome(reading, [*notices, *uneven, *more], _digests(loaded))


def _flats_reading(
    folder: Path,
    shots: Sequence[tuple[ShotEntry, Shot]],
    darks: Sequence[ShotEntry],
    sensor_mm: tuple[float, float] | None,
) -> tuple[FlatsReading | None, list[Notice]]:
    notices: list[Notice] = []
    entries = tuple(entry for entry, _ in shots)
    kept = [shot for _, shot in shots]
    fitting = _darks_like(kept[0], folder, darks)
    light = dust = None
    given = [PanelGiven(entry.panel, entry.panel_turn_deg, entry.panel_shift) for entry, _ in shots]
    pitch = pixel_pitch_um(kept[0].size, sensor_mm)
    try:
        light = gather_light(kept, list(fitting.values()), given, pitch)
    except BenchError as error:
        notices.append(Notice("falloff", entries[0].file, str(error)))
    try:
        dust = _dirt(shots)
    except BenchError as error:
        notices.append(Notice("dust", entries[0].file, str(error)))
    if light is None and dust is None:
        return None, notices
    return FlatsReading(entries, _facts(kept[0]), light, dust, tuple(fitting)), notices


def read_dark(folder: Path, entry: ShotEntry, threads: int) -> Outcome:
    """Say what keeps a dark frame from being used; those that can be are loaded beside what they are taken off."""
    loaded, notices = _loaded(folder, [entry])
    for _, shot in loaded:
        why = why_no_darkness(shot)
        if why is not None:
            advice = "Put the cap on, or mend shows = … in session.toml."
            notices.append(left_out(entry.file, f"{entry.file}: {why} {advice}"))
    return Outcome(None, notices, _digests(loaded))


def _digests(shots: Sequence[tuple[ShotEntry, Shot]]) -> list[ShotDigest]:
    return [ShotDigest(entry.file, shot.digest()) for entry, shot in shots]


def _darks_like(shot: Shot, folder: Path, darks: Sequence[ShotEntry]) -> dict[str, Shot]:
    """The dark frames that are dark and were exposed as a shot was, by their files' names."""
    loaded, _ = _loaded(folder, darks)
    return {entry.file: dark for entry, dark in loaded if _alike(dark, shot) and why_no_darkness(dark) is None}


def _even_only(shots: Sequence[tuple[ShotEntry, Shot]]) -> tuple[list[tuple[ShotEntry, Shot]], list[Notice]]:
    """The shots that may show an even light, and notices of those that plainly don't."""
    reasons = [why_no_even_light(shot) for _, shot in shots]
    fit = [pair for pair, why in zip(shots, reasons, strict=True) if not why]
    advice = "Mend shows = … in session.toml."
    notices = [
        left_out(entry.file, f"{entry.file}: {why} {advice}")
        for (entry, _), why in zip(shots, reasons, strict=True)
        if why
    ]
    return fit, notices


def _looks(shot: Shot, entry: ShotEntry) -> str:
    """What a shot that doesn't show what it should looks like instead, as the end of a sentence; maybe nothing."""
    guess = guess_shows(shot)
    if guess in (None, entry.shows):
        return ""
    return f'; it looks like {_LOOKS[guess]}, so mend shows = "{guess}" in session.toml'


_LOOKS = {"target": "the set-square target", "flat": "an even light", "dark": "a shot with the cap on"}


def _dirt(shots: Sequence[tuple[ShotEntry, Shot]]) -> Dust:
    """The marks of the first flat, and of the first one with the light panel at each other place."""
    first_by_panel: dict[int, Shot] = {}
    for entry, shot in shots:
        first_by_panel.setdefault(entry.panel, shot)
    found = {panel: find_marks(shot).marks for panel, shot in first_by_panel.items()}
    (_, marks), *moved = found.items()
    return Dust(marks, [PanelMarks(panel, others) for panel, others in moved])


def left_out(name: str, text: str) -> Notice:
    """The notice of a shot that is left out."""
    return Notice("left-out", name, f"{text} It is left out.")


def most_common_reason(response: EdgeResponses) -> str:
    """Why most of the edges that have no figure have none."""
    reasons, counts = np.unique(response.why[~response.measured], return_counts=True)
    return str(reasons[np.argmax(counts)]) if len(reasons) else ""


def _loaded(folder: Path, entries: Sequence[ShotEntry]) -> tuple[list[tuple[ShotEntry, Shot]], list[Notice]]:
    """The shots that can be loaded and have the first one's size, and notices of the rest."""
    shots: list[tuple[ShotEntry, Shot]] = []
    notices: list[Notice] = []
    for entry in entries:
        try:
            shot = read_shot(folder / entry.file, entry.encoding)
        except BenchError as error:
            notices.append(left_out(entry.file, str(error)))
            continue
        if shots and shot.size != shots[0][1].size:
            notices.append(other_size(entry.file, shot.size, shots[0][1].size))
            continue
        notices += _remarks(shot, entry)
        shots.append((entry, shot))
    return shots, notices


def other_size(name: str, size: tuple[int, int], usual: tuple[int, int]) -> Notice:
    """The notice of a shot of another size than the rest."""
    advice = "Shoot a session with one camera, uncropped."
    if size == usual[::-1]:
        advice = "Some program turned it; take the file as the camera stored it."
    text = "{}: has {} × {} pixels, the other shots {} × {}. {}"
    return left_out(name, text.format(name, *size, *usual, advice))


def _alike(dark: Shot, flat: Shot) -> bool:
    """Whether a dark frame was exposed as a flat was, as far as the camera recorded it."""
    if dark.size != flat.size or dark.channels != flat.channels:
        return False
    pairs = [(getattr(dark.exposure, name), getattr(flat.exposure, name)) for name in ("shutter_s", "iso")]
    return all(a is None or b is None or abs(a / b - 1) < 0.05 for a, b in pairs)


def _facts(shot: Shot) -> ShotFacts:
    return ShotFacts(shot.size, shot.exposure.camera, shot.exposure.orientation)


def _remarks(shot: Shot, entry: ShotEntry) -> Iterator[Notice]:
    if shot.incomparable:
        yield Notice("incomparable", entry.file, f"{entry.file}: {shot.incomparable}")
