"""Noise that hangs together along edges: the paper's texture, estimated from the edges' own residuals.

A fit counts its samples as independent. Paper isn't even: its reflectance varies by a per cent or two over
distances from a pixel to dozens, and whole stretches of samples are off together. How much, and over which
distances, shows in how the residuals of blocks beside the edge follow each other along it. It is modelled as
textures of Gaussian correlation, whose part in a figure follows from what the figure takes from each sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.special import erf

from lensbench.analysers.edge import _bin_loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._data import PIECES, EdgeData, FarBins
from lensbench.analysers.edge._model import EdgeModel, Tables
from lensbench.analysers.edge._samples import pieces_along

DISTANCES = np.array([1.5, 2.5, 4.0, 6.5, 11.0, 18.0, 30.0])
"""Distances in pixels over which the correlation of the modelled textures falls to 1/e."""

STRIPS, STRIP_PX = 8, 5.0
"""Strips beside an edge's core, on its bright side, and their width: blocks are pieces of these."""

LAGS = 12
"""Blocks along an edge are compared up to so many pieces apart, counting none."""

FAINTEST = 1e-4
"""Variance of a texture, as a share of light, about which blocks are weighted to show it best."""

CERTAIN = (1.5, 4.0)
"""Standard deviations by which blocks scatter beyond their noise: up to the first a texture counts as none, from
the second on as what it seems."""

LEAST_TEXTURE, STRAY_FROM = 1e-4, 15.0
"""No texture has less than this share of `FAINTEST`, from so many pixels on, as reflections are wide."""

STRAY_CERTAIN = 3.0
"""Standard deviations by which an edge's own scatter may exceed the common texture's by chance."""

COMMON_COUNT = 8.0
"""So many independent patches of a sheet's common texture count beside an edge's own: a sheet is of one paper, and
an edge alone shows few patches of a wide texture (study: `tests/bench/texture.py`)."""

FEW_PATCHES, FEW_OF_STRAY = 5.0, 1.0
"""Variances are larger by so much over the number of patches seen, as Student's distribution is wider than the
normal one: of the paper's texture, and of what passes for none (study: `tests/bench/texture.py`)."""

MOST_SHARE = 3.0
"""What an edge's variance is over so many times the common one is no texture of the paper but stray light."""

LEAST_SHARE = 0.25
"""No edge's texture has less than this share of the common variance."""


@dataclass(frozen=True, eq=False)
class Texture:
    """The texture beside n edges.

    Attributes
    ----------
    of_edge, of_piece : ndarray, shape (n, DISTANCES)
        Variance of each texture, relative to the light, averaged along the edge and along a piece of it.
    stray : ndarray, shape (n, DISTANCES)
        Variance beyond any paper's, in squared contrasts, averaged along the edge: reflections lie on ink, too.
    """

    of_edge: NDArray[np.float64]
    of_piece: NDArray[np.float64]
    stray: NDArray[np.float64]

    @cached_property
    def is_stray(self) -> NDArray[np.bool_]:
        """Which edges have stray light beside them, shape (n,)."""
        return np.asarray(self.stray.any(axis=1))

    def variance_of(self, relative: NDArray, plain: NDArray) -> NDArray[np.float64]:
        """Variance of figures by texture and stray light, (n, m).

        Parameters
        ----------
        relative : ndarray, shape (n, m, cells)
            What each figure takes from the relative deviation of the profile's cells.
        plain : ndarray, shape (edges that are stray, m, cells)
            What it takes from their deviation in contrasts.
        """
        variance = ((relative @ self._covariance) * relative).sum(axis=-1)
        variance[self.is_stray] += ((plain @ self._stray_covariance) * plain).sum(axis=-1)
        return variance

    def covariance_of(self, relative: NDArray, plain: NDArray) -> NDArray[np.float64]:
        """Covariance of figures, (n, m, m), as `variance_of`."""
        covariance = relative @ self._covariance @ relative.transpose(0, 2, 1)
        covariance[self.is_stray] += plain @ self._stray_covariance @ plain.transpose(0, 2, 1)
        return covariance

    def of_pieces(self, relative: NDArray) -> NDArray[np.float64]:
        """Variance of one figure of each piece, (n,); `relative` as above, shape (n, cells)."""
        covariance = _covariance(self.of_piece)
        return (relative[:, None] @ covariance @ relative[..., None])[:, 0, 0]

    @cached_property
    def _covariance(self) -> NDArray[np.float64]:
        return _covariance(self.of_edge)

    @cached_property
    def _stray_covariance(self) -> NDArray[np.float64]:
        return _covariance(self.stray[self.is_stray])


def _covariance(variance: NDArray) -> NDArray[np.float64]:
    """Covariance of the profile's cells by textures (n, DISTANCES), shape (n, cells, cells)."""
    across = across_cells()
    return (variance @ across.reshape(len(across), -1)).reshape(-1, *across.shape[1:])


def find_texture(
    data: EdgeData, far: FarBins, model: EdgeModel, tables: Tables, near_key: NDArray, residual: NDArray
) -> Texture:
    """Estimate the texture beside edges of one sheet.

    Parameters
    ----------
    near_key, residual : ndarray, shape (samples,)
        Bin and residual of the near samples.
    """
    blocks, information = _blocks(data, far, model, tables, near_key, residual)
    seen, weight, noise = _lag_products(blocks, information)
    piece = 2 * model.segments.half / PIECES
    expected = _expected(piece)
    # The noise that was taken off is of all that samples scatter by, the texture among it.
    light = np.maximum(tables.level[:, -1] + model.segments.dark, 1e-3)
    expected[:, 0] *= 1 - np.minimum(noise * light**2 / model.variance[:, -1], 0.9)[:, None]
    blocks_seen = np.maximum((information > 0).sum(axis=(1, 2)), 1)
    by_chance = noise * np.sqrt(2 / blocks_seen)
    common = _common(seen, weight, expected) * _certainty(seen[:, 0], weight[:, 0], by_chance)
    patches = _patches(weight, common)
    # What spoils one edge only, such as a reflection beside it, shows where the paper is even, too.
    least = FAINTEST * LEAST_TEXTURE * (DISTANCES >= STRAY_FROM)
    few = np.where(common > least, FEW_PATCHES, FEW_OF_STRAY)
    common = np.maximum(common, least)
    share = _shares(seen, weight, expected @ common, patches, by_chance)[:, None]
    of_edge = common * _gaussian_mean(piece[:, None] * PIECES / DISTANCES)
    of_edge = of_edge * (1 + few / np.maximum(patches, 1)[:, None])
    of_piece = common * _gaussian_mean(piece[:, None] / DISTANCES)
    usual, more = np.minimum(share, MOST_SHARE), np.maximum(share - MOST_SHARE, 0)
    return Texture(usual * of_edge, usual * of_piece, more * of_edge)


def _blocks(
    data: EdgeData, far: FarBins, model: EdgeModel, tables: Tables, near_key: NDArray, residual: NDArray
) -> tuple[NDArray, NDArray]:
    """Mean relative residual of each block and the inverse of its variance by noise, shape (n, STRIPS, PIECES)."""
    z = profile.bin_places()
    beyond = z - 3.0 * model.blur[:, None]
    strip = np.where((beyond >= 0) & (beyond < STRIPS * STRIP_PX), beyond // STRIP_PX, -1).astype(np.int32)
    light = np.maximum(tables.level + model.segments.dark[:, None], 1e-3)
    weight = light / model.variance
    far_residual = data.far.light - tables.level.ravel().take(far.key).astype(np.float32)
    total, information = np.zeros((2, model.n, STRIPS, PIECES))
    for key, piece, rest in (
        (near_key, data.near_piece, residual),
        (far.key, pieces_along(data.far_tau, PIECES), far_residual),
    ):
        parts = loops.block_sums(key, piece, rest, strip, weight, light * weight, STRIPS, PIECES)
        total += parts[0]
        information += parts[1]
    return total / np.maximum(information, 1e-9), information


def _lag_products(blocks: NDArray, information: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Mean products of blocks of a strip some pieces apart less what noise gives, their weights, and that noise.

    Returns
    -------
    seen, weight : ndarray, shape (n, LAGS)
    noise : ndarray, shape (n,)
    """
    weight = np.where(information > 0, 1 / (1 / np.maximum(information, 1e-9) + FAINTEST), 0)
    whole = np.maximum(weight.sum(axis=2, keepdims=True), 1e-12)
    rest = blocks - (weight * blocks).sum(axis=2, keepdims=True) / whole
    noise = np.where(information > 0, 1 / np.maximum(information, 1e-9), 0)
    # Strips that are seen over a few pieces only tell nothing: their mean takes what they have in common.
    good = (weight > 0).sum(axis=2, keepdims=True) > PIECES / 2
    weight = weight * good * FAINTEST
    seen, count = np.zeros((2, len(blocks), LAGS))
    taken_off = np.zeros(len(blocks))
    for lag in range(LAGS):
        first, second = slice(0, PIECES - lag), slice(lag, PIECES)
        product = rest[..., first] * rest[..., second]
        if lag == 0:
            product = product - noise * (1 - 1 / PIECES)
        both = weight[..., first] * weight[..., second]
        taken_off = (both * noise).sum(axis=(1, 2)) if lag == 0 else taken_off
        count[:, lag] = both.sum(axis=(1, 2))
        seen[:, lag] = (both * product).sum(axis=(1, 2))
    whole = np.maximum(count, 1e-12)
    return seen / whole, count, taken_off / whole[:, 0]


def _expected(piece: NDArray) -> NDArray[np.float64]:
    """What `_lag_products` are for textures of unit variance, shape (n, LAGS, DISTANCES)."""
    ratio = np.log(np.maximum(piece, 0.1))[:, None] - np.log(DISTANCES)
    table = _lag_table()
    expected = np.empty((len(piece), LAGS, len(DISTANCES)))
    for lag in range(LAGS):
        expected[:, lag] = np.interp(ratio, _LOG_RATIOS, table[:, lag])
    return expected * _gaussian_mean(STRIP_PX / DISTANCES)


_LOG_RATIOS = np.log(np.geomspace(1e-3, 1e3, 241))


@lru_cache(maxsize=1)
def _lag_table() -> NDArray[np.float64]:
    """Mean product of blocks some pieces apart, less their strip's mean, by piece over distance."""
    lags = np.arange(PIECES)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    apart = (nodes[:, None] - nodes) / 2
    both = (weights[:, None] * weights) / 4
    rows = []
    for ratio in np.exp(_LOG_RATIOS):
        by_lag = (np.exp(-(((lags[:, None, None] + apart) * ratio) ** 2)) * both).sum(axis=(1, 2))
        if ratio > 2:
            by_lag[0] = _gaussian_mean(np.array(ratio))
        covariance = by_lag[np.abs(lags[:, None] - lags)]
        mean = covariance.mean(axis=0)
        centred = covariance - mean - mean[:, None] + mean.mean()
        rows.append([np.diagonal(centred, lag).mean() for lag in range(LAGS)])
    return np.array(rows)


def _gaussian_mean(length: NDArray) -> NDArray[np.float64]:
    """Mean of exp(-(s - t)²) over s and t in a length."""
    x = np.maximum(np.asarray(length, float), 1e-4)
    return np.where(x < 0.02, 1 - x**2 / 6, (np.sqrt(np.pi) * x * erf(x) + np.exp(-(x**2)) - 1) / x**2)


def _common(seen: NDArray, weight: NDArray, expected: NDArray) -> NDArray[np.float64]:
    """Variances of the textures that all edges have in common, shape (DISTANCES,)."""
    root = np.sqrt(weight)
    if not root.any():
        return np.zeros(len(DISTANCES))
    # One edge with a hair or a fold beside it must not pass for the paper of all.
    size = np.abs(seen[:, 0])
    limit = 5 * np.median(size[root[:, 0] > 0])
    root = root * np.minimum(1, limit / np.maximum(size, 1e-12))[:, None]
    rows = (root[..., None] * expected).reshape(-1, len(DISTANCES))
    return nnls(rows.T @ rows, rows.T @ (root * seen).ravel())[0]


def _certainty(seen: NDArray, weight: NDArray, by_chance: NDArray) -> float:
    """How far blocks scatter beyond their noise with certainty: 0 where even paper may show as much, to 1."""
    least, enough = CERTAIN
    share = ((weight * seen).sum() / max(np.sqrt(((weight * by_chance) ** 2).sum()), 1e-30) - least) / (
        enough - least
    )
    return float(np.clip(share, 0, 1))


def _patches(weight: NDArray, common: NDArray) -> NDArray[np.float64]:
    """How many independent patches of texture lie beside each edge: blocks within a patch tell the same."""
    width = (common * DISTANCES).sum() / max(common.sum(), 1e-30)
    return weight[:, 0] / (1 + width / STRIP_PX) ** 2


def _shares(
    seen: NDArray, weight: NDArray, usual: NDArray, patches: NDArray, by_chance: NDArray
) -> NDArray[np.float64]:
    """Each edge's own variance over the common one, drawn to 1."""
    own = (weight * usual * seen).sum(axis=1) / np.maximum((weight * usual**2).sum(axis=1), 1e-30)
    more = own - 1 - STRAY_CERTAIN * by_chance / np.maximum(usual[:, 0], 1e-30)
    own = np.minimum(own, 1 + np.maximum(more, 0))
    return np.maximum((COMMON_COUNT + patches * own) / (COMMON_COUNT + patches), LEAST_SHARE)


@lru_cache(maxsize=1)
def across_cells() -> NDArray[np.float64]:
    """Correlation of two cells of the profile across the edge, shape (DISTANCES, cells, cells)."""
    z = profile.bin_places()
    square = (z[:, None] - z) ** 2
    shape = (profile.BINS // profile.FINE, profile.FINE) * 2
    return np.array([np.exp(-square / d**2).reshape(shape).mean(axis=(1, 3)) for d in DISTANCES])
