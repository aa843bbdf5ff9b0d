"""Which tiles of a sheet are turned half round, so that the sheet is like no other and like itself nowhere.

Bits drawn from the sheet's name, so that sheets of other names are turned otherwise; then single tiles turned
until no 4 × 4 of them are like any others of the sheet under any shift, quarter turn or mirroring.
"""

from __future__ import annotations

import functools
import hashlib
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

WINDOW = 4
"""So many tiles each way tell where on the sheet they are."""

MOST_ALIKE = 0.74
"""Largest mean cosine between the directions of two like-placed windows (1 would be the same). Lower ones take
long to find; the finder wants 0.85."""

PENALTY_FROM = 0.06
"""Windows count as too much alike from this far under `MOST_ALIKE`, so that mending one pair spoils no other."""

TRIED = 8
"""Tiles of the pair most alike that are tried, those first that make it most alike."""

RESTED = 8
"""Steps after which a tile may be turned again."""

MOST_STEPS = 2000
"""Steps after which the sheet is taken as it is; the slimmest that there are need some thirty."""


def turned_tiles(name: str, direction: NDArray[np.complex128]) -> NDArray[np.bool_]:
    """Choose the tiles of one sheet that are turned.

    Parameters
    ----------
    name : str
        The sheet's name.
    direction : ndarray of complex, shape (rows, columns)
        From each node to the right angle of a tile that isn't turned, as unit vectors x + iy.

    Returns
    -------
    ndarray of bool, shape (rows, columns)
    """
    rows, columns = direction.shape
    packed = hashlib.shake_256(name.encode()).digest((rows * columns + 7) // 8)
    bits = np.unpackbits(np.frombuffer(packed, np.uint8))[: rows * columns]
    windows = np.lib.stride_tricks.sliding_window_view(
        np.arange(rows * columns).reshape(rows, columns), (WINDOW, WINDOW)
    )
    choice = _Choice(direction.ravel(), np.where(bits == 1, 1.0, -1.0), windows.reshape(-1, WINDOW**2))
    rested: dict[int, int] = {}
    for step in range(MOST_STEPS):
        if choice.alike.max() < MOST_ALIKE:
            break
        free = [tile for tile in choice.guilty() if rested.get(tile, -1) < step]
        best = min(map(choice.turned, free[:TRIED]), key=lambda turn: turn.cost)
        choice.take(best)
        rested[best.tile] = step + RESTED
    return choice.sign.reshape(rows, columns) > 0


class _View(NamedTuple):
    """One way to look at a window: mirrored or not, turned by quarters."""

    mirrored: bool
    turn: complex
    order: NDArray[np.int64]


@functools.cache
def _views() -> list[_View]:
    """All eight; the first is the window as it lies."""
    order = np.arange(WINDOW**2).reshape(WINDOW, WINDOW)
    return [
        _View(mirrored, (-1j) ** quarters, np.rot90(order[:, ::-1] if mirrored else order, quarters).ravel())
        for mirrored in (False, True)
        for quarters in range(4)
    ]


class _Turn(NamedTuple):
    """What turning one tile would do: to the cost, and to the likeness of the windows that hold it to all."""

    cost: float
    tile: int
    held: NDArray[np.int64]
    alike: NDArray[np.float64]


class _Choice:
    """The signs of a sheet's tiles, and how alike its windows are by them.

    `alike` has the shape (views, windows, windows): the mean cosine between one window as seen in a view and
    another as it lies.
    """

    def __init__(self, direction: NDArray[np.complex128], sign: NDArray[np.float64], windows: NDArray[np.int64]):
        self.direction, self.sign, self.windows = direction, sign, windows
        self.alike = self._likeness(np.arange(len(windows)))

    def guilty(self) -> list[int]:
        """The tiles of the two windows most alike, those first that do most to it."""
        # Rounded, so that machines which add in another order choose alike.
        view, one, other = np.unravel_index(np.argmax(np.round(self.alike, 6)), self.alike.shape)
        seen, still = self._seen(int(view), self.windows[one]), self._directions(self.windows[other])
        share = np.round((seen * still.conj()).real, 6)
        both = np.concatenate([self.windows[one][_views()[view].order], self.windows[other]])
        return list(dict.fromkeys(both[np.argsort(-np.tile(share, 2), kind="stable")].tolist()))

    def turned(self, tile: int) -> _Turn:
        """What turning a tile would do."""
        held = np.flatnonzero((self.windows == tile).any(axis=1))
        before = self._cost(self.alike[:, held])
        self.sign[tile] *= -1
        alike = self._likeness(held)
        self.sign[tile] *= -1
        return _Turn(round(self._cost(alike) - before, 9), tile, held, alike)

    def take(self, turn: _Turn) -> None:
        """Turn a tile."""
        self.sign[turn.tile] *= -1
        self.alike[:, turn.held] = turn.alike
        for number, view in enumerate(_views()):
            # Seen from the other window, a quarter turn goes back; a mirroring undoes itself.
            back = number if view.mirrored else (4 - number) % 4
            self.alike[back][:, turn.held] = turn.alike[number].T

    def _likeness(self, which: NDArray[np.int64]) -> NDArray[np.float64]:
        """How alike some windows are to all, shape (views, some, all); to themselves as they lie, -1."""
        still = self._directions(self.windows).conj().T
        seen = [self._seen(view, self.windows[which]) for view in range(len(_views()))]
        alike = np.stack([one @ still for one in seen]).real / WINDOW**2
        alike[0, np.arange(len(which)), which] = -1
        return alike

    def _directions(self, tiles: NDArray[np.int64]) -> NDArray[np.complex128]:
        return self.sign[tiles] * self.direction[tiles]

    def _seen(self, view: int, tiles: NDArray[np.int64]) -> NDArray[np.complex128]:
        """The directions of windows' tiles as they look in a view, in the order in which they then lie."""
        mirrored, turn, order = _views()[view]
        directions = self._directions(tiles)[..., order]
        return turn * (-directions.conj() if mirrored else directions)

    @staticmethod
    def _cost(alike: NDArray[np.float64]) -> float:
        return float((np.maximum(alike - (MOST_ALIKE - PENALTY_FROM), 0) ** 2).sum())
