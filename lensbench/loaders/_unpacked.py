"""What LibRaw tells of a raw file, as plain numbers and arrays that processes hand each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypedDict

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

FLAT, STACK, OTHER = "flat", "stack", "other"
"""A mosaic, planes, or samples in another form."""


class Facts(TypedDict):
    """What LibRaw tells of a raw file besides its samples, as JSON can hold it.

    Sizes are in pixels, levels stored numbers; what isn't recorded is None.
    """

    kind: str
    """`FLAT`, `STACK` or `OTHER`."""
    raw_width: int
    raw_height: int
    width: int
    height: int
    top_margin: int
    left_margin: int
    flip: int
    """How the camera was held, as LibRaw numbers it."""
    pixel_aspect: float
    num_colors: int
    letters: str
    """A letter for each colour index."""
    black: list[float]
    """By colour index."""
    white: float
    whites: list[float]
    """Levels by channel where a channel clips or stops being linear; 0 or none where unknown."""
    shutter_s: float | None
    iso: float | None
    f_number: float | None
    focal_mm: float | None
    taken: str | None
    as_shot: list[float]
    """Factors that make neutral light equal in all colours, as set at the camera."""
    daylight: list[float]
    """The same in daylight."""
    xyz_to_camera: list[list[float]]
    lens: list[str]
    """Its make and model, empty where unknown."""


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
    facts : Facts
    samples : ndarray or None
        The visible frame, (height, width) or (height, width, planes); None where the form is another.
    repeat : ndarray of uint8 or None
        LibRaw's colour indices of the visible frame's top left, a whole number of repeats.
    """

    facts: Facts
    samples: NDArray | None
    repeat: NDArray[np.uint8] | None
