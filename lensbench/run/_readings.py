"""What single shots show, as the settings need it: small results that processes hand each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from lensbench.analysers.edge import EdgeResponses
from lensbench.analysers.falloff import LightReading
from lensbench.analysers.glare import TileLight
from lensbench.analysers.photon_transfer import NoiseAssessment
from lensbench.analysers.shot_quality import ShotSigns
from lensbench.findings import CentreLight, Dust, Notice, ShotDigest
from lensbench.loaders.session_keys import ShotEntry
from lensbench.reporter.tile_view import TileView
from lensbench.run._configuration import ShotConfiguration
from lensbench.run._loading import ShotFacts, other_size
from lensbench.target.finder import FoundTiles
from lensbench.uniform_blocks import UniformBlocks
from lensbench.verdicts.contradictions import Brightness


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

    `darks` are the dark frames that were subtracted from the light of its dark tiles; `views` are pictures of the
    tiles for the page; `noise` is where its noise shows.
    """

    found: FoundTiles
    signs: ShotSigns
    noise_signs: NoiseAssessment | None
    dark_tiles: TileLight
    darks: tuple[str, ...] = ()
    views: tuple[TileView, ...] = ()
    noise: tuple[UniformBlocks, ...] = ()


@dataclass(frozen=True, eq=False)
class BladeReading(EdgesReading):
    """One shot of free straight edges, measured."""


@dataclass(frozen=True, eq=False)
class FlatsReading:
    """The flats of one setting, measured: each is loaded once for all findings.

    `darks` are the dark frames that were subtracted; `noise` is where each flat's noise shows.
    """

    entries: tuple[ShotEntry, ...]
    facts: ShotFacts
    light: LightReading | None
    dust: Dust | None
    darks: tuple[str, ...] = ()
    centre_light: CentreLight | None = None
    noise: tuple[UniformBlocks, ...] = ()


Reading = TargetReading | FlatsReading | BladeReading
"""What one piece of work can give."""


@dataclass(frozen=True, eq=False)
class Outcome:
    """What one piece of work gave: a reading (None where nothing could be used), and what the user should know.

    `digests` are of the shots that could be loaded, used or not.
    """

    reading: Reading | None
    notices: list[Notice]
    digests: list[ShotDigest]


@dataclass(frozen=True, eq=False)
class Readings:
    """All that a session's shots show, by kind."""

    targets: list[TargetReading]
    flats: list[FlatsReading]
    blades: list[BladeReading]

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> Readings:
        """Readings of any kind, sorted by kind."""
        every = list(readings)
        return cls(
            [one for one in every if isinstance(one, TargetReading)],
            [one for one in every if isinstance(one, FlatsReading)],
            [one for one in every if isinstance(one, BladeReading)],
        )

    def __iter__(self) -> Iterator[Reading]:
        return iter([*self.targets, *self.flats, *self.blades])

    @property
    def brightness(self) -> list[Brightness]:
        """How bright the first shot of each reading is, where its exposure and f-number are known."""
        found = []
        lit: list[TargetReading | FlatsReading] = [*self.targets, *self.flats]
        for reading in lit:
            entry, facts = reading.entries[0], reading.facts
            if facts.light > 0 and facts.shutter_s and facts.iso and entry.f_number:
                given = facts.light, facts.shutter_s, facts.iso
                found.append(Brightness(entry.file, entry.shows, entry.f_number, *given))
        return found

    def of_one_size(self) -> tuple[Readings, list[Notice]]:
        """Only the readings of the session's usual frame size, and notices of the others."""
        sizes = Counter(reading.facts.size for reading in self)
        if len(sizes) <= 1:
            return self, []
        usual = sizes.most_common(1)[0][0]
        odd = [reading for reading in self if reading.facts.size != usual]
        notices = [other_size(entry.file, one.facts.size, usual) for one in odd for entry in one.entries]
        return Readings.of(reading for reading in self if reading.facts.size == usual), notices

    def by_configuration(self, shots: Iterable[ShotEntry]) -> dict[ShotConfiguration, Readings]:
        """The readings of each setting, in rising f-number, then in the order of the session's `shots`."""
        listed = list(map(ShotConfiguration.of, shots))
        found = {ShotConfiguration.of(reading.entries[0]) for reading in self}
        return {
            one: Readings.of(r for r in self if ShotConfiguration.of(r.entries[0]) == one)
            for one in sorted(found, key=lambda one: (*one.order, listed.index(one)))
        }
