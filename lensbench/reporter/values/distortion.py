"""Distortion as a mapping of the frame, and by how much it is enlarged in a drawing."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.findings import Distortion
from lensbench.reporter.values.figures import nice_floor

_SHOWN = 0.07
"""How far the grid's corners are moved in the drawing, in half-diagonals."""

_LEAST = 0.001
"""Distortion below this (in half-diagonals) is not enlarged more than if it were this."""


def relative_displacement(distortion: Distortion, h_squared: ArrayLike) -> NDArray:
    """How much farther out a point lies than a lens without distortion puts it, as a share of its distance.

    Parameters
    ----------
    distortion : Distortion
        Its terms are those of ideal h over h, in even powers.
    h_squared : array_like
        Squared distance from the distortion's centre, in half-diagonals.
    """
    square = np.asarray(h_squared, float)
    ratio = np.ones_like(square)
    for power, term in enumerate(distortion.terms, start=1):
        ratio += term.value * square**power
    return 1 / ratio - 1


def distortion_scale(distortion: Distortion) -> float:
    """How many times its size distortion is drawn: a round number, never less than once."""
    corner = abs(float(relative_displacement(distortion, 1.0)))
    return max(nice_floor(_SHOWN / max(corner, _LEAST)), 1.0)
