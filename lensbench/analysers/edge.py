"""One slanted edge, or a thousand: where it lies and how it carries contrast.

Each sample of one channel is taken where it lies, at a signed distance from a line that may bend; a smooth
profile (`edge_profile`) and the line are fitted to them by turns until both stand, weighted by the noise found on
this very edge. The response is the exact transform of the fitted profile: no bins to be empty, no window to
cut the tails, and the intervals follow from the fit.

Position is where the profile crosses half way between the plateaus, averaged along the edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers import edge_profile as profile
from lensbench.analysers.edge_places import EdgePlaces, blade_places, tile_edges
from lensbench.analysers.edge_samples import EdgeSamples, gather, usable_span
from lensbench.shot import Shot

__all__ = ["FREQUENCY", "EdgePlaces", "EdgeResponses", "blade_places", "measure_edges", "tile_edges"]

FREQUENCY = (np.arange(65) / 64) ** 2
"""Frequencies of the response curves in cycles a pixel, 0 to 1."""

GAUSSIAN_MTF50 = np.sqrt(np.log(2) / 2) / np.pi
"""MTF50 times standard deviation of a Gaussian blur; any edge's "blur width" is this over its MTF50."""

WINDOW = 16.0
"""How far the samples go to each side, in blur widths (where the sheet allows)."""

MARGIN = 4.5
"""How far the samples stay from other edges, in blur widths."""

CHUNK = 48
"""Edges that go through the arithmetic together: their samples fit a core's cache."""


@dataclass(frozen=True, eq=False)
class EdgeResponses:
    """What one channel shows at n edges, in the order of the places; NaN where `why` says it is not measurable.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        Middle of the edge, on the measured line.
    normal : ndarray, shape (n, 2)
        Unit vector across the edge, towards the bright side, at the middle.
    angle_deg : ndarray, shape (n,)
        The way the edge runs, anticlockwise as seen from x right, 0 to 180.
    offset_px, offset_sigma_px : ndarray, shape (n,)
        How far the measured line (where the profile crosses half, averaged along the used length) lies from the
        nominal middle along the nominal normal, positive towards bright; its standard deviation.
    bend_px : ndarray, shape (n,)
        How far the line's ends stand off from its middle, over the used length, positive towards bright.
    length_px : ndarray, shape (n,)
        The used length.
    mtf, mtf_sigma : ndarray, shape (n, len(FREQUENCY))
        Contrast at `FREQUENCY`, 1 at zero, and its standard deviation.
    mtf50, mtf50_sigma : ndarray, shape (n,)
        Cycles a pixel.
    rise_px : ndarray, shape (n,)
        Distance from 10 % to 90 %.
    overshoot : ndarray, shape (n,)
        How far the profile passes its plateaus, as a share of the contrast.
    dark, white : ndarray, shape (n,)
        The plateaus in light above black at the middle, stored units.
    clipped : ndarray, shape (n,)
        Share of the samples that were clipped.
    contrast_to_noise : ndarray, shape (n,)
        White minus dark over the noise of one white sample.
    why : ndarray of str, shape (n,)
        Why an edge could not be measured; empty where it was.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    normal: NDArray[np.float64]
    angle_deg: NDArray[np.float64]
    offset_px: NDArray[np.float64]
    offset_sigma_px: NDArray[np.float64]
    bend_px: NDArray[np.float64]
    length_px: NDArray[np.float64]
    mtf: NDArray[np.float64]
    mtf_sigma: NDArray[np.float64]
    mtf50: NDArray[np.float64]
    mtf50_sigma: NDArray[np.float64]
    rise_px: NDArray[np.float64]
    overshoot: NDArray[np.float64]
    dark: NDArray[np.float64]
    white: NDArray[np.float64]
    clipped: NDArray[np.float64]
    contrast_to_noise: NDArray[np.float64]
    why: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.x)

    @property
    def measured(self) -> NDArray[np.bool_]:
        """Where there are figures, shape (n,)."""
        return self.why == ""


def measure_edges(
    shot: Shot, edges: EdgePlaces, channels: Sequence[str] | None = None, threads: int = 2
) -> dict[str, EdgeResponses]:
    """Measure position and response of edges on the raw samples of each channel.

    Parameters
    ----------
    shot : Shot
        The frame.
    edges : EdgePlaces
        Nominal places, good to ±2 px, such as `tile_edges` gives for the tiles found.
    channels : sequence of str, optional
        Which channels; all of the shot's otherwise.
    threads : int, optional
        How many threads share the edges.

    Returns
    -------
    dict of EdgeResponses by channel
    """
    channels = shot.channels if channels is None else channels
    parts = _chunks(edges)
    work = [(channel, part) for channel in channels for part in parts]
    with ThreadPoolExecutor(max(threads, 1)) as pool:
        done = list(pool.map(lambda job: _measure_chunk(shot, job[0], edges.take(job[1])), work))
    order = np.argsort(np.concatenate(parts)) if parts else np.empty(0, dtype=int)
    result = {}
    for k, channel in enumerate(channels):
        result[channel] = _joined(done[k * len(parts) : (k + 1) * len(parts)], order)
    return result


def _chunks(edges: EdgePlaces) -> list[NDArray]:
    """Indices of edges in parts of about `CHUNK`, groups undivided."""
    order = np.argsort(edges.group, kind="stable")
    if len(order) == 0:
        return [order]
    starts = np.flatnonzero(np.r_[True, np.diff(edges.group[order]) != 0])
    cuts = starts[
        np.searchsorted(starts, np.arange(CHUNK, len(order), CHUNK))[: len(starts)].clip(max=len(starts) - 1)
    ]
    return [part for part in np.split(order, np.unique(cuts)) if len(part)]


def _joined(parts: list[EdgeResponses], order: NDArray) -> EdgeResponses:
    return EdgeResponses(
        **{f.name: np.concatenate([getattr(p, f.name) for p in parts])[order] for f in fields(EdgeResponses)}
    )


# -- one chunk ------------------------------------------------------------------------------------------------


def _measure_chunk(shot: Shot, channel: str, nominal: EdgePlaces) -> EdgeResponses:
    rough = _rough_look(shot, channel, nominal)
    places = _moved(nominal, rough.offset, rough.turn)
    low, high = usable_span(places, MARGIN * rough.blur)
    why = rough.why.copy()
    why[(why == "") & (high - low < MIN_LENGTH)] = "too short for its blur"
    samples = gather(shot, channel, places, WINDOW * rough.blur, MARGIN * rough.blur)
    samples = samples.keep((why == "")[samples.edge])
    samples = _evenly_lit(samples, places, rough.slope)
    fit = _Fit(samples, (low + high) / 2, np.maximum(high - low, 1) / 2, rough.blur, rough.noise)
    fit.run()
    return _responses(shot, channel, nominal, places, fit, rough, why)


MIN_LENGTH = 20.0
"""Shortest straight part, in pixels, that an edge is measured on."""


@dataclass(frozen=True, eq=False)
class _Rough:
    offset: NDArray
    turn: NDArray
    blur: NDArray
    slope: NDArray
    noise: NDArray
    clipped: NDArray
    why: NDArray


ROUGH_WINDOW, ROUGH_MARGIN, SLABS = 80, 8.0, 6


def _rough_look(shot: Shot, channel: str, places: EdgePlaces) -> _Rough:
    """Offset, turn, blur width and noise of each edge from one-pixel steps across it; no edge assumed sharp."""
    n = len(places)
    window, margin = np.full(n, float(ROUGH_WINDOW)), np.full(n, ROUGH_MARGIN)
    samples = gather(shot, channel, places, window, margin)
    steps = 2 * ROUGH_WINDOW
    step = np.floor(samples.u).astype(np.int32) + ROUGH_WINDOW
    np.clip(step, 0, steps - 1, out=step)
    key = samples.edge * steps + step
    count = np.bincount(key, minlength=n * steps).reshape(n, steps)
    mean = np.bincount(key, samples.light, n * steps).reshape(n, steps) / np.maximum(count, 1)
    square = np.bincount(key, samples.light.astype(np.float64) ** 2, n * steps).reshape(n, steps)
    seen = count >= 4
    dark, white, spread = _plateaus(seen, count, mean, square / np.maximum(count, 1) - mean**2)
    contrast = white - dark
    why = np.full(n, "", dtype="<U64")
    clipped = samples.clipped / np.maximum(samples.taken, 1)
    enough = seen.sum(axis=1) >= 8
    why[~enough] = "too little of it in the frame"
    why[(why == "") & (clipped > MAX_CLIPPED)] = "clipped"
    why[(why == "") & ~(contrast > 4 * spread / np.sqrt(np.maximum(count.max(axis=1), 1)))] = "no contrast"
    safe = np.where(why == "", contrast, 1.0)
    level = np.where(seen, np.clip((mean - dark[:, None]) / safe[:, None], 0, 1), 0)
    tidy = np.where(level * (1 - level) > 0.0, level * (1 - level), 0) * seen
    blur = np.sqrt(np.maximum((np.sqrt(np.pi) * tidy.sum(axis=1)) ** 2 - 1 / 12, MIN_BLUR**2))
    centre = np.arange(steps) - ROUGH_WINDOW + 0.5
    last = np.where(seen, centre, -np.inf).max(axis=1) + 0.5
    offset = last - (level * seen).sum(axis=1)
    offset, blur = np.where(why == "", offset, 0), np.where(why == "", blur, 1.0)
    slope = _slopes_of_light(samples.keep((why == "")[samples.edge]), places, offset, blur)
    turn, offset = _rough_line(samples, places, offset, blur, dark, safe)
    return _Rough(offset, turn, blur, slope, np.where(why == "", spread, 1.0), clipped, why)


MAX_CLIPPED = 0.01
MIN_BLUR = 0.28
"""A pixel's own aperture keeps any edge from being sharper than this."""


def _plateaus(seen, count, mean, variance):
    """Levels far out on the dark and the bright side, and the noise of one bright sample."""
    steps = seen.shape[1]
    index = np.where(seen, np.arange(steps), -1)
    last = index.max(axis=1)
    first = np.where(seen.any(axis=1), np.argmax(seen, axis=1), 0)
    third = np.maximum((last - first) // 4, 1)
    place = np.arange(steps)
    out = []
    for inside in (
        seen & (place < (first + third)[:, None]),
        seen & (place > (last - third)[:, None]),
    ):
        weight = count * inside
        total = np.maximum(weight.sum(axis=1), 1)
        out.append(((mean * weight).sum(axis=1) / total, (variance * weight).sum(axis=1) / total))
    (dark, _), (white, noise) = out
    return dark, white, np.sqrt(np.maximum(noise, 1e-12))


def _rough_line(samples, places, offset, blur, dark, contrast):
    """Turn (slope) and offset of each line from the light that short pieces of a strip along it hold."""
    n = len(places)
    half = 3 * blur + 2
    d = samples.u - offset.astype(np.float32)[samples.edge]
    near = np.abs(d) < half.astype(np.float32)[samples.edge]
    edge, t, light = samples.edge[near], samples.t[near], samples.light[near]
    length = places.half_length
    piece = np.clip(((t / length.astype(np.float32)[edge] + 1) * (SLABS / 2)).astype(np.int32), 0, SLABS - 1)
    key = edge * SLABS + piece
    count = np.bincount(key, minlength=n * SLABS).reshape(n, SLABS)
    share = np.bincount(key, light, n * SLABS).reshape(n, SLABS) / np.maximum(count, 1)
    where = np.bincount(key, t, n * SLABS).reshape(n, SLABS) / np.maximum(count, 1)
    place = half[:, None] * (1 - 2 * (share - dark[:, None]) / contrast[:, None])
    weight = np.where(np.abs(place) < half[:, None], count, 0) + 1e-9
    middle = (weight * where).sum(axis=1) / weight.sum(axis=1)
    level = (weight * place).sum(axis=1) / weight.sum(axis=1)
    lever = where - middle[:, None]
    turn = (weight * lever * place).sum(axis=1) / ((weight * lever**2).sum(axis=1) + 1e-6)
    turn = np.clip(turn, -0.1, 0.1)
    return turn, offset + level - turn * middle


def _moved(places: EdgePlaces, offset: NDArray, turn: NDArray) -> EdgePlaces:
    """The places with each line shifted along its normal and turned by a slope towards it."""
    middle, along, normal = places.middle, places.along, places.normal
    scale = 1 / np.sqrt(1 + turn**2)[:, None]
    new_along = (along + turn[:, None] * normal) * scale
    new_normal = (normal - turn[:, None] * along) * scale
    middle = middle + offset[:, None] * normal
    half = places.half_length[:, None]
    ends = np.stack([middle - half * new_along, middle + half * new_along], axis=1)
    return EdgePlaces(ends, new_normal, places.reach_px, places.walls, places.group)


def _slopes_of_light(samples: EdgeSamples, places: EdgePlaces, offset: NDArray, blur: NDArray) -> NDArray:
    """Relative slope (by x, by y) of the light round each figure: a plane through the far bright samples."""
    blocks = 6
    n = len(places)
    low, high = usable_span(places, MARGIN * blur)
    near = np.minimum(offset + 6 * blur, 0.5 * places.reach_px[:, 1])
    limits = [a.astype(np.float32)[samples.edge] for a in (near, places.reach_px[:, 1] - MARGIN * blur, low, high)]
    far = (samples.u > limits[0]) & (samples.u < limits[1]) & (samples.t > limits[2]) & (samples.t < limits[3])
    edge, t, u, light = samples.edge[far], samples.t[far], samples.u[far], samples.light[far]
    half = places.half_length.astype(np.float32)[edge]
    column = np.clip(((t / half + 1) * (blocks / 2)).astype(np.int32), 0, blocks - 1)
    row = np.clip((u * np.float32(blocks / ROUGH_WINDOW)).astype(np.int32), 0, blocks - 1)
    key = (edge * blocks + column) * blocks + row
    size = n * blocks**2
    count = np.bincount(key, minlength=size)
    known = count > 0
    mean = [np.bincount(key, a, size)[known] / count[known] for a in (t, u, light)]
    owner = np.repeat(np.arange(n), blocks**2)[known]
    at = places.middle[owner] + mean[0][:, None] * places.along[owner] + mean[1][:, None] * places.normal[owner]
    return _planes(at, mean[2], count[known], places.group[owner], places.group)


def _evenly_lit(samples: EdgeSamples, places: EdgePlaces, slope: NDArray) -> EdgeSamples:
    """The samples with the slope of the light taken out; as at the edge's middle."""
    rise_t = np.einsum("nc,nc->n", slope, places.along).astype(np.float32)
    rise_u = np.einsum("nc,nc->n", slope, places.normal).astype(np.float32)
    factor = 1 + rise_t[samples.edge] * samples.t + rise_u[samples.edge] * samples.u
    even = samples.light / np.maximum(factor, np.float32(0.1))
    return EdgeSamples(samples.edge, samples.t, samples.u, even, samples.taken, samples.clipped)


def _planes(at, light, weight, group, wanted):
    """Relative slope (by x, by y) of the light at each wanted group's place."""
    names, member = np.unique(group, return_inverse=True)
    total = np.bincount(member, weight, len(names))
    centre = np.stack([np.bincount(member, weight * at[:, k], len(names)) / total for k in (0, 1)], axis=1)
    level = np.bincount(member, weight * light, len(names)) / total
    lever = at - centre[member]
    moments = np.zeros((len(names), 2, 2))
    right = np.zeros((len(names), 2))
    for i in (0, 1):
        right[:, i] = np.bincount(member, weight * lever[:, i] * (light - level[member]), len(names))
        for j in (0, 1):
            moments[:, i, j] = np.bincount(member, weight * lever[:, i] * lever[:, j], len(names))
    # A lever of less than a few pixels (one short edge alone) tells nothing: leave the light flat that way.
    moments += np.eye(2) * (total * 25.0)[:, None, None]
    slope = np.linalg.solve(moments, right[..., None])[..., 0] / np.where(level > 0, level, 1)[:, None]
    place = np.clip(np.searchsorted(names, wanted), 0, max(len(names) - 1, 0))
    if len(names) == 0:
        return np.zeros((len(wanted), 2))
    return np.where((names[place] == wanted)[:, None], slope[place], 0.0)


# -- the fit --------------------------------------------------------------------------------------------------

CORE = 3.0
"""Within so many blur widths the profile's slope tells of the line."""

NOISE_FLOOR = 5e-4
"""No sample is trusted better than this share of the contrast."""

REJECT = 6.0
"""Samples farther off than so many standard deviations are hot pixels or dirt."""


class _Fit:
    """Profile and line of every edge of a chunk, by turns.

    The line is d = (u - p0 - p1 τ - p2 (τ² - 1/3)) / √(1 + slope²), τ from -1 to 1 over the used length.
    """

    def __init__(self, samples, middle, half, blur, noise):
        n = len(blur)
        self.n, self.samples, self.half, self.middle = n, samples, half, middle
        self.tau = (samples.t - middle.astype(np.float32)[samples.edge]) / half.astype(np.float32)[samples.edge]
        self.line = np.zeros((n, 3))
        self.line_covariance = np.tile(np.eye(3), (n, 1, 1))
        self.blur = blur.copy()
        self.coefficients = np.zeros((n, profile.COEFFICIENTS))
        self.variance = np.tile((noise**2)[:, None], (1, profile.BINS))
        self.covariance = None
        self.kept = None

    def run(self):
        self._step(line=False)
        self._step(line=True)
        self._set_blur()
        self._step(line=False)
        self._step(line=True)
        self._reject()
        self._step(line=True)
        self._step(line=True, last=True)

    def _place(self):
        """Bin of every sample, and how far it lies from the bin's middle, in cells."""
        edge, p, half = self.samples.edge, self.line.astype(np.float32), self.half.astype(np.float32)
        tau = self.tau
        d = self.samples.u - (p[edge, 0] + p[edge, 1] * tau + p[edge, 2] * (tau * tau - np.float32(1 / 3)))
        slope = (p[edge, 1] + 2 * p[edge, 2] * tau) / half[edge]
        d *= 1 - slope * slope / 2
        cell = profile.to_cell(d / self.blur.astype(np.float32)[edge])
        place = (cell * np.float32(profile.FINE)).astype(np.int32)
        np.clip(place, 0, profile.BINS - 1, out=place)
        off = cell - (place + np.float32(0.5)) * np.float32(1 / profile.FINE)
        return edge * np.int32(profile.BINS) + place, off

    def _residuals(self):
        value, slope, z = profile.bin_tables()
        level = (self.coefficients @ value.T).astype(np.float32)
        rise = (self.coefficients @ slope.T).astype(np.float32)
        key, off = self._place()
        residual = self.samples.light - level.ravel()[key] - rise.ravel()[key] * off
        return key, residual, level, rise * profile.cells_a_distance(z) / self.blur[:, None]

    def _step(self, line: bool, last: bool = False):
        key, residual, level, rise = self._residuals()
        size = self.n * profile.BINS
        count = np.bincount(key, minlength=size).reshape(self.n, -1)
        total = np.bincount(key, residual, size).reshape(self.n, -1)
        if line:
            square = np.bincount(key, residual.astype(np.float64) ** 2, size).reshape(self.n, -1)
            self._set_noise(count, square, level, rise)
        weight = 1 / self.variance
        if line:
            self._move_line(key, residual, rise, weight)
        penalty = self._penalty(count, weight * count)
        matrix = profile.normal_matrices(weight * count)
        right = (weight * total) @ profile.bin_tables()[0] - np.einsum("njk,nk->nj", penalty, self.coefficients)
        inverse = np.linalg.inv(matrix + penalty)
        self.coefficients = self.coefficients + np.einsum("njk,nk->nj", inverse, right)
        if last:
            self.covariance = inverse @ matrix @ inverse
            self.count = count
        else:
            self.line[:, 0] += self.blur * self.half_crossing()

    def _penalty(self, count, weight):
        """Smoothness, next to none at the edge, growing in the tails, firm where there are no samples."""
        second, z = profile.roughness()
        centre = profile.bin_tables()[2]
        reach_low = np.where(count > 0, -centre, 0).max(axis=1)
        reach_high = np.where(count > 0, centre, 0).max(axis=1)
        side = np.arange(len(z)) < len(z) // 2
        reach = np.where(side, reach_low[:, None], reach_high[:, None])
        factor = 1e-6 + 1e-3 * np.clip((z - 4) / 4, 0, None) ** 2
        factor = np.where(z > reach, 1e3, factor)
        core = np.abs(centre) < CORE
        scale = weight[:, core].sum(axis=1) / (core.sum() / profile.FINE)
        scale = np.where(scale > 0, scale, 1.0)
        return (
            np.einsum("jk,nj,jl->nkl", second, factor * scale[:, None], second, optimize=True)
            + 1e-9 * np.eye(profile.COEFFICIENTS) * scale[:, None, None]
        )

    def plateaus(self):
        """Levels at infinity on the dark and the bright side."""
        c = self.coefficients
        return (c[:, 0] + 4 * c[:, 1] + c[:, 2]) / 6, (c[:, -3] + 4 * c[:, -2] + c[:, -1]) / 6

    def half_crossing(self):
        """Where the profile crosses half, in blur widths; 0 where it does not near the middle."""
        value, _, z = profile.bin_tables()
        dark, white = self.plateaus()
        core = np.flatnonzero(np.abs(z) < CORE)
        level = self.coefficients @ value[core].T - ((dark + white) / 2)[:, None]
        up = (level[:, :-1] < 0) & (level[:, 1:] >= 0)
        distance = np.where(up, np.abs(z[core][:-1]), np.inf)
        k = np.argmin(distance, axis=1)
        row = np.arange(self.n)
        low, high = level[row, k], level[row, k + 1]
        share = np.where(up.any(axis=1), -low / np.where(high > low, high - low, 1), 0)
        crossing = z[core][k] + share * (z[core][k + 1] - z[core][k])
        return np.where(up.any(axis=1), crossing, 0.0)

    def _set_blur(self):
        """The blur width that scales the knots: from the steepest slope, held near that of the MTF50."""
        _, slope, z = profile.bin_tables()
        dark, white = self.plateaus()
        steepest = (self.coefficients @ slope.T * profile.cells_a_distance(z)).max(axis=1) / self.blur
        by_slope = (white - dark) / (np.sqrt(2 * np.pi) * np.maximum(steepest, 1e-12))
        by_mtf50 = GAUSSIAN_MTF50 / np.maximum(self.mtf50()[0], 1e-3)
        blur = np.clip(by_slope, 0.6 * by_mtf50, by_mtf50)
        self.blur = np.clip(blur, np.maximum(MIN_BLUR, self.blur / 4), self.blur * 2)
        self.coefficients = np.zeros_like(self.coefficients)

    def _set_noise(self, count, square, level, rise):
        """Variance by bin: linear in light between the plateaus, more at the edge where its line is ragged."""
        z = profile.bin_tables()[2]
        sides = []
        for far in (z < -CORE, z > CORE):
            seen = np.maximum(count[:, far].sum(axis=1), 1)
            sides.append(square[:, far].sum(axis=1) / np.maximum(seen - profile.COEFFICIENTS / 3, seen / 2))
        dark, white = self.plateaus()
        share = np.clip((level - dark[:, None]) / np.where(white > dark, white - dark, 1)[:, None], 0, 1)
        floor = (NOISE_FLOOR * np.maximum(white - dark, 1e-6)) ** 2
        base = np.maximum(sides[0], floor)[:, None] * (1 - share) + np.maximum(sides[1], floor)[:, None] * share
        core = np.abs(z) < CORE
        excess = (square - base * count)[:, core].sum(axis=1)
        lever = (rise[:, core] ** 2 * count[:, core]).sum(axis=1)
        jitter = np.maximum(excess, 0) / np.maximum(lever, 1e-12)
        self.variance = base + jitter[:, None] * rise**2

    def _move_line(self, key, residual, rise, weight):
        z = profile.bin_tables()[2]
        core = np.tile(np.abs(z) < CORE, self.n)
        near = core[key]
        key, residual = key[near], residual[near]
        edge, tau = self.samples.edge[near], self.tau[near]
        pieces = 24
        piece = np.clip(((tau + 1) * np.float32(pieces / 2)).astype(np.int32), 0, pieces - 1)
        slot = edge * np.int32(pieces) + piece
        pull = (weight * rise).astype(np.float32).ravel()[key]
        size = self.n * pieces
        push = np.bincount(slot, pull * residual, size).reshape(self.n, pieces)
        grip = np.bincount(slot, pull * rise.astype(np.float32).ravel()[key], size).reshape(self.n, pieces)
        where = (np.arange(pieces) + 0.5) * (2 / pieces) - 1
        shape = np.stack([np.ones(pieces), where, where**2 - 1 / 3])
        matrix = np.einsum("np,ip,jp->nij", grip, shape, shape, optimize=True)
        right = -np.einsum("np,ip->ni", push, shape)
        matrix = matrix + np.eye(3) * np.array([1e-12, 1.0, 1.0])
        self.line_covariance = np.linalg.inv(matrix + np.eye(3) * 1e-9)
        step = np.einsum("nij,nj->ni", self.line_covariance, right)
        step[:, 0] = 0  # the profile itself carries the offset
        self.line += np.clip(step, -3, 3)

    def _reject(self):
        key, residual, _, _ = self._residuals()
        good = residual**2 < REJECT**2 * self.variance.astype(np.float32).ravel()[key]
        self.samples = self.samples.keep(good)
        self.tau = self.tau[good]

    def response(self):
        """Complex response at `profile.Q`, shape (n, Q), 1 at zero."""
        spectrum = self.coefficients @ profile.transform().T
        total = spectrum[:, :1].real
        return spectrum / np.where(np.abs(total) > 1e-12, total, 1.0)

    def mtf50(self):
        """MTF50 in cycles a pixel, with the q and the place in `Q` where it lies."""
        mtf = np.abs(self.response())
        below = mtf < 0.5
        k = np.clip(np.argmax(below, axis=1), 1, None)
        row = np.arange(self.n)
        above, under = mtf[row, k - 1], mtf[row, k]
        share = np.clip((above - 0.5) / np.maximum(above - under, 1e-12), 0, 1)
        q = profile.Q[k - 1] + share * (profile.Q[k] - profile.Q[k - 1])
        return np.where(below.any(axis=1), q / self.blur, np.nan), q, k, share


# -- what it shows --------------------------------------------------------------------------------------------


def _sensitivities(fit: _Fit, rows: NDArray) -> tuple[NDArray, NDArray]:
    """MTF and its derivative by the coefficients, for rows of the transform, shape (n, k, K) or (k, K)."""
    rows = np.broadcast_to(rows, (fit.n, *rows.shape[-2:]))
    spectrum = np.einsum("nkj,nj->nk", rows, fit.coefficients)
    ends = profile.transform()[0].real
    total = fit.coefficients @ ends
    total = np.where(np.abs(total) > 1e-12, total, 1.0)[:, None]
    ratio = spectrum / total
    mtf = np.abs(ratio)
    unit = np.conj(ratio) / np.maximum(mtf, 1e-9)
    by = (unit[..., None] * rows).real - mtf[..., None] * ends
    return mtf, by / total[..., None]


def _responses(shot, channel, nominal, places, fit, rough, why):
    n = fit.n
    fit_mtf50, _, k, share = fit.mtf50()
    table = profile.transform()
    at50 = table[k - 1] + share[:, None] * (table[k] - table[k - 1])
    _, by = _sensitivities(fit, at50[:, None, :])
    sigma = np.sqrt(np.maximum(np.einsum("nj,njl,nl->n", by[:, 0], fit.covariance, by[:, 0]), 0))
    mtf_q = np.abs(fit.response())
    row = np.arange(n)
    fall = (mtf_q[row, k - 1] - mtf_q[row, k]) / (profile.Q[k] - profile.Q[k - 1])
    mtf50_sigma = sigma / np.maximum(fall, 1e-3) / fit.blur
    mtf, mtf_sigma = _curves(fit)
    dark, white = fit.plateaus()
    cross = fit.half_crossing()
    offset, offset_sigma = _offset(fit, cross)
    slope = fit.line[:, 1] / fit.half - 2 * fit.line[:, 2] * fit.middle / fit.half**2
    tau0 = -fit.middle / fit.half
    at_middle = offset + fit.line[:, 1] * tau0 + fit.line[:, 2] * (tau0**2 - 1 / 3)
    scale = 1 / np.sqrt(1 + slope**2)[:, None]
    normal = (places.normal - slope[:, None] * places.along) * scale
    along = (places.along + slope[:, None] * places.normal) * scale
    middle = places.middle + at_middle[:, None] * places.normal
    # The mean offset along the used length, seen from the nominal line.
    mean_place = places.middle + fit.middle[:, None] * places.along + offset[:, None] * places.normal
    nominal_turn = np.einsum("nc,nc->n", normal, nominal.along)
    shift = np.einsum("nc,nc->n", mean_place - nominal.middle, nominal.normal)
    back = np.einsum("nc,nc->n", mean_place - nominal.middle, nominal.along) * nominal_turn
    noise = np.sqrt(fit.variance[:, -1])
    why = why.copy()
    why[(why == "") & ~np.isfinite(fit_mtf50)] = "blurred beyond measure"
    why[(why == "") & ~(white - dark > 2 * noise / 5)] = "no contrast"
    bad = why != ""
    rise, over = _rise_and_overshoot(fit, dark, white)

    def known(a):
        return np.where(bad if a.ndim == 1 else bad[:, None], np.nan, a)

    return EdgeResponses(
        x=np.where(bad, nominal.middle[:, 0], middle[:, 0]),
        y=np.where(bad, nominal.middle[:, 1], middle[:, 1]),
        normal=np.where(bad[:, None], nominal.normal, normal),
        angle_deg=np.degrees(np.arctan2(-along[:, 1], along[:, 0])) % 180,
        offset_px=known(shift + back),
        offset_sigma_px=known(offset_sigma),
        bend_px=known(fit.line[:, 2]),
        length_px=known(2 * fit.half),
        mtf=known(mtf),
        mtf_sigma=known(mtf_sigma),
        mtf50=known(fit_mtf50),
        mtf50_sigma=known(mtf50_sigma),
        rise_px=known(rise),
        overshoot=known(over),
        dark=known(dark),
        white=known(white),
        clipped=rough.clipped,
        contrast_to_noise=known((white - dark) / noise),
        why=why,
    )


def _curves(fit):
    """MTF and its standard deviation at `FREQUENCY`; nothing is resolved beyond one cycle a blur width."""
    coarse = slice(0, None, 4)
    _, by = _sensitivities(fit, profile.transform()[coarse])
    spread = np.sqrt(np.maximum(np.einsum("nkj,njl,nkl->nk", by, fit.covariance, by, optimize=True), 0))
    fine = np.abs(fit.response())
    root_fine, root = np.sqrt(profile.Q), np.sqrt(profile.Q[coarse])
    mtf, sigma = np.zeros((2, fit.n, len(FREQUENCY)))
    for i in range(fit.n):
        wanted = np.sqrt(FREQUENCY * fit.blur[i])
        mtf[i] = np.interp(wanted, root_fine, fine[i], right=0.0)
        sigma[i] = np.interp(wanted, root, spread[i])
    return mtf, sigma


def _offset(fit, cross):
    """Where the half crossing lies (averaged along the used length), and its standard deviation."""
    value, slope = profile.basis(profile.to_cell(cross))
    rise = np.einsum("nk,nk->n", fit.coefficients, slope) * profile.cells_a_distance(cross) / fit.blur
    ends = profile.transform()[0].real
    half = np.zeros(profile.COEFFICIENTS)
    half[[0, 1, 2]] = half[[-3, -2, -1]] = np.array([1, 4, 1]) / 12
    by = (half - value) / np.where(np.abs(rise) > 1e-12, rise, 1.0)[:, None]
    sigma = np.sqrt(np.maximum(np.einsum("nj,njk,nk->n", by, fit.covariance, by), 0))
    del ends
    return fit.line[:, 0] + fit.blur * cross, sigma


def _rise_and_overshoot(fit, dark, white):
    value, _, z = profile.bin_tables()
    contrast = np.where(white > dark, white - dark, 1.0)[:, None]
    level = (fit.coefficients @ value.T - dark[:, None]) / contrast
    near = np.abs(z) < 2 * CORE
    level, z = level[:, near], z[near]
    row = np.arange(fit.n)
    high = np.clip(np.argmax(level >= 0.9, axis=1), 1, None)
    low = level.shape[1] - 1 - np.argmax(level[:, ::-1] <= 0.1, axis=1)
    low = np.clip(low, 0, level.shape[1] - 2)

    def crossing(k, wanted):
        a, b = level[row, k], level[row, k + 1]
        share = np.clip((wanted - a) / np.where(np.abs(b - a) > 1e-9, b - a, 1), 0, 1)
        return z[k] + share * (z[k + 1] - z[k])

    rise = (crossing(high - 1, 0.9) - crossing(low, 0.1)) * fit.blur
    over = np.maximum(level.max(axis=1) - 1, -level.min(axis=1))
    return rise, np.maximum(over, 0)
