"""Where one colour's fringing is centred, and how sure that is when blur is asymmetric."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.fringing._colour_field import CENTRE, RADIAL_TERMS
from lensbench.analysers.fringing._field_model import FieldModel
from lensbench.analysers.numerics.smooth_fields import smooth_fields, unexplained_square
from lensbench.frame import centre_of, half_diagonal

EVEN_SHIFT = 1000.0
"""How many times as much as another smooth field, on average, a uniform shift must explain to be taken for one
(study: `tests/bench/centres.py`)."""

DISGUISE = 2.5
"""How many times farther than an equally large field of random form the asymmetric blur of a lens moves the centre
(study: `tests/bench/centres.py`)."""


def field_centre(model: FieldModel) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The centre (x, y) of a field that is alike in all directions, in pixels, and its standard deviations.

    Coma and lean move the half crossings of each colour in its own way, so that the field is no longer alike in
    all directions about any centre. What remains of it when the best centre is found says how strong that is; a
    part as large may have moved the centre, and counts in its standard deviation. A uniform shift (a wedge) is
    taken out where it explains far more than any other field would.
    """
    theta, square, chi_squared = _fitted(model, False)
    shifted, square_left, chi_squared_left = _fitted(model, True)
    fields = smooth_fields(np.zeros(2)).shape[-1]
    if (chi_squared - chi_squared_left) / 2 > EVEN_SHIFT * max(square_left / fields, 1.0):
        theta, square = shifted, square_left
    shift = bool(theta is shifted)
    free = model.free(RADIAL_TERMS, shift, False)
    jacobian, residual = model.jacobian(theta)[:, free], model.residuals(theta)
    reduced = max(float(residual @ residual) - square, 0.0) / max(len(residual) - int(free.sum()), 1)
    spread = np.diagonal(np.linalg.pinv(jacobian.T @ jacobian, hermitian=True))[:2]
    unit = half_diagonal(model.size)
    sigma = unit * np.sqrt(spread * (max(reduced, 1.0) + DISGUISE**2 * square))
    return np.asarray(centre_of(model.size)) + unit * theta[CENTRE], sigma


def _fitted(model: FieldModel, shift: bool) -> tuple[NDArray[np.float64], float, float]:
    """The fitted parameters, what smooth fields would explain besides, and χ²."""
    free = model.free(RADIAL_TERMS, shift, False)
    theta = model.solve(np.zeros(model.parameters), free)
    residual = model.residuals(theta)
    square = unexplained_square(model.jacobian(theta)[:, free], residual, model.by_fields(smooth_fields))
    return theta, square, float(residual @ residual)
