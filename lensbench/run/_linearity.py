"""Whether stored numbers are proportional to the light, from two shots of the session that were taken alike."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, islice

from lensbench.analysers.photon_transfer import measure_departure
from lensbench.findings import Linearity
from lensbench.formatting import aperture_name
from lensbench.loaders.session_keys import ShotEntry
from lensbench.run._readings import Readings
from lensbench.uniform_blocks import UniformBlocks

MOST_PAIRS = 6
"""Pairs that are tried; each of two 24-megapixel shots takes some hundredths of a second."""


def judge_linearity(readings: Readings) -> Linearity | None:
    """The departure from a straight line by the pair of like shots that shows it best; None without such a pair.

    Target shots come first, since they have black beside white.
    """
    found = []
    for (first, one), (second, other) in islice(_pairs(readings), MOST_PAIRS):
        departure = measure_departure(one, other)
        if departure is not None:
            found.append(Linearity([first.file, second.file], departure))
    return min(found, key=lambda linearity: linearity.departure_percent.half_width, default=None)


def _pairs(
    readings: Readings,
) -> Iterator[tuple[tuple[ShotEntry, UniformBlocks], tuple[ShotEntry, UniformBlocks]]]:
    """Shots of one kind and aperture, two at a time."""
    for kind in (readings.targets, readings.flats):
        shots = [
            (entry, noise)
            for reading in kind
            for entry, noise in zip(reading.entries, reading.noise, strict=False)
        ]
        for pair in combinations(shots, 2):
            if len({aperture_name(entry.f_number, entry.aperture) for entry, _ in pair}) == 1:
                yield pair
