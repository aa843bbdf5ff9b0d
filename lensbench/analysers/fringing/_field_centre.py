"""Where one colour's fringing is centred, and how sure that is when blur is asymmetric."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.fringing._colour_field import CENTRE, RADIAL_TERMS
from lensbench.analysers.fringing._field_model import FieldModel
from lensbench.analysers.numerics.random_fields import FieldFit, size_weights
from lensbench.analysers.numerics.smooth_fields import even_fields, smooth_fields, unexplained_square
from lensbench.frame import centre_of, half_diagonal

EVEN_SHIFT = 1000.0
"""How many times as much as another smooth field, on average, a uniform shift must explain to be taken for one
(study: `tests/bench/centres.py`)."""

FARTHER_UNSEEN, FARTHER_SEEN = 1.1, 1.8
"""By how much farther than random fields of the likely sizes a lens's own move the centre: where fields are seen,
one may be larger than the others, from which its size is inferred (study: `tests/bench/centres.py`)."""


def field_centre(model: FieldModel) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The centre (x, y) of a field that is alike in all directions, in pixels, and its standard deviations.

    Coma and lean move the half crossings of each colour in its own way, by fields that are even in the position
    where fringing is odd. How large they are is told by what the best centre leaves; what of them looks like a
    displaced centre is taken back as far as that is known, and counts in the standard deviation otherwise.
    A uniform shift (a wedge) is taken out where it explains far more than any other field would.
    """
    theta, _, chi_squared = _fitted(model, False)
    shifted, square_left, chi_squared_left = _fitted(model, True)
    fields = smooth_fields(np.zeros(2)).shape[-1]
    shift = (chi_squared - chi_squared_left) / 2 > EVEN_SHIFT * max(square_left / fields, 1.0)
    theta = shifted if shift else theta
    free = model.free(RADIAL_TERMS, shift, False)
    blur = model.by_fields(lambda q: even_fields(q - theta[CENTRE]))
    fit = FieldFit(model.jacobian(theta)[:, free], blur, model.residuals(theta))
    weights = size_weights([fit])
    moved = fit.moved(weights)
    unit = half_diagonal(model.size)
    centre = np.asarray(centre_of(model.size)) + unit * (theta[CENTRE] + moved.mean[CENTRE])
    unseen = weights[0] / weights.max()
    farther = unseen * FARTHER_UNSEEN + (1 - unseen) * FARTHER_SEEN
    variance = np.diagonal(moved.by_noise + farther**2 * moved.by_fields)[CENTRE]
    return centre, unit * np.sqrt(variance)


def _fitted(model: FieldModel, shift: bool) -> tuple[NDArray[np.float64], float, float]:
    """The fitted parameters, what smooth fields would explain besides, and χ²."""
    free = model.free(RADIAL_TERMS, shift, False)
    theta = model.solve(np.zeros(model.parameters), free)
    residual = model.residuals(theta)
    square = unexplained_square(model.jacobian(theta)[:, free], residual, model.by_fields(smooth_fields))
    return theta, square, float(residual @ residual)
