"""How a shot was configured: what shots of one setting have in common."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.loaders.session_keys import ShotEntry


@dataclass(frozen=True)
class ShotConfiguration:
    """Aperture, turn of the lens and setup of a shot."""

    f_number: float | None
    aperture: str | None
    lens_turn_deg: float
    setup: int
    turned: str = "lens"

    @classmethod
    def of(cls, entry: ShotEntry) -> ShotConfiguration:
        """What the session file says of a shot."""
        return cls(
            entry.f_number,
            entry.aperture,
            entry.lens_turn_deg,
            entry.setup,
            entry.turned if entry.lens_turn_deg else "lens",
        )

    @property
    def order(self) -> tuple[bool, float, float, int, str]:
        """Sorts configurations: by rising f-number, those without one last."""
        return (self.f_number is None, self.f_number or 0.0, self.lens_turn_deg, self.setup, self.turned)
