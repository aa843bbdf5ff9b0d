"""Compiled loops from samples to the bins of their edges' profiles, and to pieces and cells along the edges.

A sample lies at `tau` from -1 to 1 of its edge's used length and `u` across, in pixels, and in one of the bins of
its profile: `key` is edge · bins + bin.
"""

from __future__ import annotations

import numpy as np

from lensbench.analysers.numerics.jit import compiled


@compiled
def to_cell(z, grid):
    """Where a distance in pixels, or an array of them, lies in cells (`GRID` of `_profile`)."""
    spacing, stretch, cells, _ = grid
    x = z / stretch
    return (2 / spacing) * z / (1 + np.sqrt(1 + x * x)) + cells


@compiled
def placed(edge, tau, u, lines, grid, bins):
    """The key of samples, and how far each lies from its bin's middle, in cells.

    Parameters
    ----------
    lines : ndarray, shape (n, 4)
        a, b, c, one over half the length: the edges are u = a + b τ + c τ².
    """
    key, off = np.empty(len(u), np.int32), np.empty(len(u), np.float32)
    for i in range(len(u)):
        who, where = edge[i], tau[i]
        turn, curvature = lines[who, 1], lines[who, 2]
        slope = (turn + 2 * curvature * where) * lines[who, 3]
        away = u[i] - lines[who, 0] - (turn + curvature * where) * where
        fine = to_cell(away * (1 - 0.5 * slope * slope), grid) * grid[3]
        place = min(max(int(fine), 0), bins - 1)
        key[i] = who * bins + place
        off[i] = (fine - place - 0.5) / grid[3]
    return key, off


@compiled
def residuals(key, off, light, level, rise):
    """What the light of samples is above profiles; `level` and `rise` (by cell) have shape (n, bins)."""
    level, rise = level.ravel(), rise.ravel()
    residual = np.empty(len(light), np.float32)
    for i in range(len(light)):
        residual[i] = light[i] - level[key[i]] - rise[key[i]] * off[i]
    return residual


@compiled
def binned(key, light, n, bins):
    """How many samples, their light and its square in each bin, shape (3, n, bins)."""
    sums = np.zeros((3, n * bins))
    for i in range(len(key)):
        sums[0, key[i]] += 1
        sums[1, key[i]] += light[i]
        sums[2, key[i]] += light[i] * light[i]
    return sums.reshape(3, n, bins)


@compiled
def binned_along(key, piece, light, shapes, n, bins):
    """As `binned`, then the sums of two shapes at the samples' pieces along their edge: shape (5, n, bins).

    Parameters
    ----------
    piece : ndarray of int, shape (samples,)
    shapes : ndarray, shape (2, pieces)
    """
    sums = np.zeros((5, n * bins))
    for i in range(len(key)):
        k, value = key[i], light[i]
        sums[0, k] += 1
        sums[1, k] += value
        sums[2, k] += value * value
        sums[3, k] += shapes[0, piece[i]]
        sums[4, k] += shapes[1, piece[i]]
    return sums.reshape(5, n, bins)


@compiled
def cells_of(key, tau, across, along):
    """Which cell samples lie in: cells along their edge within those across it, within edges.

    Parameters
    ----------
    across : ndarray of int, shape (bins,)
        Which of the cells across an edge a bin lies in; the last in the last.
    along : int
        How many there are along it.
    """
    bins, many = len(across), across[-1] + 1
    cell = np.empty(len(key), np.int32)
    for i in range(len(key)):
        edge = key[i] // bins
        place = min(max(int((tau[i] + 1) * 0.5 * along), 0), along - 1)
        cell[i] = (edge * many + across[key[i] - edge * bins]) * along + place
    return cell


@compiled
def binned_by_cell(key, cell, value, n, bins):
    """Σ value[cell] of the samples in each bin, shape (n, bins)."""
    total, value = np.zeros(n * bins), value.ravel()
    for i in range(len(key)):
        total[key[i]] += value[cell[i]]
    return total.reshape(n, bins)


@compiled
def places_by_cell(cell, t, u, cells):
    """How many samples there are in each cell, and the sums of their t and u, shape (3, cells)."""
    sums = np.zeros((3, cells))
    for i in range(len(cell)):
        sums[0, cell[i]] += 1
        sums[1, cell[i]] += t[i]
        sums[2, cell[i]] += u[i]
    return sums


@compiled
def within(key, off, limit):
    """Which samples are off by less than the root of their bin's limit, shape (samples,)."""
    good, limit = np.empty(len(key), np.bool_), limit.ravel()
    for i in range(len(key)):
        good[i] = off[i] * off[i] < limit[key[i]]
    return good


@compiled
def mean_size(key, residual, weight):
    """Mean size of residuals times the weight of their bin, where that has one, by edge: shape (n,)."""
    n, bins = weight.shape
    total, count = np.zeros(n), np.zeros(n)
    for i in range(len(key)):
        scale = weight[key[i] // bins, key[i] % bins]
        if scale > 0:
            total[key[i] // bins] += abs(residual[i]) * scale
            count[key[i] // bins] += 1
    return total / np.maximum(count, 1)


@compiled
def line_scores(key, piece, residual, slope_weight, slope, pieces):
    """Scores of the likelihood for moving each piece of an edge's line forward, and their information.

    Parameters
    ----------
    slope_weight, slope : ndarray, shape (n, bins)
        Slope over variance, 0 where the slope tells nothing; slope.

    Returns
    -------
    score, information : ndarray, shape (n, pieces)
    """
    n, bins = slope_weight.shape
    score, information = np.zeros((n, pieces)), np.zeros((n, pieces))
    slope_weight, slope = slope_weight.ravel(), slope.ravel()
    for i in range(len(key)):
        by_sample = slope_weight[key[i]]
        if by_sample != 0:
            score[key[i] // bins, piece[i]] -= by_sample * residual[i]
            information[key[i] // bins, piece[i]] += by_sample * slope[key[i]]
    return score, information


@compiled
def block_sums(key, piece, residual, strip, weight, information, strips, pieces):
    """Weighted residuals and their information in blocks beside edges, shape (2, n, strips, pieces).

    Parameters
    ----------
    strip : ndarray of int, shape (n, bins)
        The strip that a bin lies in; -1 for none.
    weight, information : ndarray, shape (n, bins)
        Of each sample in a bin.
    """
    n, bins = strip.shape
    sums = np.zeros((2, n, strips, pieces))
    for i in range(len(key)):
        edge = key[i] // bins
        place = key[i] - edge * bins
        which = strip[edge, place]
        if which >= 0:
            sums[0, edge, which, piece[i]] += weight[edge, place] * residual[i]
            sums[1, edge, which, piece[i]] += information[edge, place]
    return sums
