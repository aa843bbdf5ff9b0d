"""Zones by name: as headings, and in sentences."""

from __future__ import annotations

from lensbench import frame

CORNERS = tuple(zone for zone in frame.ZONES if zone.startswith("corner"))
"""The four outermost zones."""


def zone_heading(zone: str) -> str:
    """A zone as a table names it: ``corner top left``."""
    return zone.replace("-", " ")


def in_the(zone: str) -> str:
    """A zone in a sentence: ``the centre``, ``the top left corner``, ``the outer zone at the top left``."""
    ring, _, quarter = zone.partition(" ")
    position = quarter.replace("-", " ")
    if ring == "centre":
        return "the centre"
    return f"the {position} corner" if ring == "corner" else f"the {ring} zone at the {position}"


def corner_name(zone: str) -> str:
    """Which corner a corner zone is: ``top left``."""
    return zone.removeprefix("corner ").replace("-", " ")
