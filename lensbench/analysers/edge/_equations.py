"""The normal equations of edges: one Gauss-Newton step of profile, turn, curvature and the light's gradient."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _bin_loops as bin_loops
from lensbench.analysers.edge import _equation_loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._data import PIECE_SHAPES, PIECES, EdgeData, FarBins
from lensbench.analysers.edge._first_look import NOISE_FLOOR
from lensbench.analysers.edge._model import EdgeModel, Tables
from lensbench.analysers.numerics import banded

PRIOR_COUNT = 0.1
"""How many differences of a profile's coefficients count as seen at their prior size, in each of its zones."""

INITIAL_SCALES = np.array([1.0, 1.0, 1.0, 1.0, 4.0, 4.0, 4.0, 10.0])
"""How many times their prior size they are before samples tell: more where light is faint, and most of tail light.
What begins stiffer than it is passes for something else, and stays so."""

SCALE_ROUNDS = 2
"""How often these are set by the samples."""

PIECE_PRODUCTS = (PIECE_SHAPES[:, None] * PIECE_SHAPES).reshape(9, PIECES).T
LINE_PRIOR = np.diag([1e-9, 1 / 9, 1 / 9])
"""Precision of a line before it is looked at: it is turned and curved by 3 pixels or so at its ends."""


@dataclass(frozen=True, eq=False)
class Equations:
    """Normal equations of n edges: of the profile's K coefficients, and of four parameters that go with them.

    The four are turn and curvature of the line, gradient and curvature of the light.

    Attributes
    ----------
    near_key : ndarray of int, shape (samples,)
        Edge · BINS + bin of the near samples that they are made of.
    count : ndarray, shape (n, BINS)
        How many samples there are in each bin.
    bands, right : ndarray, shape (n, 4, K) and (n, K)
        The coefficients' matrix, as `banded` keeps it, and right side.
    cross : ndarray, shape (n, 4, K)
        What ties the four to the coefficients.
    own, wanted : ndarray, shape (n, 4, 4) and (n, 4)
        The four's matrix and right side.
    score, information : ndarray, shape (n, PIECES)
        Of the likelihood, for moving each piece of the line forward.
    """

    near_key: NDArray[np.int32]
    count: NDArray[np.float64]
    bands: NDArray[np.float64]
    right: NDArray[np.float64]
    cross: NDArray[np.float64]
    own: NDArray[np.float64]
    wanted: NDArray[np.float64]
    score: NDArray[np.float64]
    information: NDArray[np.float64]

    @property
    def reach(self) -> NDArray[np.float64]:
        """How far the samples go on the dark and the bright side, in pixels, shape (n, 2)."""
        return reach_of(self.count)


def reach_of(count: NDArray) -> NDArray[np.float64]:
    """How far samples go on the dark and the bright side, by how many there are in each bin."""
    z = profile.bin_places()
    low, high = (np.where(count > 0, sign * z, 0).max(axis=1) for sign in (-1, 1))
    return np.stack([low, high], axis=1)


def normal_equations(
    data: EdgeData, far: FarBins, model: EdgeModel, tables: Tables, near_key: NDArray, residual: NDArray
) -> tuple[EdgeModel, Equations]:
    """The equations about a model, and that model with the noise that its residuals show.

    Parameters
    ----------
    near_key, residual : ndarray, shape (samples,)
        Bin and residual of the near samples.
    """
    level, _, slope = tables
    count, total, square, *levers = bin_loops.binned_along(
        near_key, data.near_piece, residual, PIECE_SHAPES[1:], model.n, profile.BINS
    )
    count += far.count
    total += far.light - far.count * level
    square += far.square - 2 * level * far.light + far.count * level**2
    variance = loops.variances(count, square, level, slope, model.side(), NOISE_FLOOR**2)
    model = replace(model, variance=variance)
    slope_weight = model.slope_weight(slope)
    pieces = profile.bin_pieces()[0]
    bands = loops.normal_bands(count / variance, pieces)
    right, cross, of_gradient = loops.equations(
        count, total, np.stack(levers), variance, slope_weight, model.by_gradient(level), pieces
    )
    right = right + banded.times(bands, model.coefficients)
    score, information = bin_loops.line_scores(near_key, data.near_piece, residual, slope_weight, slope, PIECES)
    own, wanted = _own(model, score, information, of_gradient)
    return model, Equations(near_key, count, bands, right, cross, own, wanted, score, information)


def _own(model: EdgeModel, score: NDArray, information: NDArray, of_gradient: NDArray) -> tuple[NDArray, NDArray]:
    """Matrix and right side of turn, curvature and the light's gradient and curvature."""
    precision = model.segments.gradient_precision
    own = np.zeros((model.n, 4, 4))
    own[:, :2, :2] = (information @ PIECE_PRODUCTS).reshape(-1, 3, 3)[:, 1:, 1:] + LINE_PRIOR[1:, 1:]
    own[:, 2:, 2:] = of_gradient[:, :2] + precision
    gradient_wanted = of_gradient[:, 2] - np.einsum("nij,nj->ni", precision, model.gradient)
    return own, np.concatenate([score @ PIECE_SHAPES[1:].T, gradient_wanted], axis=1)


def profile_factors(blur: NDArray, bands: NDArray, right: NDArray, reach: NDArray) -> NDArray[np.float64]:
    """Factors of the profiles' matrices, each profile as rough in each zone as its own samples ask for.

    Parameters
    ----------
    blur : ndarray, shape (n,)
        Blur widths in pixels.
    bands, right : ndarray, shape (n, 4, K) and (n, K)
        The profiles' normal equations.
    reach : ndarray, shape (n, 2)
        How far the samples go.

    Returns
    -------
    ndarray, shape (n, K, 4)
        For `banded.solved`.
    """
    return factors_of(bands, roughness_seen(blur, bands, right, reach))


def roughness_seen(
    blur: NDArray, bands: NDArray, right: NDArray, reach: NDArray, by_texture: NDArray | float = 0.0
) -> NDArray[np.float64]:
    """How rough profiles are by their own samples, of which `profile_factors` says more.

    Parameters
    ----------
    by_texture : ndarray, shape (n, K), optional
        Variance of the rows of `profile.roughness` by the paper's texture, once that is known.

    Returns
    -------
    ndarray, shape (n, K)
        Standard deviations of the rows of `profile.roughness`.
    """
    rough, prior = profile.roughness(), profile.prior_roughness(blur)
    seen = profile.seen_roughness(reach)
    sizes = prior, np.zeros_like(prior) + by_texture, profile.largest_roughness(seen)
    return np.asarray(
        banded.rescaled(_held(bands), right, *rough, *sizes, seen, INITIAL_SCALES, PRIOR_COUNT, SCALE_ROUNDS)
    )


def factors_of(bands: NDArray, sigma: NDArray) -> NDArray[np.float64]:
    """Factors of the profiles' matrices, for profiles that are so rough (`roughness_seen`)."""
    rough = profile.roughness()
    return np.asarray(banded.factored(banded.with_rows(_held(bands), rough.rows, rough.first, sigma)))


def _held(bands: NDArray) -> NDArray[np.float64]:
    """Equations that hold a profile without any samples: levels are within hundreds of contrasts."""
    bands = bands.copy()
    bands[:, 0] += 1e-5
    return bands
