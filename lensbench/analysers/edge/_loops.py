"""The loops of the edge fit over samples, bins and cells, compiled (`compiled` says what such loops may use).

A sample is of one channel, beside one of n edges: `edge` says which. It lies at `t` along that edge's nominal
line and `u` across it, in pixels, at `tau` from -1 to 1 of its used length, and in one of the bins of its profile:
`key` is edge · bins + bin.
"""

from __future__ import annotations

import numpy as np

from lensbench.analysers.numerics.jit import compiled

# -- which samples --------------------------------------------------------------------------------------------


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


# -- samples to bins ------------------------------------------------------------------------------------------


@compiled
def to_cell(z, grid):
    """Where a distance in pixels, or an array of them, lies in cells (`edge_profile.GRID`)."""
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
        turn, bend = lines[who, 1], lines[who, 2]
        slope = (turn + 2 * bend * where) * lines[who, 3]
        away = u[i] - lines[who, 0] - (turn + bend * where) * where
        fine = to_cell(away * (1 - 0.5 * slope * slope), grid) * grid[3]
        place = min(max(int(fine), 0), bins - 1)
        key[i] = who * bins + place
        off[i] = (fine - place - 0.5) / grid[3]
    return key, off


@compiled
def unfitted(key, off, light, level, rise):
    """What the light of samples is above profiles; `level` and `rise` (by cell) have shape (n, bins)."""
    level, rise = level.ravel(), rise.ravel()
    rest = np.empty(len(light), np.float32)
    for i in range(len(light)):
        rest[i] = light[i] - level[key[i]] - rise[key[i]] * off[i]
    return rest


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
def usual_size(key, rest, firmness):
    """Mean size of what is unfitted times the firmness of its bin, where there is some, by edge: shape (n,)."""
    n, bins = firmness.shape
    total, count = np.zeros(n), np.zeros(n)
    for i in range(len(key)):
        firm = firmness[key[i] // bins, key[i] % bins]
        if firm > 0:
            total[key[i] // bins] += abs(rest[i]) * firm
            count[key[i] // bins] += 1
    return total / np.maximum(count, 1)


@compiled
def pushes(key, piece, rest, pull, steep, pieces):
    """How hard, and how firmly, samples push each piece of their edge's line forward: two of shape (n, pieces).

    Parameters
    ----------
    pull, steep : ndarray, shape (n, bins)
        Slope over variance, 0 where the slope tells nothing; slope.
    """
    n, bins = pull.shape
    push, grip = np.zeros((n, pieces)), np.zeros((n, pieces))
    pull, steep = pull.ravel(), steep.ravel()
    for i in range(len(key)):
        force = pull[key[i]]
        if force != 0:
            push[key[i] // bins, piece[i]] -= force * rest[i]
            grip[key[i] // bins, piece[i]] += force * steep[key[i]]
    return push, grip


# -- bins to equations ----------------------------------------------------------------------------------------


@compiled
def variances(count, square, level, steep, side, least):
    """Variance of one sample by bin: linear in light between the plateaus, more where a ragged line moves light.

    Parameters
    ----------
    count, square : ndarray, shape (n, bins)
        Samples, and the sum of their squared distances from the profile.
    level, steep : ndarray, shape (n, bins)
        The profile and its slope.
    side : ndarray of int, shape (n, bins)
        -1 far on the dark side, 1 far on the bright, 0 between.
    least : float
        No side's variance is less.
    """
    n, bins = level.shape
    variance = np.empty((n, bins))
    for i in range(n):
        seen, rest = np.zeros(3), np.zeros(3)
        for b in range(bins):
            seen[side[i, b]] += count[i, b]
            rest[side[i, b]] += square[i, b]
        seen = np.maximum(seen - 4, np.maximum(seen / 2, 1))
        dark, white = max(rest[-1] / seen[-1], least), max(rest[1] / seen[1], least)
        excess = lever = 0.0
        for b in range(bins):
            share = min(max(level[i, b], 0.0), 1.0)
            variance[i, b] = dark * (1 - share) + white * share
            if side[i, b] == 0:
                excess += square[i, b] - variance[i, b] * count[i, b]
                lever += steep[i, b] ** 2 * count[i, b]
        jitter = max(excess, 0.0) / max(lever, 1e-12)
        for b in range(bins):
            variance[i, b] += jitter * steep[i, b] ** 2
    return variance


@compiled
def normal_bands(mass, pieces):
    """Normal matrices of profiles as upper bands (`banded`): shape (n, bins) of weights to (n, 4, K).

    Parameters
    ----------
    pieces : ndarray, shape (bins a cell, 4)
        The B-splines over a cell at its bins.
    """
    n, bins = mass.shape
    fine = len(pieces)
    bands = np.zeros((n, 4, bins // fine + 3))
    for i in range(n):
        for b in range(bins):
            if mass[i, b] == 0:
                continue
            cell, piece = b // fine, pieces[b % fine]
            for j in range(4):
                for k in range(j, 4):
                    bands[i, k - j, cell + j] += mass[i, b] * piece[j] * piece[k]
    return bands


@compiled
def equations(count, total, levers, variance, pull, lifted, pieces):
    """The right sides of profiles' normal equations, and what ties turn, bend and unlevel light to them.

    Parameters
    ----------
    count, total : ndarray, shape (n, bins)
        Samples, and how far their light is above the profile in all.
    levers : ndarray, shape (2, n, bins)
        Sums, over the samples, of what a turn and a bend move each forward.
    variance, pull : ndarray, shape (n, bins)
        Of one sample; slope over variance where the slope counts.
    lifted : ndarray, shape (n, 2, bins)
        What a unit of slope and of bend of the light adds.
    pieces : ndarray, shape (bins a cell, 4)
        The B-splines over a cell at its bins.

    Returns
    -------
    right : ndarray, shape (n, K)
        For the change of the coefficients.
    cross : ndarray, shape (n, 4, K)
    lift : ndarray, shape (n, 3, 2)
        Of the light's slope and bend: their own matrix, then their right side.
    """
    n, bins = count.shape
    fine = len(pieces)
    size = bins // fine + 3
    right, cross, lift = np.zeros((n, size)), np.zeros((n, 4, size)), np.zeros((n, 3, 2))
    for i in range(n):
        for b in range(bins):
            if count[i, b] == 0:
                continue
            cell, piece, weight = b // fine, pieces[b % fine], 1 / variance[i, b]
            mass, slope, bend = weight * count[i, b], lifted[i, 0, b], lifted[i, 1, b]
            for j in range(4):
                right[i, cell + j] += weight * total[i, b] * piece[j]
                cross[i, 0, cell + j] -= pull[i, b] * levers[0, i, b] * piece[j]
                cross[i, 1, cell + j] -= pull[i, b] * levers[1, i, b] * piece[j]
                cross[i, 2, cell + j] += mass * slope * piece[j]
                cross[i, 3, cell + j] += mass * bend * piece[j]
            lift[i, 0, 0] += mass * slope * slope
            lift[i, 0, 1] += mass * slope * bend
            lift[i, 1, 1] += mass * bend * bend
            lift[i, 2, 0] += weight * total[i, b] * slope
            lift[i, 2, 1] += weight * total[i, b] * bend
        lift[i, 1, 0] = lift[i, 0, 1]
    return right, cross, lift


# -- light from beyond ----------------------------------------------------------------------------------------


@compiled
def subtended(distance, along, half):
    """Share of an endless edge's far light that a finite one has: (sin θ₂ - sin θ₁) / 2.

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
    """What dark figures keep from places, over the far light's a.

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
def spilt(owner, t, u, around, own, others, seen, profiles, missing, steepness, grid):
    """Light over the ends of edges and over the other edges of their figures, in shares of the contrast.

    Parameters
    ----------
    owner, t, u : ndarray, shape (places,)
        Of which edge a place is, and where.
    around : ndarray, shape (places,)
        What figures around keep from it, over the far light's a.
    own : ndarray, shape (n, 3)
        Each edge's place, half length and far light's a, in pixels.
    others, profiles : ndarray of int, shape (n, 2)
        The figure's other edges, and whose profiles stand for theirs.
    seen : ndarray, shape (n, 2, 2, 3)
        How far beyond each of them a place is, and how far along it: at u = t = 0, by t, by u.
    missing : ndarray, shape (n, bins)
        What each edge's light lacks to white, at distances on its bright side.
    steepness : ndarray, shape (n, bins)
        How much shorter an edge may be for the same share of it, since light fades faster there than far light.
    """
    spill, bins = np.empty(len(t)), missing.shape[1]
    for i in range(len(t)):
        edge = owner[i]
        off = u[i] - own[edge, 0]
        at = min(int(to_cell(abs(off), grid) * grid[3]), bins - 1)
        scale = steepness[edge, at]
        lost = missing[edge, at] * (1 - subtended(off, scale * t[i], scale * own[edge, 1]))
        spill[i] = (lost if off > 0 else -lost) - own[edge, 2] * around[i]
        for k in range(2):
            way, which = seen[edge, k], profiles[edge, k]
            beyond = way[0, 0] + way[0, 1] * t[i] + way[0, 2] * u[i]
            along = way[1, 0] + way[1, 1] * t[i] + way[1, 2] * u[i]
            at = min(max(int(to_cell(-beyond, grid) * grid[3]), 0), bins - 1)
            scale = steepness[which, at]
            spill[i] += missing[which, at] * subtended(beyond, scale * along, scale * own[others[edge, k], 1])
    return spill
