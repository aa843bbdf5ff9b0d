"""Where each colour's fringing is centred, and how sure that is when blur is asymmetric."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

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

FARTHER, FARTHER_ALONE = 1.2, 1.6
"""By how much farther than random fields of the likely sizes a lens's own move the centre, since not all of these
are of one size: where another colour tells of that too, and where none does (studies: `tests/bench/centres.py` and
`tests/analysers/fringing/test_asymmetric_blur.py`)."""


class FieldCentre(NamedTuple):
    """Where a colour's fringing is centred (x, y), in pixels, and its standard deviations, shape (2,) each."""

    position: NDArray[np.float64]
    sigma: NDArray[np.float64]


def field_centres(models: Sequence[FieldModel]) -> list[FieldCentre]:
    """The centre of each colour's field, were it alike in all directions.

    Coma and lean move the half crossings of each colour in its own way, by fields that are even in the position
    where fringing is odd. How large they are is told by what the best centre leaves, in this colour and in the
    other, whose fields are about as large; what of them looks like a displaced centre is taken back as far as that
    is known, and counts in the standard deviation otherwise. A uniform shift (a wedge) is taken out where it
    explains far more than any other field would.

    Parameters
    ----------
    models : sequence of FieldModel
        Those of the colours of one shot.
    """
    fits = [_centred(model) for model in models]
    centres = []
    for i, (model, (theta, fit)) in enumerate(zip(models, fits, strict=True)):
        others = [other for j, (_, other) in enumerate(fits) if j != i]
        moved = fit.moved(size_weights(fit, others))
        unit = half_diagonal(model.size)
        position = np.asarray(centre_of(model.size)) + unit * (theta + moved.mean)[CENTRE]
        farther = FARTHER if others else FARTHER_ALONE
        variance = np.diagonal(moved.by_noise + farther**2 * moved.by_fields)[CENTRE]
        centres.append(FieldCentre(position, unit * np.sqrt(variance)))
    return centres


def _centred(model: FieldModel) -> tuple[NDArray[np.float64], FieldFit]:
    """The parameters of the best centre that are fitted, and their fit beside the fields that blur gives."""
    theta, _, chi_squared = _fitted(model, False)
    shifted, square_left, chi_squared_left = _fitted(model, True)
    fields = smooth_fields(np.zeros(2)).shape[-1]
    shift = (chi_squared - chi_squared_left) / 2 > EVEN_SHIFT * max(square_left / fields, 1.0)
    theta = shifted if shift else theta
    free = model.free(RADIAL_TERMS, shift, False)
    blur = model.by_fields(lambda q: even_fields(q - theta[CENTRE]))
    return theta[free], FieldFit(model.jacobian(theta)[:, free], blur, model.residuals(theta))


def _fitted(model: FieldModel, shift: bool) -> tuple[NDArray[np.float64], float, float]:
    """The fitted parameters, what smooth fields would explain besides, and χ²."""
    free = model.free(RADIAL_TERMS, shift, False)
    theta = model.solve(np.zeros(model.parameters), free)
    residual = model.residuals(theta)
    square = unexplained_square(model.jacobian(theta)[:, free], residual, model.by_fields(smooth_fields))
    return theta, square, float(residual @ residual)
