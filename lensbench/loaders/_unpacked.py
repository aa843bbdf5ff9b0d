"""What LibRaw tells of a raw file, as plain numbers and arrays that processes hand each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

FLAT, STACK, OTHER = "flat", "stack", "other"
"""A mosaic, planes, or samples in another form."""


class UnpackError(Exception):
    """LibRaw can't read the file: `kind` is ``unsupported`` or ``damaged``."""

    def __init__(self, kind: str, why: str) -> None:
        super().__init__(why)
        self.kind, self.why = kind, why


@dataclass(frozen=True, eq=False)
class Unpacked:
    """What LibRaw tells of a raw file.

    Attributes
    ----------
    facts : dict
        Plain numbers and words: sizes, levels, colours, exposure.
    samples : ndarray or None
        The visible frame, (height, width) or (height, width, planes); None where the form is another.
    repeat : ndarray of uint8 or None
        LibRaw's colour indices of the visible frame's top left, a whole number of repeats.
    """

    facts: dict[str, Any]
    samples: NDArray | None
    repeat: NDArray[np.uint8] | None
