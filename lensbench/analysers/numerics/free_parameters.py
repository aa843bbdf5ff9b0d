"""Nonlinear least squares over some of a model's parameters, the others being zero."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

ROBUST_SCALE = 2.0
"""Residuals beyond this many standard deviations weigh less under a robust loss (common practice: 2 to 2.4)."""

Vector = NDArray[np.float64]


def solve_free(
    residuals: Callable[[Vector], Vector],
    jacobian: Callable[[Vector], Vector],
    start: Vector,
    free: NDArray[np.bool_],
    loss: Literal["linear", "cauchy"] = "linear",
    most_steps: int = 100,
) -> Vector:
    """Fit the free parameters of a model; the others are zero.

    Parameters
    ----------
    residuals : callable
        From all parameters, shape (parameters,), to residuals of unit standard deviation, shape (residuals,).
    jacobian : callable
        From all parameters to the residuals' derivatives by the free ones, shape (residuals, free parameters).
    start : ndarray, shape (parameters,)
        All parameters to start from.
    free : ndarray of bool, shape (parameters,)
        Which parameters are fitted.
    loss : {"linear", "cauchy"}
        ``cauchy`` is robust against outliers.
    most_steps : int
        Evaluations of the model at most.

    Returns
    -------
    ndarray, shape (parameters,)
    """

    def filled(some: Vector) -> Vector:
        whole = np.zeros_like(start)
        whole[free] = some
        return whole

    found = least_squares(
        lambda some: residuals(filled(some)),
        start[free],
        jac=lambda some: jacobian(filled(some)),
        loss=loss,
        x_scale="jac",
        f_scale=ROBUST_SCALE,
        max_nfev=most_steps,
    )
    return filled(found.x)
