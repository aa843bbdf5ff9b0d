"""Fitting a shot's mapping to its edges: robustly, with as many terms of distortion as the edges support."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.geometry._asymmetric_blur import moved_by_blur, unexplained
from lensbench.analysers.geometry._edge_covariance import EdgeCovariance
from lensbench.analysers.geometry._line_model import LineModel, free_parameters
from lensbench.analysers.geometry._lines import Lines, PrintedLines
from lensbench.analysers.geometry._mapping import (
    DISTANCE,
    SCALE,
    SHIFT,
    TURN,
    WITHOUT_TERMS,
    turn_matrix,
)
from lensbench.analysers.geometry._mapping_fit import MappingFit
from lensbench.analysers.geometry._priors import SHEET_PRIORS, Priors
from lensbench.analysers.geometry._rulers import Rulers
from lensbench.analysers.numerics.smooth_fields import smooth_fields
from lensbench.errors import BenchError
from lensbench.frame import centre_of, half_diagonal
from lensbench.target.layout import Layout

MOST_TERMS = 8
"""Terms of the distortion polynomial at most; as many are kept as the edges support.

Eight follow a smooth distortion that draws the corners at 0.5 to 1.3 of their size to 0.003 % of the half-diagonal
(study: `tests/bench/geometry.py`, ``--lines``).
"""

FIRST_TERMS = 3
"""Terms of the first fits, from the rough start (chosen by experience)."""

TILES_A_TERM = 12
"""Tiles that each term of distortion needs, lest the curve oscillates between them (study:
`tests/bench/geometry.py`, ``--small``)."""

LEAST_EDGES = 30
"""Edges below which no mapping is fitted."""

TERM_GAIN = 3.0
"""By how much one more term of distortion must lower χ² to be kept (between Akaike's 2 and Schwarz's ln n): with
too few terms the intervals are too narrow (study: `tests/bench/geometry.py`)."""

CENTRE_PARAMETERS = 2
"""Parameters that the first term of distortion brings with it: without distortion there is no centre of it."""

CHOICE_SHARE = 1 / 3
"""Share of the change by the additional term that counts as a standard deviation, for the choice of the number of
terms by the same edges (study: `tests/bench/geometry.py`, ``--hold``)."""

DECENTRING_GAIN = 80.0
"""By how much decentring must lower χ² to be kept, over what one smooth field of another form does (noise: 1): it
is nearly collinear with a displaced centre (study: `tests/bench/centres.py`)."""


def fit_mapping(
    lines: Lines,
    layout: Layout,
    size: tuple[int, int],
    rulers: Rulers,
    mirrored: bool = False,
    distance: tuple[float, float] | None = None,
    others: Sequence[Lines] = (),
) -> MappingFit:
    """Fit the mapping of a frame to the sheet.

    Parameters
    ----------
    lines : Lines
        The measured edges, in one channel.
    layout : Layout
        The target as designed.
    size : (int, int)
        Width and height of the frame in pixels.
    rulers : Rulers
        The print's scale.
    mirrored : bool
        Whether the sheet was seen from its back.
    distance : (float, float), optional
        The image distance over the pupil ratio, in half-diagonals, and its relative standard deviation.
    others : sequence of Lines
        The same shot's edges in other channels: what they differ by tells how far asymmetric blur moves edges.

    Returns
    -------
    MappingFit

    Raises
    ------
    BenchError
        Where there are too few edges.
    """
    if len(lines.leg) < LEAST_EDGES:
        raise BenchError(
            f"only {len(lines.leg)} edges of the target could be measured, and {LEAST_EDGES} are needed to find "
            "its size and shape. Fill the frame with the target and focus on it."
        )
    printed = PrintedLines.of(lines, layout, mirrored)
    model = LineModel(lines, printed, size, rulers.factor, Priors.of(rulers, distance))
    most = int(np.clip((lines.tile.max() + 1) // TILES_A_TERM, 1, MOST_TERMS))
    theta = _full_fit(model, most)
    covariance = EdgeCovariance.estimated(lines, model.residual_px(theta))
    theta, decentred = _simplest(model, theta, covariance, most)
    theta, choice, fitted = _with_one_more_term(model, theta, covariance, decentred, most)
    in_others = [replace(model, lines=part, printed=PrintedLines.of(part, layout, mirrored)) for part in others]
    return _with_covariance(model, theta, covariance, decentred, choice, fitted, in_others)


def _full_fit(model: LineModel, most_terms: int) -> NDArray[np.float64]:
    """All parameters, with the most terms of distortion, from a rough start."""
    theta = _rough_start(model)
    unit = EdgeCovariance.unit(model.lines)
    first = min(FIRST_TERMS, most_terms)
    # With too few terms the centre would be displaced far: it is held until the terms follow the distortion.
    for terms, robust, centred in ((first, False, True), (first, False, False), (most_terms, True, False)):
        theta = _with_terms(theta, terms)
        theta = model.solve(theta, unit, free_parameters(theta, False, centred), robust)
    for _ in range(2):
        covariance = EdgeCovariance.estimated(model.lines, model.residual_px(theta))
        theta = model.solve(theta, covariance, free_parameters(theta, True))
    return theta


def _rough_start(model: LineModel) -> NDArray[np.float64]:
    """Scale, turn and shift from the edges' middles (a similarity transform); no tilt, no distortion."""
    q = (model.lines.point - centre_of(model.size)) / half_diagonal(model.size)
    x, y = (q - q.mean(axis=0)).T
    sheet = model.printed.point * model.print_scale
    u, v = (sheet - sheet.mean(axis=0)).T
    square = (x * x + y * y).sum()
    real, imaginary = (x * u + y * v).sum() / square, (x * v - y * u).sum() / square
    theta = np.zeros(WITHOUT_TERMS)
    theta[SCALE] = np.log(np.hypot(real, imaginary))
    theta[TURN] = np.arctan2(imaginary, real)
    turned = q @ turn_matrix(theta[TURN]) * np.exp(theta[SCALE])
    theta[SHIFT] = np.median(sheet - turned, axis=0)
    theta[DISTANCE] = model.priors.expected[-1]
    return theta


def _with_terms(theta: NDArray, terms: int) -> NDArray[np.float64]:
    """The same parameters with more or fewer terms of distortion."""
    kept = np.zeros(WITHOUT_TERMS + terms)
    kept[: min(len(theta), len(kept))] = theta[: len(kept)]
    return kept


def _simplest(
    model: LineModel, theta: NDArray, covariance: EdgeCovariance, most_terms: int
) -> tuple[NDArray[np.float64], bool]:
    """As many terms of distortion as the edges support, none perhaps, and whether decentring is a parameter."""
    straight = np.append(theta[:WITHOUT_TERMS], 0.0)
    held = free_parameters(straight, False, centred=True)
    held[WITHOUT_TERMS] = False
    straight = model.solve(straight, covariance, held)
    trial = straight[:WITHOUT_TERMS]
    trials = [(model.chi_squared(straight, covariance), 0, trial)]
    for terms in range(1, most_terms + 1):
        # All but the distortion starts from the full fit again: with too few terms the rest may diverge.
        start = np.concatenate([theta[:WITHOUT_TERMS], _with_terms(trial, terms)[WITHOUT_TERMS:]])
        trial = model.solve(start, covariance, free_parameters(start, False))
        cost = model.chi_squared(trial, covariance) + TERM_GAIN * (terms + CENTRE_PARAMETERS)
        trials.append((cost, terms, trial))
        if terms > min(trials)[1] + 2:
            break
    cost, terms, best = min(trials)
    if terms == 0:
        # Decentring displaces without distortion too, about the centre of the first term.
        terms, start = 1, trials[1][2]
    else:
        start = best
    decentred = model.solve(start, covariance, free_parameters(start, True))
    # Coma and lean leave smooth fields of all forms: decentring has to explain far more than its share of them.
    others = unexplained(model, decentred, covariance, True) / smooth_fields(np.zeros(2)).shape[-1]
    penalty = TERM_GAIN * (terms + CENTRE_PARAMETERS) + DECENTRING_GAIN * max(others, 1.0)
    return (decentred, True) if model.chi_squared(decentred, covariance) + penalty < cost else (best, False)


def _with_one_more_term(
    model: LineModel, theta: NDArray, covariance: EdgeCovariance, decentred: bool, most_terms: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    """The fit with one more term than the edges call for, a standard deviation of the choice, and what was fitted.

    The number is chosen by the edges that are fitted, so the fit with just that many terms has intervals that are
    too narrow: the next term may be there and hidden by noise. Where the tiles do not support another term, it
    stays 0, and the change by it counts in full where χ² calls for it (a truncation error): of all terms
    together, since the lower ones change by much more than the curve does. The last value tells how many
    parameters, from the first on, the edges were fitted with.
    """
    terms = len(theta) - WITHOUT_TERMS
    start = _with_terms(theta, terms + 1)
    more = model.solve(start, covariance, free_parameters(start, decentred))
    if terms < most_terms:
        return more, CHOICE_SHARE * (more - start), len(more)
    gain = model.chi_squared(theta, covariance) - model.chi_squared(more, covariance)
    return start, more - start if gain >= TERM_GAIN else np.zeros_like(start), len(theta)


def _with_covariance(
    model: LineModel,
    theta: NDArray,
    covariance: EdgeCovariance,
    decentred: bool,
    choice: NDArray,
    fitted: int,
    others: Sequence[LineModel],
) -> MappingFit:
    """The fit with its covariance; that of the edges from how tiles do scatter (a sandwich clustered by tile).

    `choice` is the standard deviation of all parameters together that the number of terms leaves, `fitted` how
    many of them were fitted, `others` the models of other channels.
    """
    residual = model.residual_px(theta)
    free = free_parameters(theta, decentred)
    free[fitted:] = False
    by_edge = covariance.whitened(model.jacobian_px(theta)[:, free])
    by_prior = model.priors.jacobian(len(theta))[:, free]
    inverse = _inverse_square(np.concatenate([by_edge.reshape(-1, free.sum()), by_prior]))
    score = np.einsum("tip,ti->tp", by_edge, covariance.whitened(residual))
    tiles, edges = len(score), int(covariance.used.sum())
    small_sample = tiles / max(tiles - 1, 1) * (edges - 1) / max(edges - int(free.sum()), 1)
    own, shared = np.zeros((2, len(theta), len(theta)))
    own[np.ix_(free, free)] = small_sample * inverse @ (score.T @ score) @ inverse
    own += np.outer(choice, choice)
    shared[np.ix_(free, free)] = inverse @ (by_prior.T @ by_prior) @ inverse
    mapping = model.mapping(theta)
    q = (model.lines.point[covariance.used] - mapping.centre) / mapping.unit
    return MappingFit(
        mapping=mapping,
        own=own,
        blur=moved_by_blur(model, theta, covariance, free, inverse, others),
        shared=shared,
        used=covariance.used,
        residual=residual,
        reach=float(np.hypot(*q.T).max()),
        sheet_deviation=float(np.abs(model.priors.residuals(theta)[SHEET_PRIORS]).max()),
    )


def _inverse_square(jacobian: NDArray) -> NDArray[np.float64]:
    """The inverse of JᵀJ by a QR decomposition, without forming that product."""
    size = np.linalg.norm(jacobian, axis=0)
    _, upper = np.linalg.qr(jacobian / size)
    back = np.linalg.inv(upper) / size[:, None]
    return back @ back.T
