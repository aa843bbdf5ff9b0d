"""Round marks measured: a shape whose profile may differ from any formula, fitted to means over cells or pixels.

No formula fits the rims of all shadows. What a profile adds to one is small: it has a prior of a few percent, so
that the intervals hold what noise hides of it, while a strong mark's own samples say what it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._blob_figures import figures_of
from lensbench.analysers.dust._blob_samples import Samples, samples_around
from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._mark_profile import OVAL, WEIGHTS, Profile, additions, relative_depth
from lensbench.analysers.dust._residual import Residual

WITHIN = 3
"""Points to a sample's side over which the shape is averaged."""

STEEPEST = 100.0
"""Limit of the rim's steepness: a sharp-edged disc."""

STEEPNESS_PRIOR, MIXED_PRIOR, WIDE_PRIOR, OVAL_PRIOR, CHANGE_PRIOR = (3.0, 0.9), (0.5, 0.5), 0.04, 0.08, 0.5
"""Priors: middle and standard deviation (of the logarithm) of the steepness, and of the share of the second
formula; standard deviations of the bumps, of those that differ along and across, and of the steepness's change
(chosen so that intervals hold: tests/bench/marks.py)."""

OVAL_ASPECT = 1.15
"""Rounder marks are as soft all around."""

STEPS, SETTLED, SETTLED_SHARE = 25, 0.01, 1e-5
"""Steps of the fit at most; it has converged when one lowers the sum of squares by less than this and that
share."""

MOST_SURPRISE = 180.0
"""A shape whose profile is farther from its prior is no spot but a ring, a loop or several marks: all spots
have less than 130, up to a signal to noise of 5000 (tests/bench/marks.py)."""

SUSPECT, SUSPECT_STEEPNESS = 1.2, 3.0
"""Sum of squares for each sample from which a rim steeper than this may be sharper than found."""

RIM_SHARE = 0.5
"""The rim's width over the steepness of wide marks, as a share of their samples' side, below which their samples
at the rim are too wide."""

SOFT_STEEPNESS = 5.0
"""Of softer rims, two points each way do for the mean over a sample."""

LEAST_SAMPLES, MANY_SAMPLES = 60, 300

# Places of the parameters: height and background (level, two gradients), centre, ellipse, logarithm of the
# steepness and its change, weights of what the profile adds.
_HEIGHT, _LEVEL, _CENTRE, _ELLIPSE, _STEEPNESS, _CHANGE = 0, slice(1, 4), slice(4, 6), slice(6, 9), 9, 10
_WEIGHTS, _OVAL = slice(11, 11 + WEIGHTS), slice(11 + WEIGHTS, 11 + WEIGHTS + OVAL.stop - OVAL.start)
PARAMETERS = _OVAL.stop


class _Prior(NamedTuple):
    """Middle and precision of each parameter, shape (PARAMETERS,)."""

    middle: NDArray[np.float64]
    precision: NDArray[np.float64]


class _Fit(NamedTuple):
    """Parameters, their precision, and sums of squares: with the prior's, the samples', and the shape's own."""

    theta: NDArray[np.float64]
    normal: NDArray[np.float64]
    cost: float
    squares: float
    energy: float


def refined(
    blob: Blob, residual: Residual, z: NDArray[np.float32], others: Sequence[Blob | Fibre], subtracted: bool
) -> Blob | None:
    """A round mark measured again, with the profile that its own samples show.

    Parameters
    ----------
    blob, residual, z, others, subtracted
        As in `samples_around`.

    Returns
    -------
    Blob or None
        None where too little of it can be measured, or it is no one spot.
    """
    samples = samples_around(blob, residual, z, others, subtracted)
    if len(samples.x) < LEAST_SAMPLES:
        return None
    scale = np.sqrt(blob.width.value * blob.length.value) / 2
    prior = _prior(blob)
    best = _fit(_start(blob, scale, blob.steepness), prior, samples, (blob.x, blob.y), scale)
    if best.cost > SUSPECT * len(samples.x) and blob.steepness > SUSPECT_STEEPNESS:
        # A sharp rim is found from one that is too sharp, not from a soft one.
        sharper = _fit(_start(blob, scale, STEEPEST / 2), prior, samples, (blob.x, blob.y), scale)
        best = min(best, sharper, key=lambda fit: fit.cost)
    side = samples.side.max()
    if side > CELL_PX and scale / np.exp(best.theta[_STEEPNESS]) < RIM_SHARE * side:
        # What so narrow a rim leaves when it is subtracted a little too soft would be found as a fibre.
        samples = samples_around(blob, residual, z, others, subtracted, fine_rim=True)
        best = _fit(best.theta, prior, samples, (blob.x, blob.y), scale)
    theta = best.theta
    if _surprise(theta, prior) > MOST_SURPRISE:
        return None
    chi_squared = max(best.squares / max(len(samples.x) - PARAMETERS, 1), 1.0)
    covariance = np.linalg.pinv(best.normal, hermitian=True) * chi_squared
    width, length, depth = figures_of(theta, covariance, profile_of, scale)
    x, y = np.array([blob.x, blob.y]) + scale * theta[_CENTRE]
    misfit = max(best.squares - len(samples.x), 0) / max(best.energy, 1e-9)
    signal = float(np.sqrt(best.energy))
    return Blob(x, y, _matrix(theta) / scale, profile_of(theta), width, length, depth, signal, float(misfit))


def _surprise(theta: NDArray, prior: _Prior) -> float:
    """Sum of squares of what the profile adds, over its prior's."""
    bumps = slice(_WEIGHTS.start + 1, _OVAL.stop)
    return float(prior.precision[bumps] @ theta[bumps] ** 2)


def profile_of(theta: NDArray) -> Profile:
    """The profile that parameters stand for."""
    return Profile(
        float(np.exp(theta[_STEEPNESS])), float(theta[_CHANGE]), theta[_WEIGHTS].copy(), theta[_OVAL].copy()
    )


def _matrix(theta: NDArray) -> NDArray[np.float64]:
    a, b, c = theta[_ELLIPSE]
    return np.array([[a, 0.0], [b, c]])


def _start(blob: Blob, scale: float, steepness: float) -> NDArray[np.float64]:
    """The parameters of a mark as found, lengths in units of its mean radius."""
    theta = np.zeros(PARAMETERS)
    theta[_HEIGHT] = blob.depth.value / 100
    lower = np.linalg.cholesky((blob.ellipse.T @ blob.ellipse)[::-1, ::-1])[::-1, ::-1].T * scale
    theta[_ELLIPSE] = lower[0, 0], lower[1, 0], lower[1, 1]
    theta[_STEEPNESS] = np.log(np.clip(steepness, 1.5, STEEPEST / 2))
    theta[_WEIGHTS] = blob.profile.weights
    if not blob.profile.refined:
        theta[_WEIGHTS.start] = MIXED_PRIOR[0]
    return theta


def _prior(blob: Blob) -> _Prior:
    middle, sigma = np.zeros(PARAMETERS), np.full(PARAMETERS, np.inf)
    middle[_STEEPNESS], sigma[_STEEPNESS] = np.log(STEEPNESS_PRIOR[0]), STEEPNESS_PRIOR[1]
    sigma[_WEIGHTS], sigma[_OVAL], sigma[_CHANGE] = WIDE_PRIOR, OVAL_PRIOR, CHANGE_PRIOR
    middle[_WEIGHTS.start], sigma[_WEIGHTS.start] = MIXED_PRIOR
    if blob.length.value < OVAL_ASPECT * blob.width.value:
        sigma[_OVAL], sigma[_CHANGE] = 1e-6, 1e-6
    return _Prior(middle, sigma**-2.0)


def _fit(theta: NDArray, prior: _Prior, samples: Samples, middle: tuple[float, float], scale: float) -> _Fit:
    """Levenberg-Marquardt from parameters theta."""
    weight = samples.noise**-2.0
    # Two points each way, those of Gauss and Legendre, do for what changes little within a sample.
    soft = theta[_STEEPNESS] < np.log(SOFT_STEEPNESS) and len(samples.x) > MANY_SAMPLES
    inside = np.array([-0.5, 0.5]) / np.sqrt(3) if soft else (np.arange(WITHIN) + 0.5) / WITHIN - 0.5
    # Of every point within the samples, from the middle in units of the scale.
    u, v = (
        ((own[:, None] - centre + samples.side[:, None] * offset.ravel()) / scale)
        for own, centre, offset in zip((samples.x, samples.y), middle, np.meshgrid(inside, inside), strict=True)
    )

    def state(theta: NDArray) -> tuple[float, float, NDArray, NDArray]:
        design = _design(theta, u, v)
        # Linear in these: their columns are the model's parts.
        error = samples.depth - theta[_HEIGHT] * design[:, _HEIGHT] - design[:, _LEVEL] @ theta[_LEVEL]
        squares = float(weight @ error**2)
        return squares + float(prior.precision @ (theta - prior.middle) ** 2), squares, design, error

    cost, squares, design, error = state(theta)
    damping = 1e-3
    for _ in range(STEPS):
        normal = (design * weight[:, None]).T @ design + np.diag(prior.precision)
        push = design.T @ (weight * error) - prior.precision * (theta - prior.middle)
        diagonal = np.diag(normal)
        damped = normal + np.diag(damping * diagonal + 1e-12 * diagonal.max())
        trial = _bounded(theta + np.linalg.solve(damped, push))
        trial_state = state(trial)
        gain = cost - trial_state[0]
        if gain > 0:
            theta, damping = trial, 0.3 * damping
            cost, squares, design, error = trial_state
        else:
            damping *= 6
        if 0 < gain < SETTLED + SETTLED_SHARE * cost or damping > 1e6:
            break
    normal = (design * weight[:, None]).T @ design + np.diag(prior.precision)
    energy = theta[_HEIGHT] ** 2 * float(weight @ design[:, _HEIGHT] ** 2)
    return _Fit(theta, normal, cost, squares, energy)


def _bounded(theta: NDArray) -> NDArray[np.float64]:
    theta[_STEEPNESS] = np.clip(theta[_STEEPNESS], np.log(1.2), np.log(STEEPEST))
    theta[[_ELLIPSE.start, _ELLIPSE.stop - 1]] = np.clip(theta[[_ELLIPSE.start, _ELLIPSE.stop - 1]], 0.2, 5.0)
    return theta


def _design(theta: NDArray, u: NDArray, v: NDArray) -> NDArray[np.float64]:
    """Derivatives of the model by each parameter, means over each sample's points, shape (samples, PARAMETERS)."""
    a, b, c = theta[_ELLIPSE]
    du, dv = u - theta[_CENTRE][0], v - theta[_CENTRE][1]
    p, q = a * du, b * du + c * dv
    square = np.maximum(p * p + q * q, 1e-10)
    radius = np.sqrt(square)
    axis = np.linalg.svd(_matrix(theta))[0][:, 1]
    cosine = 2 * (p * axis[0] + q * axis[1]) ** 2 / square - 1
    rim = np.exp(theta[_STEEPNESS])
    steepness = rim * np.exp(theta[_CHANGE] * cosine)
    formula = relative_depth(radius, steepness)
    added = additions(radius, formula, steepness, float(rim))
    uneven = added[..., 1:][..., OVAL] * cosine[..., None]
    height = theta[_HEIGHT]
    # height · d(formula)/d(log ρ), and over ρ² for the derivatives by p and q; what is added is too small.
    log_radius = np.log(radius)
    by_log = -height * np.log(2) * steepness * np.exp(np.minimum(steepness * log_radius, 4.0)) * formula
    by_p, by_q = by_log / square * p, by_log / square * q
    out = np.empty((len(u), PARAMETERS))
    out[:, _HEIGHT] = (formula + added @ theta[_WEIGHTS] + uneven @ theta[_OVAL]).mean(axis=1)
    out[:, _LEVEL] = np.stack([np.ones(len(u)), u.mean(axis=1), v.mean(axis=1)], axis=1)
    parts = (-a * by_p - b * by_q, -c * by_q, by_p * du, by_q * du, by_q * dv, by_log * log_radius)
    out[:, _CENTRE.start : _CHANGE] = np.stack([part.mean(axis=1) for part in parts], axis=1)
    out[:, _CHANGE] = (parts[-1] * cosine).mean(axis=1)
    out[:, _WEIGHTS] = height * added.mean(axis=1)
    out[:, _OVAL] = height * uneven.mean(axis=1)
    return out
