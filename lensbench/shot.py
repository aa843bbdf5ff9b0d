"""A Shot: one exposure in linear light, as a mosaic or as planes, with what the camera recorded."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.errors import BenchError

NEAR_BLACK = 1 / 256
"""Part of the full scale, eight stops below clipping, under which samples count as near black: black levels are
known to about one stored number, which is then a percent or two of the light."""


def reference_channel(channels: Iterable[str]) -> str:
    """The channel that the others are held against: green, or the first there is; empty without any."""
    channels = list(channels)
    return "green" if "green" in channels else next(iter(channels), "")


@dataclass(frozen=True)
class Exposure:
    """What the camera wrote down about a shot; None where it wrote nothing.

    `taken` reads ``2024-05-06 21:10:11``, by the camera's clock. `orientation` is the EXIF number (1 as stored, 3
    half a turn, 6 and 8 quarter turns); the samples are never turned.
    """

    camera: str | None = None
    shutter_s: float | None = None
    iso: float | None = None
    f_number: float | None = None
    focal_mm: float | None = None
    taken: str | None = None
    orientation: int = 1


class Sublattice(NamedTuple):
    """The samples of one colour index at one position of the mosaic's repeat: every `step`-th, from `first`.

    A sample [row, column] of `samples` lies at x = first[0] + step[0] * column, y = first[1] + step[1] * row.
    """

    samples: NDArray
    first: tuple[int, int]
    step: tuple[int, int]
    colour_index: int


@dataclass(frozen=True, eq=False)
class Shot:
    """One exposure in linear light.

    The samples stay as stored (no demosaicing, white balance or scaling); `light` takes black off.

    Attributes
    ----------
    name : str
        The file's name, as messages call it.
    samples : ndarray, shape (height, width) or (height, width, planes)
        A mosaic (or a monochrome frame), or full planes of every colour. Whole or float numbers, linear in light.
    pattern : ndarray of uint8, shape (down, across), or None
        The colour index of each sample of a mosaic, repeated from the frame's top left; None for planes, whose
        index is the plane's number. A monochrome frame has the pattern [[0]].
    colours : tuple of str
        The colour's name by index: ``red``, ``green``, ``blue``, or ``grey`` for a frame without colours. A
        name may come twice (the two greens).
    black : ndarray, shape (colours,)
        Stored number without light, by index.
    white : float
        Samples at or above this stored number are clipped.
    gain : ndarray, shape (colours,)
        Factor by index that brings the light of like-named indices to the first one's (the greens' imbalance);
        1 where none is known.
    exposure : Exposure
        What the camera recorded.
    incomparable : str or None
        Why figures from this file don't compare with those from raw (such as in-camera sharpening of a JPEG), as
        what is said after the file's name; None where they do.
    """

    name: str
    samples: NDArray
    pattern: NDArray[np.uint8] | None
    colours: tuple[str, ...]
    black: NDArray[np.float64]
    white: float
    gain: NDArray[np.float64]
    exposure: Exposure = field(default_factory=Exposure)
    incomparable: str | None = None

    @classmethod
    def from_array(
        cls,
        samples: ArrayLike,
        black: float | ArrayLike = 0.0,
        white: float = 65535.0,
        pattern: str | Sequence[str] | None = None,
        name: str = "array",
        exposure: Exposure | None = None,
    ) -> Shot:
        """A shot of samples that are in memory already.

        Parameters
        ----------
        samples : array_like, shape (height, width) or (height, width, 3)
            Linear in light, as the sensor stored them: a mosaic, a monochrome frame, or planes of red, green and
            blue. Kept as they are.
        black : float or array_like, shape (colours,)
            Stored number without light, for all or by colour index.
        white : float
            Samples at or above this stored number are clipped.
        pattern : str or sequence of str, optional
            The colours of a mosaic from its top left, a letter a sample (``R``, ``G``, ``B``): four letters such
            as ``"RGGB"`` for two by two, or the rows of any repeat, such as ``["RG", "GB"]``. Without it, two
            dimensions are a monochrome frame. The second green of two by two has an index of its own, the last.
        name : str
            What messages call the shot.
        exposure : Exposure, optional
            What the camera recorded.

        Returns
        -------
        Shot

        Raises
        ------
        BenchError
            Where the samples have another shape or aren't finite numbers, the pattern isn't one, or white isn't
            above black.

        Examples
        --------
        >>> import numpy as np
        >>> from lensbench import Shot
        >>> shot = Shot.from_array(np.full((60, 90), 9000), black=512, white=15871, pattern="RGGB")
        >>> shot.size, shot.channels, shot.reference
        ((90, 60), ('red', 'green', 'blue'), 'green')
        >>> shot.window("red", 0, 0, 4, 2).light
        array([8488., 8488.], dtype=float32)
        """
        samples = np.asarray(samples)
        if samples.dtype.kind not in "uif" or not np.isfinite(samples).all():
            raise BenchError(
                f"{name}: holds samples that aren't finite numbers. Give the stored numbers as they are."
            )
        colours, repeat = _colour_layout(name, samples, pattern)
        try:
            levels = np.broadcast_to(np.asarray(black, np.float64), len(colours)).copy()
        except ValueError:
            raise BenchError(
                f"{name}: needs one black level, or {len(colours)} (by colour index: {', '.join(colours)})."
            ) from None
        if not levels.max() < white:
            raise BenchError(f"{name}: white ({white:g}) must lie above black ({levels.max():g}).")
        return cls(
            name, samples, repeat, colours, levels, float(white), np.ones(len(colours)), exposure or Exposure()
        )

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of the frame in pixels."""
        return self.samples.shape[1], self.samples.shape[0]

    @property
    def channels(self) -> tuple[str, ...]:
        """The names of the colours, each once, in the order of their indices."""
        return tuple(dict.fromkeys(self.colours))

    @property
    def reference(self) -> str:
        """The channel that the others are held against: green, or the only one there is."""
        return reference_channel(self.colours)

    def digest(self) -> str:
        """What the shot is known by, whatever its file is called: the SHA-256 digest of its samples and size."""
        header = f"{self.samples.shape} {self.samples.dtype.str}".encode()
        digest = hashlib.sha256(header)
        digest.update(np.ascontiguousarray(self.samples).data)
        return digest.hexdigest()

    def indices(self, channel: str) -> list[int]:
        """The colour indices that bear a channel's name."""
        found = [i for i, name in enumerate(self.colours) if name == channel]
        if not found:
            raise KeyError(f"{self.name} has no channel {channel}; it has {', '.join(self.channels)}")
        return found

    def sublattices(self, channel: str) -> Iterator[Sublattice]:
        """The samples of a channel as strided views, one for each position in the mosaic's repeat (no copies)."""
        wanted = self.indices(channel)
        if self.pattern is None:
            for index in wanted:
                yield Sublattice(self.samples[:, :, index], (0, 0), (1, 1), index)
            return
        down, across = self.pattern.shape
        for row, column in np.argwhere(np.isin(self.pattern, wanted)):
            view = self.samples[row::down, column::across]
            yield Sublattice(view, (int(column), int(row)), (across, down), int(self.pattern[row, column]))

    def light(self, stored: NDArray, index: int) -> NDArray[np.float32]:
        """Light above black of stored samples of one colour index, in stored units, like greens alike."""
        return (stored.astype(np.float32) - np.float32(self.black[index])) * np.float32(self.gain[index])

    def window(self, channel: str, left: int, top: int, right: int, bottom: int) -> SampleWindow:
        """All samples of a channel with left ≤ x < right and top ≤ y < bottom, cut at the frame's border.

        Returns
        -------
        SampleWindow
            Positions, light and state of the samples, each of shape (samples,).
        """
        width, height = self.size
        parts = []
        for samples, first, step, index in self.sublattices(channel):
            columns = _steps_between(first[0], step[0], max(left, 0), min(right, width))
            rows = _steps_between(first[1], step[1], max(top, 0), min(bottom, height))
            stored = samples[rows.start : rows.stop, columns.start : columns.stop]
            x = first[0] + step[0] * np.asarray(columns, dtype=np.float32)
            y = first[1] + step[1] * np.asarray(rows, dtype=np.float32)
            parts.append(
                (
                    np.tile(x, len(rows)),
                    np.repeat(y, len(columns)),
                    self.light(stored, index).ravel(),
                    stored.ravel() >= self.white,
                )
            )
        return SampleWindow(*(np.concatenate(column) for column in zip(*parts, strict=True)))

    def full_scale(self, channel: str) -> float:
        """The light at which a channel clips, in stored units above black."""
        return float(min((self.white - self.black[i]) * self.gain[i] for i in self.indices(channel)))

    def near_black(self, channel: str) -> float:
        """The light under which the black level and read noise outweigh the scene."""
        return NEAR_BLACK * self.full_scale(channel)


_LETTERS = {"R": "red", "G": "green", "B": "blue"}


def _colour_layout(
    name: str, samples: NDArray, pattern: str | Sequence[str] | None
) -> tuple[tuple[str, ...], NDArray[np.uint8] | None]:
    """The names of the colours by index, and the indices of a mosaic's repeat; None for planes."""
    if samples.ndim == 3 and samples.shape[2] == 3 and pattern is None:
        return tuple(_LETTERS.values()), None
    if samples.ndim != 2:
        raise BenchError(
            f"{name}: has the shape {samples.shape}. Give a mosaic or a monochrome frame of (height, width), or "
            "planes of (height, width, 3) without a pattern."
        )
    if pattern is None:
        return ("grey",), np.zeros((1, 1), np.uint8)
    rows = [pattern[:2], pattern[2:]] if isinstance(pattern, str) else list(pattern)
    if not rows or {len(row) for row in rows} != {len(rows[0])} or not set("".join(rows)) <= set(_LETTERS):
        raise BenchError(
            f'{name}: has the pattern {pattern!r}. Write four letters of R, G and B such as "RGGB", or the rows '
            'of the repeat such as ["RG", "GB"].'
        )
    letters = np.array([list(row) for row in rows])
    present = [letter for letter in _LETTERS if letter in letters]
    indices = np.array([[present.index(letter) for letter in row] for row in letters], np.uint8)
    colours = tuple(_LETTERS[letter] for letter in present)
    greens = np.argwhere(letters == "G")
    if letters.shape == (2, 2) and len(greens) == 2:
        # Cameras amplify the two greens apart from each other, so they may differ.
        indices[tuple(greens[1])] = len(colours)
        colours = (*colours, "green")
    return colours, indices


def _steps_between(first: int, step: int, low: int, high: int) -> range:
    """The numbers k of a sublattice with low ≤ first + step k < high."""
    start = max(-((first - low) // step), 0)
    return range(start, max(-((first - high) // step), start))


class SampleWindow(NamedTuple):
    """Samples of one channel in a window: x, y in pixels, light above black, and whether each is clipped."""

    x: NDArray[np.float32]
    y: NDArray[np.float32]
    light: NDArray[np.float32]
    clipped: NDArray[np.bool_]
