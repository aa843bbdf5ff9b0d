"""The ready-made sheets, to say which one a shot shows where it isn't the one of target.json."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import NamedTuple

from lensbench.target._lattice import LatticePatch, first_match
from lensbench.target._sheet import FILM, plan_sheet
from lensbench.target.layout import LATTICES, Layout

SENSOR_MM = (36.0, 24.0)
"""The sensor that the ready-made sheets are for."""


class KnownSheet(NamedTuple):
    """A ready-made sheet: its folder under ``sample_targets``, and its tiles."""

    folder: str
    layout: Layout


@functools.cache
def known_sheets() -> tuple[KnownSheet, ...]:
    """Every ready-made sheet, as ``lensbench target`` makes it."""
    kinds = (("a4", "A4", None), ("a3", "A3", None), ("half-life-size", "A4", 0.5), ("life-size-film", FILM, 1.0))
    return tuple(
        KnownSheet(f"{folder}-{lattice}", plan_sheet(SENSOR_MM, paper, lattice, magnification).layout)
        for folder, paper, magnification in kinds
        for lattice in LATTICES
    )


def sheet_shown(patches: Sequence[LatticePatch]) -> KnownSheet | None:
    """The ready-made sheet that patches of tiles are of; None where it is none of them, or the tiles are few."""
    return next((sheet for sheet in known_sheets() if first_match(patches, sheet.layout) is not None), None)
