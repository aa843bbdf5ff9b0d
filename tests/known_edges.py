"""Edges whose every property is known: profiles in closed form or from a transfer function by Fourier integral.

Nothing here is shared with the code under test. A scene is a sheet of square cells, one straight or bent edge
each, seen through square pixels of full fill. The truth of an edge is its transfer function along its normal times
|sinc(f cos θ) sinc(f sin θ)|.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import j1

from lensbench.shot import Shot
from tests.invented_shots import SIX

BAYER = np.array([[0, 1], [1, 2]], dtype=np.uint8)
MONO = np.zeros((1, 1), dtype=np.uint8)
SIX_BY_SIX = np.array(SIX, dtype=np.uint8)

Transfer = Callable[[np.ndarray], np.ndarray]


def gaussian(s: float) -> Transfer:
    """Gaussian blur of standard deviation s."""
    return lambda f: np.exp(-2 * (np.pi * s * f) ** 2)


def airy(wavelength_times_f_number: float) -> Transfer:
    """Perfect lens with a round pupil (Goodman, Introduction to Fourier Optics, ch. 6)."""

    def transfer(f):
        u = np.clip(np.abs(f) * wavelength_times_f_number, 0, 1)
        return 2 / np.pi * (np.arccos(u) - u * np.sqrt(1 - u * u))

    return transfer


def disc(radius: float) -> Transfer:
    """Geometrical defocus: a disc, with contrast reversal."""

    def transfer(f):
        x = 2 * np.pi * radius * np.abs(f) + 1e-12
        return 2 * j1(x) / x

    return transfer


def motion(length: float) -> Transfer:
    """Even motion across the edge."""
    return lambda f: np.sinc(length * f)


def comatic(s: float, skew: float) -> Transfer:
    """Gaussian blur with a one-sided exponential tail of length `skew`."""
    return lambda f: np.exp(-2 * (np.pi * s * f) ** 2) / (1 + 2j * np.pi * f * skew)


def product(*parts: Transfer) -> Transfer:
    """Blurs after one another."""
    return lambda f: np.prod([p(f) for p in parts], axis=0)


def mixture(*parts: tuple[float, Transfer]) -> Transfer:
    """Blurs beside one another, with their shares."""
    return lambda f: sum(share * p(f) for share, p in parts)


def with_pixel(transfer: Transfer, angle: float) -> Transfer:
    """A blur seen through square pixels, along the normal at `angle` radians."""
    return lambda f: transfer(f) * np.sinc(f * np.cos(angle)) * np.sinc(f * np.sin(angle))


def profile(transfer: Transfer, step: float = 0.025, reach: float = 800.0):
    """The edge profile (0 to 1) of a transfer function, as a function of distance."""
    n = int(2 * reach / step)
    f = np.fft.rfftfreq(n, step)
    spread = np.fft.fftshift(np.fft.irfft(transfer(f), n)) / step
    level = np.cumsum(spread) * step - spread * step / 2
    d = (np.arange(n) - n // 2) * step
    keep = np.abs(d) < 400
    return lambda x: np.interp(x, d[keep], level[keep])


def true_mtf50(transfer: Transfer) -> float:
    """Where the contrast first falls to half."""
    f = np.linspace(0, 2, 4001)
    k = int(np.argmax(np.abs(transfer(f)) < 0.5))
    return float(brentq(lambda at: np.abs(transfer(np.array([at])))[0] - 0.5, f[k - 1], f[k]))


@dataclass
class Scene:
    """Edges on a sheet and how they lie: normals at `angle` (radians, y down) point to the bright side."""

    light: np.ndarray
    middle: np.ndarray
    angle: np.ndarray
    offset: np.ndarray
    ends: np.ndarray

    @property
    def normal(self) -> np.ndarray:
        return np.stack([np.cos(self.angle), np.sin(self.angle)], axis=1)


def scene(
    transfer: Transfer,
    angles_deg,
    cell: int = 256,
    length: float = 190.0,
    dark: float = 0.03,
    white: float = 0.75,
    bend: float = 0.0,
    slope=(0.0, 0.0),
    seed: int = 0,
    columns: int | None = None,
) -> Scene:
    """One edge in each cell; light as a share of full scale; offsets and nominal errors drawn at random.

    `bend` is how far the ends of the length stand off from the middle; `slope` the light's relative rise by x
    and y in a pixel.
    """
    rng = np.random.default_rng(seed)
    angle = np.radians(np.asarray(angles_deg, float))
    n = len(angle)
    columns = columns or int(np.ceil(np.sqrt(n)))
    rows = -(-n // columns)
    light = np.full((rows * cell, columns * cell), white)
    across = np.arange(cell) - (cell - 1) / 2
    middle, offset, profiles = np.zeros((n, 2)), rng.uniform(-1, 1, n), {}
    for k in range(n):
        row, column = divmod(k, columns)
        key = round(float(angle[k]), 12)
        if key not in profiles:
            profiles[key] = profile(with_pixel(transfer, angle[k]))
        nx, ny = np.cos(angle[k]), np.sin(angle[k])
        u = nx * across[None, :] + ny * across[:, None] - offset[k]
        t = -ny * across[None, :] + nx * across[:, None]
        curve = bend * (2 * t / length) ** 2
        d = (u - curve) / np.sqrt(1 + (8 * bend * t / length**2) ** 2)
        level = dark + (white - dark) * profiles[key](d)
        level *= 1 + slope[0] * across[None, :] + slope[1] * across[:, None]
        light[row * cell : (row + 1) * cell, column * cell : (column + 1) * cell] = level
        middle[k] = column * cell + (cell - 1) / 2, row * cell + (cell - 1) / 2
    turn = angle + rng.uniform(-0.008, 0.008, n)
    along = np.stack([-np.sin(turn), np.cos(turn)], axis=1) * length / 2
    return Scene(light, middle, angle, offset, np.stack([middle - along, middle + along], axis=1))


def expose(
    light: np.ndarray,
    pattern: np.ndarray = BAYER,
    electrons: float = 30000.0,
    read: float = 3.0,
    gain_noise: float = 0.0,
    seed: int | None = 1,
    name: str = "edges",
) -> Shot:
    """A shot of a sheet of light (1 is full scale); no noise at all where `seed` is None, then in real numbers."""
    black, white = 512.0, 16383.0
    if seed is None:
        stored = (black + light * (white - black)).astype(np.float32)
    else:
        rng = np.random.default_rng(seed)
        caught = rng.poisson(light * electrons * (1 + gain_noise * rng.standard_normal(light.shape)))
        caught = caught + read * rng.standard_normal(light.shape)
        stored = np.clip(np.round(black + caught / electrons * (white - black)), 0, white).astype(np.uint16)
    colours = ("red", "green", "blue") if pattern.max() == 2 else ("grey",)
    n = len(colours)
    return Shot(name, stored, pattern, colours, np.full(n, black), white, np.ones(n))


def triangle_patch(
    transfer: Transfer,
    corners,
    size: int,
    dark: float = 0.03,
    white: float = 0.75,
    finer: int = 4,
    stretch=((1.0, 0.0), (0.0, 1.0)),
):
    """Light of one dark triangle on white, through square pixels.

    The triangle's Fourier integral is exact (Green's theorem along its sides); sampling folds it as a sensor does.

    Parameters
    ----------
    corners : array_like, shape (3, 2)
        (x, y) in the patch, whose pixels are 0 to size - 1.
    finer : int
        Frequencies up to finer / 2 cycles a pixel are kept.
    stretch : array_like, shape (2, 2)
        How a round blur is stretched in (x, y), symmetric; alike in every direction by default.
    """
    corners = np.asarray(corners, float)
    fx = np.fft.rfftfreq(size * finer, 1 / finer)[None, :]
    fy = np.fft.fftfreq(size * finer, 1 / finer)[:, None]
    total = triangle_transform(corners, fx, fy)
    (a, b), (_, c) = stretch
    total *= transfer(np.hypot(a * fx + b * fy, b * fx + c * fy)) * np.sinc(fx) * np.sinc(fy)
    coverage = np.fft.irfft2(total, (size * finer, size * finer))[::finer, ::finer] * finer**2
    return white - (white - dark) * coverage


def triangle_transform(corners: np.ndarray, fx: np.ndarray, fy: np.ndarray) -> np.ndarray:
    """A triangle's Fourier integral at frequencies in cycles a pixel, by Green's theorem along its sides."""
    square = fx**2 + fy**2
    square = np.where(square > 0, square, 1)
    total = np.zeros(square.shape, complex)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side = b - a
        middle = (a + b) / 2
        phase = np.exp(-2j * np.pi * (fx * middle[0] + fy * middle[1]))
        total += (fx * side[1] - fy * side[0]) * np.sinc(fx * side[0] + fy * side[1]) * phase
    (x1, y1), (x2, y2) = corners[1] - corners[0], corners[2] - corners[0]
    turned = x1 * y2 - x2 * y1
    total *= np.sign(turned) / (-2j * np.pi * square)
    return np.where((fx == 0) & (fy == 0), abs(turned) / 2, total)


@dataclass
class TileSheet:
    """Whole tiles on a sheet, found exactly."""

    light: np.ndarray
    corners: np.ndarray
    column: np.ndarray
    row: np.ndarray


def tile_sheet(
    transfer: Transfer, columns: int, rows: int, pitch: int = 340, leg: float = 190.0, seed: int = 0, **light
) -> TileSheet:
    """A lattice of right-angled isosceles tiles, each in a patch of its own, with the light of that tile alone."""
    corners, column, row = _lattice(columns, rows, pitch, leg, seed)
    sheet = np.zeros((rows * pitch, columns * pitch))
    for three, i, j in zip(corners, column, row, strict=True):
        patch = triangle_patch(transfer, three - pitch * np.array([i, j]), pitch, **light)
        sheet[j * pitch : (j + 1) * pitch, i * pitch : (i + 1) * pitch] = patch
    return TileSheet(sheet, corners, column, row)


def whole_sheet(
    transfer: Transfer,
    columns: int,
    rows: int,
    pitch: int = 340,
    leg: float = 190.0,
    seed: int = 0,
    dark: float = 0.03,
    white: float = 0.75,
) -> TileSheet:
    """The same tiles all together, in a white margin as wide as a patch, so that tails reach from tile to tile.

    For blurs that carry nothing beyond half a cycle a pixel.
    """
    corners, column, row = _lattice(columns, rows, pitch, leg, seed)
    size = np.array([columns + 2, rows + 2]) * pitch
    fx, fy = np.fft.rfftfreq(size[0])[None, :], np.fft.fftfreq(size[1])[:, None]
    response = transfer(np.hypot(fx, fy)) * np.sinc(fx) * np.sinc(fy)
    carried = np.abs(response) > 1e-9
    at = np.broadcast_to(fx, carried.shape)[carried], np.broadcast_to(fy, carried.shape)[carried]
    total = np.zeros(carried.shape, complex)
    total[carried] = sum(triangle_transform(three + pitch, *at) for three in corners)
    coverage = np.fft.irfft2(total * response, size[::-1])[pitch:-pitch, pitch:-pitch]
    return TileSheet(white - (white - dark) * coverage, corners, column, row)


def _lattice(columns: int, rows: int, pitch: int, leg: float, seed: int):
    """Corners, columns and rows of tiles twisted a little, half of them turned."""
    rng = np.random.default_rng(seed)
    centre = np.array([columns * pitch - 1, rows * pitch - 1]) / 2
    corners, column, row = [], [], []
    for j in range(rows):
        for i in range(columns):
            node = np.array([pitch / 2 + i * pitch, pitch / 2 + j * pitch]) + rng.uniform(-0.5, 0.5, 2)
            outward = np.arctan2(*(node - centre)[::-1]) if rng.random() < 0.5 else rng.uniform(0, 6.28)
            turn = outward + np.radians(rng.choice([-1, 1]) * rng.uniform(3, 8)) + np.pi * rng.integers(0, 2)
            u, v = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
            right = node - leg / 2 * (u + v)
            corners.append(np.stack([right, right + leg * u, right + leg * v]))
            column.append(i)
            row.append(j)
    return np.array(corners), np.array(column), np.array(row)
