"""A mosaic by its colours alone, whatever else tells its samples apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.loaders.raw import smallest_repeat
from lensbench.shot import Shot


class Site(NamedTuple):
    """One place in a mosaic's repeat, as slices of rows and columns, and its colour's name."""

    rows: slice
    columns: slice
    colour: str


def mosaic_colours(shot: Shot) -> NDArray[np.uint8] | None:
    """The mosaic's smallest repeat, as places in `shot.channels`; None for planes and grey frames."""
    if shot.pattern is None or shot.colours == ("grey",):
        return None
    numbers = np.array([shot.channels.index(name) for name in shot.colours], dtype=np.uint8)
    return smallest_repeat(numbers[shot.pattern])


def is_two_by_two(shot: Shot) -> bool:
    """Whether the mosaic repeats after two rows and two columns."""
    colours = mosaic_colours(shot)
    return colours is not None and colours.shape == (2, 2)


def sites(shot: Shot) -> Iterator[Site]:
    """The places in the repeat of a mosaic."""
    colours = mosaic_colours(shot)
    assert colours is not None
    down, across = colours.shape
    for row in range(down):
        for column in range(across):
            yield Site(slice(row, None, down), slice(column, None, across), shot.channels[colours[row, column]])
