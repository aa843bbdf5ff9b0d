"""Shots taken alike, and what they show."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from lensbench.figure import Figure
from lensbench.findings.dirt import Dust
from lensbench.findings.focus import Focus, RailAdvice
from lensbench.findings.fringing import Fringing
from lensbench.findings.geometry import Geometry
from lensbench.findings.glow import Glow
from lensbench.findings.light import CentreLight, Falloff, Glare
from lensbench.findings.sharpness import Limits, Sharpness
from lensbench.findings.tables import Tabular
from lensbench.formatting import aperture_name


class Setting(Tabular, msgspec.Struct, frozen=True):
    """Shots taken alike (same aperture, lens turn and setup) and what they show.

    `turned` is what was turned by `lens_turn_deg`: the ``lens`` in its mount, or its ``front group`` alone.
    """

    f_number: float | None = None
    aperture: str | None = None
    lens_turn_deg: float = 0.0
    turned: str = "lens"
    setup: int = 1
    shots: list[str] = []
    magnification: Figure | None = None
    sharpness: Sharpness | None = None
    limits: Limits | None = None
    fringing: Fringing | None = None
    falloff: Falloff | None = None
    centre_light: CentreLight | None = None
    dust: Dust | None = None
    geometry: Geometry | None = None
    glare: Glare | None = None
    glow: Glow | None = None
    focus: Focus | None = None
    rail_advice: RailAdvice | None = None

    @property
    def label(self) -> str:
        """The aperture as the user calls it."""
        return aperture_name(self.f_number, self.aperture)

    @property
    def name(self) -> str:
        """The setting as headings call it: the aperture, and turn and setup where they aren't the plain ones."""
        parts = [self.label]
        if self.lens_turn_deg:
            parts.append(f"{self.turned} turned {self.lens_turn_deg:g}°")
        if self.setup != 1:
            parts.append(f"setup {self.setup}")
        return ", ".join(parts)


def trusted_falloffs(settings: Sequence[Setting]) -> list[Setting]:
    """The settings whose falloff speaks: those where the panel's own light was solved for, or else all."""
    solved = [s for s in settings if s.falloff and s.falloff.panel and s.falloff.panel.removed]
    return solved or [setting for setting in settings if setting.falloff]
