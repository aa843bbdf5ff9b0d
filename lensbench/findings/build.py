"""What was measured, and with what camera."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure
from lensbench.findings.tables import Tabular


class Build(Tabular, msgspec.Struct, frozen=True):
    """The lens as put together for this session."""

    name: str
    parts: list[str] = []
    notes: str = ""
    date: str = ""


class Camera(Tabular, msgspec.Struct, frozen=True):
    """The camera's frame; sensor and pitch are None where the session file gives no sensor size."""

    size_px: tuple[int, int]
    sensor_mm: tuple[float, float] | None = None
    pixel_pitch_um: float | None = None
    model: str | None = None


class Linearity(Tabular, msgspec.Struct, frozen=True):
    """How nearly stored numbers are proportional to the light, by the photon noise of two like shots.

    `departure_percent` is how far they lie above a straight line half-way between no light and the brightest, in
    percent of the brightest.
    """

    shots: list[str]
    departure_percent: Figure
