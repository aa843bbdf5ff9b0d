"""What to add where a zone was measured in one direction alone, or not at all."""

from __future__ import annotations

from collections.abc import Sequence

from lensbench import frame
from lensbench.findings import MEAN
from lensbench.formatting import first_capital, listed
from lensbench.reporter.values.zones import in_the

_MOST_NAMED = 3
"""More zones than these are counted instead of named."""


def alone(direction: str) -> str:
    """`` (sagittal alone)``, or nothing for the mean of both directions."""
    return "" if direction == MEAN else f" ({direction} alone)"


def unmeasured_in_words(zones: Sequence[str]) -> str:
    """A sentence, with a space before it, that names zones without a figure; empty without any."""
    if not zones:
        return ""
    few = len(zones) <= _MOST_NAMED
    named = listed([in_the(zone) for zone in zones]) if few else f"{len(zones)} of the {len(frame.ZONES)} zones"
    return f" {first_capital(named)} could not be measured."
