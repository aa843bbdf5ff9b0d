"""The fit of edges: a smooth profile and a line that may be curved, weighted by each edge's own noise."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _bin_loops as bin_loops
from lensbench.analysers.edge import _equation_loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._curves import GAUSSIAN_MTF50
from lensbench.analysers.edge._data import PIECE_SHAPES, PIECES, EdgeData, FarBins, near_keys, near_residuals
from lensbench.analysers.edge._edge_fit import EdgeFit
from lensbench.analysers.edge._equations import (
    LINE_PRIOR,
    PIECE_PRODUCTS,
    Equations,
    factors_of,
    normal_equations,
    profile_factors,
    reach_of,
    roughness_seen,
)
from lensbench.analysers.edge._first_look import MIN_BLUR, NOISE_FLOOR
from lensbench.analysers.edge._model import EdgeModel, Segments, Tables
from lensbench.analysers.edge._outliers import without_outliers
from lensbench.analysers.edge._pulls import pulled_apart
from lensbench.analysers.edge._samples import EdgeSamples
from lensbench.analysers.edge._texture import Texture, find_texture
from lensbench.analysers.edge._texture_roughness import roughness_by_texture
from lensbench.analysers.numerics import banded

LARGEST_STEP = 3.0
"""No line is moved, turned or curved by more pixels in one step."""

LEAST_AVERAGED = 3
"""Edges over which what is for means alone has to be averaged (`FinalFits`)."""

_MODEL_FIELDS = tuple(EdgeModel.__dataclass_fields__)


# -- steps ----------------------------------------------------------------------------------------------------


def first_fit(samples: EdgeSamples, segments: Segments, blur: NDArray, noise: NDArray) -> EdgeFit:
    """Fit edges, by turns, until profile and line nearly stand; hot pixels and dirt are left out.

    Parameters
    ----------
    samples : EdgeSamples
        With their light in contrasts.
    segments : Segments
        What is given of the edges.
    blur, noise : ndarray, shape (n,)
        Blur widths in pixels and standard deviation of a sample in contrasts, roughly.
    """
    n = len(blur)
    variance = np.repeat(np.maximum(noise, NOISE_FLOOR)[:, None] ** 2, profile.BINS, axis=1)
    model = EdgeModel(
        blur.copy(), np.zeros((n, profile.COEFFICIENTS)), segments, np.zeros((n, 3)), np.zeros((n, 2)), variance
    )
    data = EdgeData.split(samples, segments, blur)
    model = _straightened(data, model)
    far = FarBins.placed(data, model)
    fit = _stepped(data, far, _profile_alone(data, far, model))
    model = _with_blur(_model_of(fit))
    return _stepped(data, FarBins.placed(data, model), model, reject=True)


def refitted(fit: EdgeFit, data: EdgeData) -> EdgeFit:
    """One more step, to samples whose light has changed a little."""
    return _stepped(data, FarBins.of(fit.far.key, data, fit.n), _model_of(fit))


def with_right_side(fit: EdgeFit, right: NDArray, rescale: bool) -> EdgeFit:
    """The profile alone by another right side of its equations; line and noise stay.

    How rough its tails are is chosen again, too, if `rescale`.
    """
    equations, factors = replace(fit.equations, right=right), fit.factors
    if rescale:
        factors = profile_factors(fit.blur, equations.bands, right, equations.reach)
    coefficients = banded.solved(factors, right[:, None])[:, 0]
    return replace(fit, equations=equations, factors=factors, coefficients=coefficients)


class FinalFits(NamedTuple):
    """The last fit of each edge, as smooth as its own samples ask for, and one for means over edges.

    Of what a single profile's noise hides, more shows in the mean of several that are alike, unless each has been
    made as smooth as its own noise asks for: `rougher` may be `LEAST_AVERAGED` times as rough, in variance. Its
    lines and noise are those of `fit`.
    """

    fit: EdgeFit
    rougher: EdgeFit


def final_fits(fit: EdgeFit) -> FinalFits:
    """The last step, and how sure everything is."""
    # The first time spoiled samples still passed for noise, and so hid the milder among themselves.
    data, far, before, tables, residual, equations = _looked_at(fit.data, fit.far, _model_of(fit), reject=True)
    texture = find_texture(data, far, before, tables, equations.near_key, residual)
    by_texture = roughness_by_texture(texture, before)
    sigma = roughness_seen(before.blur, equations.bands, equations.right, equations.reach, by_texture)
    factors, rougher = (factors_of(equations.bands, np.sqrt(n) * sigma) for n in (1, LEAST_AVERAGED))
    model, along, covariance = _joint_step(before, equations, factors)
    fit = _fit_of(
        model,
        data=data,
        far=far,
        texture=texture,
        equations=equations,
        factors=factors,
        along=along,
        covariance=covariance,
        reduced_chi_squared=_reduced_chi_squared(model, equations, texture),
        confounding=equations.own[:, 0, 0] * covariance[:, 0, 0],
        pulled=np.zeros(model.n),
    )
    fit = replace(fit, pulled=pulled_apart(fit))
    model, along, covariance = _joint_step(before, equations, rougher)
    return FinalFits(
        fit,
        replace(fit, coefficients=model.coefficients, factors=rougher, along=along, covariance=covariance),
    )


def _model_of(fit: EdgeFit) -> EdgeModel:
    return EdgeModel(**{name: getattr(fit, name) for name in _MODEL_FIELDS})


def _fit_of(model: EdgeModel, **rest) -> EdgeFit:
    return EdgeFit(**{name: getattr(model, name) for name in _MODEL_FIELDS}, **rest)


class _Looked(NamedTuple):
    """Samples, a model with the noise that they show, its tables, the near samples' residuals, the equations."""

    data: EdgeData
    far: FarBins
    model: EdgeModel
    tables: Tables
    residual: NDArray[np.float32]
    equations: Equations


def _looked_at(data: EdgeData, far: FarBins, model: EdgeModel, reject: bool) -> _Looked:
    """The equations about a model with the noise that it shows, without outliers if `reject`."""
    tables = model.tables
    key, residual = near_residuals(data, model, tables)
    if reject:
        data, far, key, residual = without_outliers(data, far, model, tables, key, residual)
    model, equations = normal_equations(data, far, model, tables, key, residual)
    return _Looked(data, far, model, tables, residual, equations)


def _stepped(data: EdgeData, far: FarBins, model: EdgeModel, reject: bool = False) -> EdgeFit:
    """One Gauss-Newton step of profile, line and light together, after a new look at the noise."""
    data, far, model, _, _, equations = _looked_at(data, far, model, reject)
    factors = profile_factors(model.blur, equations.bands, equations.right, equations.reach)
    model, along, covariance = _joint_step(model, equations, factors)
    return _fit_of(
        _centred(model),
        data=data,
        far=far,
        texture=None,
        equations=equations,
        factors=factors,
        along=np.zeros_like(along),
        covariance=np.zeros_like(covariance),
        reduced_chi_squared=np.ones(model.n),
        confounding=np.ones(model.n),
        pulled=np.zeros(model.n),
    )


def _joint_step(
    model: EdgeModel, equations: Equations, factors: NDArray
) -> tuple[EdgeModel, NDArray[np.float64], NDArray[np.float64]]:
    """Step all parameters; how the profile follows the four others, and their covariance."""
    solved = banded.solved(factors, np.concatenate([equations.right[:, None], equations.cross], axis=1))
    alone, along = solved[:, 0], solved[:, 1:]
    covariance = np.linalg.inv(equations.own - equations.cross @ along.transpose(0, 2, 1))
    rest = equations.wanted - np.einsum("nkj,nj->nk", equations.cross, alone - model.coefficients)
    step = np.clip(np.einsum("nij,nj->ni", covariance, rest), -LARGEST_STEP, LARGEST_STEP)
    line = model.line.copy()
    line[:, 1:] += step[:, :2]
    coefficients = alone - np.einsum("nkj,nk->nj", along, step)
    model = replace(model, coefficients=coefficients, line=line, gradient=model.gradient + step[:, 2:])
    return model, along, covariance


def _centred(model: EdgeModel) -> EdgeModel:
    """The model with its lines moved to where the profiles cross half."""
    line = model.line.copy()
    line[:, 0] = model.position()
    return replace(model, line=line)


def _straightened(data: EdgeData, model: EdgeModel) -> EdgeModel:
    """The model with lines through the middle of the rise, whatever its shape, by ever less blurred ones."""
    line = model.line
    for more in (1.6, 0.8):
        blur = model.blur + more
        trial = replace(model, blur=blur, coefficients=profile.gaussian_edges(blur), line=line)
        tables = trial.tables
        key, residual = near_residuals(data, trial, tables)
        weight = trial.slope_weight(tables.slope)
        score, information = bin_loops.line_scores(key, data.near_piece, residual, weight, tables.slope, PIECES)
        matrix = (information @ PIECE_PRODUCTS).reshape(-1, 3, 3) + LINE_PRIOR
        step = np.linalg.solve(matrix, (score @ PIECE_SHAPES.T)[..., None])[..., 0]
        line = line + np.clip(step, -LARGEST_STEP, LARGEST_STEP)
    return replace(model, line=line)


def _profile_alone(data: EdgeData, far: FarBins, model: EdgeModel) -> EdgeModel:
    """The profile from nothing; the line's direction stays, the noise counts as even and the light as level."""
    key = near_keys(data, model)
    count, light, _ = bin_loops.binned(key, data.near.light, model.n, profile.BINS)
    count += far.count
    bands = loops.normal_bands(count / model.variance, profile.bin_pieces()[0])
    right = profile.onto_basis((light + far.light) / model.variance)
    factors = profile_factors(model.blur, bands, right, reach_of(count))
    return _centred(replace(model, coefficients=banded.solved(factors, right[:, None])[:, 0]))


def _with_blur(model: EdgeModel) -> EdgeModel:
    """The model with blur widths from the steepest slope, no wider than those of the MTF50."""
    dark, white = model.plateaus()
    steepest = model.tables.slope.max(axis=1)
    by_slope = (white - dark) / (np.sqrt(2 * np.pi) * np.maximum(steepest, 1e-12))
    q = model.q50()[0]
    # An edge that is no edge may have no MTF50, or one at the frequency zero.
    by_mtf50 = np.where(np.isfinite(q) & (q > 0), GAUSSIAN_MTF50 / np.where(q > 0, q, 1), model.blur)
    blur = np.clip(np.minimum(by_slope, by_mtf50), np.maximum(MIN_BLUR, model.blur / 40), model.blur * 1.5)
    return replace(model, blur=blur)


def _reduced_chi_squared(model: EdgeModel, equations: Equations, texture: Texture) -> NDArray[np.float64]:
    """Variance of the line's pieces over what noise and texture give, 1 at least."""
    score, information = equations.score, equations.information
    held = information > 0
    chi_squared = np.where(held, score**2 / np.where(held, information, 1), 0).sum(axis=1)
    freedom = np.maximum(held.sum(axis=1) - 3, 0)
    chi_squared = chi_squared - freedom * _chi_squared_by_texture(model, equations, texture)
    # Drawn half-way to 1 by as many pieces again: 21 pieces alone tell it to a third only.
    return np.maximum((chi_squared + PIECES) / (freedom + PIECES), 1.0)


def _chi_squared_by_texture(model: EdgeModel, equations: Equations, texture: Texture) -> NDArray[np.float64]:
    """What the texture adds to the squared score of a piece over its information."""
    level, _, slope = model.tables
    light = np.maximum(level + model.segments.dark[:, None], 0)
    score = equations.count * model.slope_weight(slope)
    information = np.maximum((score * slope).sum(axis=1), 1e-9)
    return texture.of_pieces(profile.cell_sums(score * light)) / information / PIECES
