"""Smooth fields of displacement over the frame of no particular form, and how much of a fit's residual is one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MOST_POWER = 4
"""Highest power of the position in a smooth field (chosen by experience)."""

SAME_DIRECTION = 1e-3
"""A field of which the fit leaves less than this share is one that the fit has itself."""


def smooth_fields(q: NDArray) -> NDArray[np.float64]:
    """All polynomial fields of displacement up to `MOST_POWER`.

    Parameters
    ----------
    q : ndarray, shape (..., 2)
        Positions in half-diagonals from the frame's centre.

    Returns
    -------
    ndarray, shape (..., 2, fields)
        Displacement (dx, dy) by each field.
    """
    x, y = np.moveaxis(np.asarray(q, float), -1, 0)
    powers = [x ** (n - k) * y**k for n in range(MOST_POWER + 1) for k in range(n + 1)]
    one = np.stack(powers, axis=-1)
    none = np.zeros_like(one)
    return np.stack([np.concatenate([one, none], axis=-1), np.concatenate([none, one], axis=-1)], axis=-2)


EVEN_SIZES = np.repeat([0.6, 1.0, 2.0, 1.0, 2.0], 2)
"""Relative sizes of the coefficients of `even_fields` (study: `tests/bench/centres.py`, lenses of other seeds)."""


def even_fields(q: NDArray) -> NDArray[np.float64]:
    """Fields of displacement that are even in the position: along a vector a or the radius, over powers of it.

    a, Q a, (a·q) q, Q² a and Q (a·q) q, with Q = |q|²; each for a along x and y, times its `EVEN_SIZES`. Coma on
    the axis, and coma over the field with a leaning surface of focus, move the half crossings of edges like this.

    Parameters
    ----------
    q : ndarray, shape (..., 2)
        Positions from the centre of symmetry, in half-diagonals.

    Returns
    -------
    ndarray, shape (..., 2, 10)
        Displacement (dx, dy) by each field.
    """
    q = np.asarray(q, float)
    square = np.square(q).sum(axis=-1)[..., None, None]
    along = np.broadcast_to(np.eye(2), (*q.shape, 2))
    radial = q[..., :, None] * q[..., None, :]
    fields = [along, square * along, radial, square**2 * along, square * radial]
    return np.concatenate(fields, axis=-1) * EVEN_SIZES


def unexplained_square(
    jacobian: NDArray, residual: NDArray, fields: NDArray, aside: NDArray | None = None, sure: float = 0.0
) -> float:
    """How much of what a fit leaves is a smooth field that its parameters don't have.

    Parameters
    ----------
    jacobian : ndarray, shape (n, parameters)
        Of the residuals.
    residual : ndarray, shape (n,)
        What the fit leaves, in standard deviations.
    fields : ndarray, shape (n, fields)
        What each smooth field would add to the residuals.
    aside : ndarray, shape (n, more), optional
        What else may be in the residuals and is no noise, though no field of interest either.
    sure : float
        By how many of its standard deviations noise must be exceeded; anything less counts as none.

    Returns
    -------
    float
        The square sum of the residuals that smooth fields explain, less what noise alone gives them. The
        covariance of the parameters times this is how far they may be off, were it their own change in disguise.
    """
    other = jacobian if aside is None else np.concatenate([jacobian, aside], axis=1)
    other = directions(other)
    beside = directions(fields - other @ (other.T @ fields), np.linalg.norm(fields, axis=0))
    residual = residual - other @ (other.T @ residual)
    explained, fields_left = float(np.square(beside.T @ residual).sum()), beside.shape[1]
    freedom = max(len(residual) - fields_left - other.shape[1], 1)
    noise = max(float(residual @ residual) - explained, 0.0) / freedom
    excess = explained - fields_left * noise
    return excess if excess > sure * np.sqrt(2 * fields_left) * noise else 0.0


def directions(columns: NDArray, size: NDArray | None = None) -> NDArray[np.float64]:
    """Orthonormal directions that columns span, but for those of which next to nothing is left of their size."""
    size = np.linalg.norm(columns, axis=0) if size is None else size
    left, strength, _ = np.linalg.svd(columns / np.where(size > 0, size, 1.0), full_matrices=False)
    return left[:, strength > SAME_DIRECTION]
