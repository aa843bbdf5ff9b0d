"""Dirt marks of a flat."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure
from lensbench.findings.tables import Tabular


class Mark(Tabular, msgspec.Struct, frozen=True):
    """One dirt mark: a ``spot``, ``fibre`` or ``patch``.

    `depth_percent` is of the light around, positive for darker; `signal_to_noise` is the matched filter's.
    `path` is a fibre's middle line in pixels; empty for round marks. `lies_on` says what it lies on, as far as
    shots tell: ``sensor``, ``light panel``, ``lens``, ``front of the lens``, ``rear of the lens``, two of
    these joined by ``or``, or ``can't tell``; `evidence` says how that is known and what shot would tell
    more.
    """

    x: float
    y: float
    kind: str
    width_px: Figure
    length_px: Figure
    depth_percent: Figure
    signal_to_noise: float
    zone: str
    path: list[tuple[float, float]] = []
    lies_on: str = ""
    evidence: str = ""


class PanelMarks(Tabular, msgspec.Struct, frozen=True):
    """Marks of a flat that was taken with the light panel elsewhere (`panel` in the session file)."""

    panel: int
    marks: list[Mark] = []


class UnevenLight(Tabular, msgspec.Struct, frozen=True):
    """What a flat's light plainly is besides even, named for what it looks like.

    `kind` is ``bands`` (along the rows), ``upright bands``, ``bar``, ``window bars``, ``clouds``, ``leak`` or
    ``line``; `percent` from its brightest to its darkest, `period_px` how far apart bands are.
    """

    kind: str
    percent: float
    period_px: float | None = None


class Dust(Tabular, msgspec.Struct, frozen=True):
    """Dirt marks of one setting, the most visible first; and those with the light panel moved, where it was."""

    marks: list[Mark] = []
    panels: list[PanelMarks] = []
    light: list[UnevenLight] = []
