"""The surfaces that a mark can lie on, and what an observation says of them."""

from __future__ import annotations

from typing import NamedTuple

SENSOR, LENS, PANEL = "sensor", "lens", "light panel"
SURFACES = (SENSOR, LENS, PANEL)
"""What a mark can lie on."""

LENS_FRONT, LENS_REAR = "front of the lens", "rear of the lens"
"""Before and behind its iris, where that is known."""


class Clue(NamedTuple):
    """What an observation says of a mark: on which surfaces it can't lie, and why."""

    not_on: frozenset[str]
    evidence: str
