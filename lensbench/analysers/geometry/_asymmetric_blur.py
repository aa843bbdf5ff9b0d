"""How far asymmetric blur (coma, a leaning field), which moves half crossings, may displace a mapping's centre."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.geometry._edge_covariance import EdgeCovariance
from lensbench.analysers.geometry._line_model import LineModel, free_parameters
from lensbench.analysers.geometry._mapping import CENTRE, DECENTRING, INK, LEAN, SCALE, SHIFT, TERMS, TURN
from lensbench.analysers.numerics.random_fields import FieldFit, size_weights
from lensbench.analysers.numerics.smooth_fields import even_fields, smooth_fields, unexplained_square
from lensbench.frame import centre_of, half_diagonal

RESEMBLED = np.r_[CENTRE, DECENTRING, LEAN]
"""The parameters that asymmetric blur resembles."""

FARTHER = 1.4
"""By how much farther than random fields of the likely sizes a lens's own move these: not all of a lens's are of
one size (study: `tests/bench/centres.py`, other seeds)."""

DISGUISE = 1.75
"""How many times farther than an equally large field of random form asymmetric blur moves these: for small sheets
(chosen by experience)."""

LEAST_EDGES = 60
"""Edges of a channel below which it doesn't tell how large such fields are (chosen by experience)."""

EDGES_FOR_THREE_FOLD = 120
"""Edges from which what goes thrice around the circle is fitted besides: four a field (chosen by experience)."""

SURE = 1.0
"""By how many of its standard deviations noise must be exceeded for a smooth field to count (study:
`tests/bench/centres.py`)."""


def moved_by_blur(
    model: LineModel,
    theta: NDArray,
    covariance: EdgeCovariance,
    free: NDArray[np.bool_],
    inverse: NDArray,
    others: Sequence[LineModel],
) -> NDArray[np.float64]:
    """Covariance of the parameters by what asymmetric blur may have moved them by, besides noise.

    Most of its field looks like a displaced centre and a leaning sheet, and can't be seen in the edges of one
    channel. In another channel, with its own focus, it is another one, about as large, and what both differ by
    beyond lateral colour shows in full. Without another channel only what the mapping leaves of its own edges
    tells how large it is, and leaves much open.

    Parameters
    ----------
    model : LineModel
    theta : ndarray
        Its fitted parameters.
    covariance : EdgeCovariance
    free : ndarray of bool
        Which parameters were fitted.
    inverse : ndarray
        Their covariance for edges of unit standard deviation.
    others : sequence of LineModel
        The same tiles in other channels.
    """
    elsewhere = [_seen_in_other(other, theta) for other in others if len(other.lines.leg) >= LEAST_EDGES]
    part = np.zeros((len(theta), len(theta)))
    if elsewhere or len(model.lines.leg) >= LEAST_EDGES:
        own = _field_fit(model, theta, covariance, free)
        moved = own.moved(size_weights(own, elsewhere))
        part[np.ix_(free, free)] = FARTHER**2 * (moved.by_fields + np.outer(moved.mean, moved.mean))
    else:
        square = unexplained(model, theta, covariance, bool(free[DECENTRING].all()))
        part[np.ix_(free, free)] = DISGUISE**2 * square * inverse
    alike = np.zeros(len(theta), bool)
    alike[RESEMBLED] = True
    return np.where(alike[:, None] & alike, part, 0.0)


def _seen_in_other(other: LineModel, theta: NDArray) -> FieldFit:
    """The fields in another channel, about the mapping of the first and a lateral colour alike all round."""
    differing = np.zeros(len(theta), bool)
    differing[np.r_[SCALE, TURN, SHIFT, INK]] = True
    differing[TERMS] = True
    jacobian, residual = other.jacobian_px(theta)[:, differing], other.residual_px(theta)
    covariance = EdgeCovariance.unit(other.lines)
    for _ in range(2):
        used = covariance.used
        step = np.linalg.lstsq(jacobian[used], residual[used], rcond=None)[0]
        covariance = EdgeCovariance.estimated(other.lines, residual - jacobian @ step)
    return _field_fit(other, theta, covariance, differing)


def unexplained(model: LineModel, theta: NDArray, covariance: EdgeCovariance, decentred: bool) -> float:
    """Square sum of the whitened residuals that is a smooth field beyond the mapping's own."""
    free = free_parameters(theta, decentred)
    by_edge = covariance.whitened(model.jacobian_px(theta)[:, free]).reshape(-1, int(free.sum()))
    q = (model.lines.point - centre_of(model.size)) / half_diagonal(model.size)
    fields, aside = (
        covariance.whitened(part).reshape(len(by_edge), -1)
        for part in (_along_normals(model, smooth_fields(q)), _three_fold(model, q))
    )
    return unexplained_square(by_edge, covariance.whitened(model.residual_px(theta)).ravel(), fields, aside, SURE)


def _field_fit(model: LineModel, theta: NDArray, covariance: EdgeCovariance, free: NDArray[np.bool_]) -> FieldFit:
    """The fit of some parameters beside the fields that blur gives."""
    mapping = model.mapping(theta)
    q = (model.lines.point - mapping.centre) / mapping.unit
    parts = (model.jacobian_px(theta)[:, free], _along_normals(model, even_fields(q)), _three_fold(model, q))
    jacobian, fields, aside = (covariance.whitened(part).reshape(-1, part.shape[-1]) for part in parts)
    by_prior = model.priors.jacobian(len(theta))[:, free]
    none = np.zeros((len(by_prior), 1))
    return FieldFit(
        np.concatenate([jacobian, by_prior]),
        np.concatenate([fields, none * fields[:1]]),
        np.concatenate([covariance.whitened(model.residual_px(theta)).ravel(), model.priors.residuals(theta)]),
        np.concatenate([aside, none * aside[:1]]) if covariance.used.sum() >= EDGES_FOR_THREE_FOLD else None,
    )


def _along_normals(model: LineModel, fields: NDArray) -> NDArray[np.float64]:
    return np.einsum("eif,ei->ef", fields, model.lines.normal)


def _three_fold(model: LineModel, q: NDArray) -> NDArray[np.float64]:
    """What asymmetric blur moves half crossings by beyond a displacement: thrice around the circle, smoothly."""
    angle = 3 * np.arctan2(*model.lines.normal.T[::-1])
    both = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return np.einsum("eif,ei->ef", smooth_fields(q), both)
