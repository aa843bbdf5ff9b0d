"""Compiled loops over places beside edges: the light that other edges and other figures bring there."""

from __future__ import annotations

import numpy as np

from lensbench.analysers.numerics.jit import compiled


@compiled
def _to_cell(z, grid):
    """Where a distance in pixels lies in cells: `to_cell` of the bins, since loops use nothing of other files."""
    spacing, stretch, cells, _ = grid
    x = z / stretch
    return (2 / spacing) * z / (1 + np.sqrt(1 + x * x)) + cells


@compiled
def subtended(distance, along, half):
    """Share of an endless edge's tail light that a finite one has: (sin θ₂ - sin θ₁) / 2.

    Parameters
    ----------
    distance, along : float or ndarray
        From the edge's line, and along it from the edge's middle; not 0 both at an end.
    half : float or ndarray
        Half of the edge's length.
    """
    square = distance * distance
    before, after = half + along, half - along
    return 0.5 * (before / np.sqrt(before * before + square) + after / np.sqrt(after * after + square))


@compiled
def kept_by_figures(sides, points, owner, at):
    """What dark figures keep from places, over the tail light's a.

    Parameters
    ----------
    sides : ndarray, shape (n, sides, 7)
        Of the figures that are seen whole: x and y of each side's middle, of the directions along and outward,
        half its length. NaN: none.
    points : ndarray, shape (n, points, 3)
        Figures farther off: where, and a quarter of twice the area. NaN: none.
    owner : ndarray of int, shape (places,)
        Which of n sets of figures each place has around it.
    at : ndarray, shape (places, 2)
    """
    kept = np.zeros(len(at))
    for i in range(len(at)):
        x, y, who, total = at[i, 0], at[i, 1], owner[i], 0.0
        for k in range(sides.shape[1]):
            dx, dy = x - sides[who, k, 0], y - sides[who, k, 1]
            d = dx * sides[who, k, 4] + dy * sides[who, k, 5]
            if np.isfinite(d):
                t = dx * sides[who, k, 2] + dy * sides[who, k, 3]
                total += subtended(d, t, sides[who, k, 6]) * d / max(d * d, 1.0)
        for k in range(points.shape[1]):
            square = (x - points[who, k, 0]) ** 2 + (y - points[who, k, 1]) ** 2
            if np.isfinite(square):
                total += points[who, k, 2] / (square * np.sqrt(square))
        kept[i] = total
    return kept


@compiled
def crosstalk(owner, t, u, around, own, others, seen, profiles, missing, stretch, grid):
    """Light over the ends of edges and over the other edges of their figures, in shares of the contrast.

    Parameters
    ----------
    owner, t, u : ndarray, shape (places,)
        Of which edge a place is, and where.
    around : ndarray, shape (places,)
        What figures around keep from it, over the tail light's a.
    own : ndarray, shape (n, 3)
        Each edge's place, half length and tail light's a, in pixels.
    others, profiles : ndarray of int, shape (n, 2)
        The figure's other edges, and whose profiles stand for theirs.
    seen : ndarray, shape (n, 2, 2, 3)
        How far beyond each of them a place is, and how far along it: at u = t = 0, by t, by u.
    missing : ndarray, shape (n, bins)
        What each edge's light lacks to white, at distances on its bright side.
    stretch : ndarray, shape (n, bins)
        How much shorter an edge may be for the same share of it, since light fades faster there than tail light.
    """
    light, bins = np.empty(len(t)), missing.shape[1]
    for i in range(len(t)):
        edge = owner[i]
        off = u[i] - own[edge, 0]
        at = min(int(_to_cell(abs(off), grid) * grid[3]), bins - 1)
        scale = stretch[edge, at]
        lost = missing[edge, at] * (1 - subtended(off, scale * t[i], scale * own[edge, 1]))
        light[i] = (lost if off > 0 else -lost) - own[edge, 2] * around[i]
        for k in range(2):
            way, which = seen[edge, k], profiles[edge, k]
            beyond = way[0, 0] + way[0, 1] * t[i] + way[0, 2] * u[i]
            along = way[1, 0] + way[1, 1] * t[i] + way[1, 2] * u[i]
            at = min(max(int(_to_cell(-beyond, grid) * grid[3]), 0), bins - 1)
            scale = stretch[which, at]
            light[i] += missing[which, at] * subtended(beyond, scale * along, scale * own[others[edge, k], 1])
    return light
