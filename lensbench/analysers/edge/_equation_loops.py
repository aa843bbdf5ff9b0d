"""Compiled loops from the bins of edges' profiles to the normal equations of their fit."""

from __future__ import annotations

import numpy as np

from lensbench.analysers.numerics.jit import compiled


@compiled
def variances(count, square, level, slope, side, least):
    """Variance of one sample by bin: linear in light between the plateaus, more where a ragged line moves light.

    Parameters
    ----------
    count, square : ndarray, shape (n, bins)
        Samples, and the sum of their squared distances from the profile.
    level, slope : ndarray, shape (n, bins)
        The profile and its slope by pixels.
    side : ndarray of int, shape (n, bins)
        -1 far on the dark side, 1 far on the bright, 0 between.
    least : float
        No side's variance is less.
    """
    n, bins = level.shape
    variance = np.empty((n, bins))
    for i in range(n):
        freedom, residual = np.zeros(3), np.zeros(3)
        for b in range(bins):
            freedom[side[i, b]] += count[i, b]
            residual[side[i, b]] += square[i, b]
        freedom = np.maximum(freedom - 4, np.maximum(freedom / 2, 1))
        dark, white = max(residual[-1] / freedom[-1], least), max(residual[1] / freedom[1], least)
        excess = squared = 0.0
        for b in range(bins):
            share = min(max(level[i, b], 0.0), 1.0)
            variance[i, b] = dark * (1 - share) + white * share
            if side[i, b] == 0:
                excess += square[i, b] - variance[i, b] * count[i, b]
                squared += slope[i, b] ** 2 * count[i, b]
        jitter = max(excess, 0.0) / max(squared, 1e-12)
        for b in range(bins):
            variance[i, b] += jitter * slope[i, b] ** 2
    return variance


@compiled
def normal_bands(weight, pieces):
    """Normal matrices of profiles as upper bands (`banded`): shape (n, bins) of weights to (n, 4, K).

    Parameters
    ----------
    pieces : ndarray, shape (bins a cell, 4)
        The B-splines over a cell at its bins.
    """
    n, bins = weight.shape
    fine = len(pieces)
    bands = np.zeros((n, 4, bins // fine + 3))
    for i in range(n):
        for b in range(bins):
            if weight[i, b] == 0:
                continue
            cell, piece = b // fine, pieces[b % fine]
            for j in range(4):
                for k in range(j, 4):
                    bands[i, k - j, cell + j] += weight[i, b] * piece[j] * piece[k]
    return bands


@compiled
def equations(count, total, levers, variance, slope_weight, by_gradient, pieces):
    """The right sides of profiles' normal equations, and what ties turn, curvature and the light to them.

    Parameters
    ----------
    count, total : ndarray, shape (n, bins)
        Samples, and how far their light is above the profile in all.
    levers : ndarray, shape (2, n, bins)
        Sums, over the samples, of what a turn and a curvature move each forward.
    variance, slope_weight : ndarray, shape (n, bins)
        Of one sample; slope over variance where the slope counts.
    by_gradient : ndarray, shape (n, 2, bins)
        What a unit of the light's gradient and of its curvature adds.
    pieces : ndarray, shape (bins a cell, 4)
        The B-splines over a cell at its bins.

    Returns
    -------
    right : ndarray, shape (n, K)
        For the change of the coefficients.
    cross : ndarray, shape (n, 4, K)
    gradient : ndarray, shape (n, 3, 2)
        Of the light's gradient and curvature: their own matrix, then their right side.
    """
    n, bins = count.shape
    fine = len(pieces)
    size = bins // fine + 3
    right, cross, gradient = np.zeros((n, size)), np.zeros((n, 4, size)), np.zeros((n, 3, 2))
    for i in range(n):
        for b in range(bins):
            if count[i, b] == 0:
                continue
            cell, piece, weight = b // fine, pieces[b % fine], 1 / variance[i, b]
            first, second = by_gradient[i, 0, b], by_gradient[i, 1, b]
            weight_of_all = weight * count[i, b]
            for j in range(4):
                right[i, cell + j] += weight * total[i, b] * piece[j]
                cross[i, 0, cell + j] -= slope_weight[i, b] * levers[0, i, b] * piece[j]
                cross[i, 1, cell + j] -= slope_weight[i, b] * levers[1, i, b] * piece[j]
                cross[i, 2, cell + j] += weight_of_all * first * piece[j]
                cross[i, 3, cell + j] += weight_of_all * second * piece[j]
            gradient[i, 0, 0] += weight_of_all * first * first
            gradient[i, 0, 1] += weight_of_all * first * second
            gradient[i, 1, 1] += weight_of_all * second * second
            gradient[i, 2, 0] += weight * total[i, b] * first
            gradient[i, 2, 1] += weight * total[i, b] * second
        gradient[i, 1, 0] = gradient[i, 0, 1]
    return right, cross, gradient
