"""Compiled loops over the samples of a frame: which lie beside edges, and their light.

A sample is of one channel, beside one of n edges: `edge` says which. It lies at `t` along that edge's nominal
line and `u` across it, in pixels.
"""

from __future__ import annotations

import numpy as np

from lensbench.analysers.numerics.jit import compiled


@compiled
def runs_inside(planes, ends, width, first, step):
    """Runs of a sublattice's samples inside convex regions, row by row.

    Parameters
    ----------
    planes : ndarray, shape (regions, 4, 3)
        Half-planes (a, b, c), a x + b y + c ≥ 0 inside.
    ends : ndarray, shape (regions, 2)
        The lowest and the highest y.
    width : int
        Of the frame.
    first, step : (int, int)
        x and y of the sublattice's first sample, and how far apart the samples lie.

    Returns
    -------
    ndarray of int, shape (runs, 4)
        Region, row and first column in the sublattice, how many; none is empty.
    """
    rows = np.zeros((len(planes), 2), np.int64)
    for i in range(len(planes)):
        rows[i, 0] = max(int(np.ceil((ends[i, 0] - first[1]) / step[1])), 0)
        rows[i, 1] = max(int(np.floor((ends[i, 1] - first[1]) / step[1])) + 1, rows[i, 0])
    runs = np.empty((np.sum(rows[:, 1] - rows[:, 0]), 4), np.int64)
    found = 0
    for i in range(len(planes)):
        for row in range(rows[i, 0], rows[i, 1]):
            low, high = 0.0, width - 1.0
            for k in range(4):
                a = planes[i, k, 0]
                rest = planes[i, k, 1] * (first[1] + step[1] * row) + planes[i, k, 2]
                if a > 0:
                    low = max(low, -rest / a)
                elif a < 0:
                    high = min(high, -rest / a)
                elif rest < 0:
                    high = -1.0
            begin = max(int(np.ceil((low - first[0]) / step[0])), 0)
            count = int(np.floor((high - first[0]) / step[0])) - begin + 1
            if count > 0:
                runs[found, 0], runs[found, 1], runs[found, 2], runs[found, 3] = i, row, begin, count
                found += 1
    return runs[:found]


@compiled
def samples_of_runs(runs, owner, axes, samples, first, step):
    """The samples of runs: edge, t, u, and what is stored, each of shape (samples,).

    Parameters
    ----------
    runs : ndarray, shape (runs, 4)
        As `runs_inside` gives them.
    owner : ndarray of int, shape (regions,)
        The edge that each region belongs to.
    axes : ndarray, shape (n, 6)
        x and y of each edge's middle, of the direction along it, and of that across.
    samples : ndarray, shape (rows, columns)
        The sublattice.
    """
    total = np.sum(runs[:, 3])
    edge, stored = np.empty(total, np.int32), np.empty(total, samples.dtype)
    t, u = np.empty(total, np.float32), np.empty(total, np.float32)
    i = 0
    for region, row, begin, count in runs:
        who = owner[region]
        x, y, along_x, along_y, normal_x, normal_y = axes[who]
        dy = first[1] + step[1] * row - y
        for column in range(begin, begin + count):
            dx = first[0] + step[0] * column - x
            edge[i], stored[i] = who, samples[row, column]
            t[i], u[i] = along_x * dx + along_y * dy, normal_x * dx + normal_y * dy
            i += 1
    return edge, t, u, stored


@compiled
def summed_in_blocks(edge, t, u, light, clear, extent, blocks):
    """How many samples there are in each block beside an edge, the sums of their t, u and light.

    Parameters
    ----------
    clear : ndarray, shape (n, 4)
        What is clear of all else: u from, u to, t from, t to.
    extent : ndarray, shape (n, 2)
        Half the length along the edge, and the depth beside it, that the blocks divide.
    blocks : int
        Along, and across.

    Returns
    -------
    ndarray, shape (4, n, blocks, blocks)
    """
    sums = np.zeros((4, len(clear), blocks, blocks))
    for i in range(len(edge)):
        who = edge[i]
        if clear[who, 0] < u[i] < clear[who, 1] and clear[who, 2] < t[i] < clear[who, 3]:
            along = min(max(int((t[i] / extent[who, 0] + 1) * (blocks / 2)), 0), blocks - 1)
            across = min(max(int(u[i] / extent[who, 1] * blocks), 0), blocks - 1)
            sums[0, who, along, across] += 1
            sums[1, who, along, across] += t[i]
            sums[2, who, along, across] += u[i]
            sums[3, who, along, across] += light[i]
    return sums


@compiled
def moments(columns, weight, group, n):
    """Weighted sums of the products of columns, shape (points, k), over the points of each group: (n, k, k)."""
    k = columns.shape[1]
    sums = np.zeros((n, k, k))
    for p in range(len(columns)):
        for i in range(k):
            for j in range(i, k):
                sums[group[p], i, j] += weight[p] * columns[p, i] * columns[p, j]
    for i in range(k):
        for j in range(i):
            sums[:, i, j] = sums[:, j, i]
    return sums


@compiled
def in_contrasts(edge, t, u, light, shape, levels):
    """The samples' light from 0 on the dark side to 1 on the bright, were it as level as at their edge's middle.

    Parameters
    ----------
    shape : ndarray, shape (n, 5)
        Derivatives of ln light by t, u, tt, tu, uu.
    levels : ndarray, shape (n, 2)
        Dark and white.
    """
    share = np.empty(len(light), np.float32)
    for i in range(len(light)):
        who = edge[i]
        by_t = shape[who, 0] + 0.5 * shape[who, 2] * t[i] + shape[who, 3] * u[i]
        by_u = shape[who, 1] + 0.5 * shape[who, 4] * u[i]
        level = light[i] / np.exp(min(max(by_t * t[i] + by_u * u[i], -2.0), 2.0))
        share[i] = (level - levels[who, 0]) / (levels[who, 1] - levels[who, 0])
    return share
