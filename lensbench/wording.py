"""Small pieces of sentences that all who put findings into words share."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path


def listed(words: Sequence[str]) -> str:
    """Words as a sentence lists them: ``a``, ``a and b``, ``a, b and c``; at least one."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def aperture_name(f_number: float | None, aperture: str | None) -> str:
    """An aperture as the user calls it: ``f/5.6``, ``third click``."""
    return f"f/{f_number:g}" if f_number is not None else aperture or "aperture not given"


def as_argument(path: Path) -> str:
    """A path as it is typed after a command, in quotes where it has blanks in it."""
    return shlex.quote(str(path))
