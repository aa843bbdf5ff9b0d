"""One slanted edge, or a thousand: where it lies and how it carries contrast.

Each sample of one channel is taken where it lies, at a signed distance from a line that may bend; a smooth
profile (`edge_profile`) and the line are fitted to them by turns until both stand, weighted by the noise found on
this very edge (`edge_fit`). The response is the exact transform of the fitted profile: no bins to be empty, no
window to cut the tails, and the intervals follow from the fit.

Position is where the profile crosses half way between the plateaus, averaged along the edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from lensbench.analysers.edge import _loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._crosstalk import Spill
from lensbench.analysers.edge._curves import below_half
from lensbench.analysers.edge._first_look import MAX_TURN, RoughEdges, are_uncut, look_roughly
from lensbench.analysers.edge._fit import EdgeFit
from lensbench.analysers.edge._places import EdgePlaces, blade_places, tile_edges
from lensbench.analysers.edge._samples import EdgeSamples, gather, joined
from lensbench.findings.reasons import Reason
from lensbench.shot import Shot

__all__ = [
    "FREQUENCY",
    "EdgePlaces",
    "EdgeResponses",
    "blade_places",
    "measure_edges",
    "tile_edges",
    "unfollowed_contrast",
]

FREQUENCY = (np.arange(65) / 64) ** 2
"""Frequencies of the response curves in cycles a pixel, 0 to 1."""

WINDOW = 8.0
"""How far all samples of each side are taken, in blur widths ..."""

MIN_WINDOW = 8.0
"""... and at least, in pixels."""

WIDE_WINDOW = 32.0
"""How far a part of them is taken, where the sheet allows: beyond, a glow is over, and light fades as 1/z ..."""

WIDE_APART = 4
"""... about so many pixels apart each way: there are plenty."""

MARGINS = (6.5, 4.5, 3.0)
"""How far the samples stay from other edges, in blur widths: the first that leaves an edge long enough, since what
spills over the others is reckoned the worse the nearer they are ..."""

END_MARGIN = 4.5
"""... and from the ends of an edge that has no others."""

MIN_LENGTH = 16.0
"""Shortest straight part, in pixels, that an edge is measured on ..."""

GOOD_LENGTHS = ((60.0, 9.0), (MIN_LENGTH, 6.0))
"""... and those, in pixels and in blur widths, that are worth staying nearer to the others for, margin by margin.
So deep, or half as deep, is what is left of the figure's dark."""

STRAYED = 0.95
"""The finder leaves a degree of turn at most. A line that the first look turned by all that it may was led
astray by the stump of an edge that the border left, and what is fitted about it is no edge."""

LEAST_REACH, WHOLE_REACH = 4.0, 3.0
"""Blur widths of the dark and of the bright side that must be seen, or there are no plateaus to tell shares of: of
the core's, and of those that the first look saw, core and glow together."""

MAX_GUESSED = 0.2
"""Contrast that may lie where nothing is seen, as a share of what is: more, and the plateaus are a guess."""

MAX_GAP = 1.0
"""Widest gap between samples across the rise, in blur widths, that a profile can be drawn over."""

WIDE_GAP = 0.6
"""A gap that is wide where, besides, the samples can't tell a turned line from a stretched profile ..."""

MAX_CONFOUNDING = 8.0
"""... for the turn's variance is more than so many times what it would be were the profile known."""

MAX_UNSURE = 0.25
"""An MTF50 with a larger relative standard deviation is no figure."""

NEARLY_LEVEL = 0.35
"""Half the steepness of a Gaussian blur's curve at its MTF50: below, small doubts of contrast move MTF50 far."""

SPILL_TURNS = (3, 2)
"""How often, at most, what spills over a figure's other edges is reckoned before the lines are laid anew ..."""

SETTLED = 1e-4
"""... and what change of it, as a share of the contrast, isn't worth another turn."""

OVERSHOOT_WITHIN = 100.0
"""How far from the edge, in pixels, a profile is asked whether it passes its plateaus."""

FINER = 4
"""`profile.Q` has so many steps for each of `FREQUENCY` ..."""

SIGMA_APART = 8
"""... and standard deviations of curves are reckoned so many of them apart."""

CHUNK = 120
"""Edges that go through the arithmetic together: enough to share its overhead, few enough for a core's cache."""


UNFOLLOWED, UNFOLLOWED_FROM = 0.0015, 0.02
"""Contrast, as a standard deviation, that a profile too smooth or too rough misses, and from how many cy/px on."""


def unfollowed_contrast(frequency: NDArray) -> NDArray[np.float64]:
    """What a response curve may be off by, noise apart, since its edge's profile may be too smooth or too rough.

    The size is what glows, aberrations and pupils with a hole ask for; averaging over edges doesn't lessen it.

    Parameters
    ----------
    frequency : ndarray
        Cycles a pixel.

    Returns
    -------
    ndarray
        A standard deviation for each frequency: nothing at zero.
    """
    return UNFOLLOWED * np.clip(np.asarray(frequency) / UNFOLLOWED_FROM, 0, 1)


@dataclass(frozen=True, eq=False)
class EdgeResponses:
    """What one channel shows at n edges, in the order of the places; NaN where `why` says it is not measurable.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        Middle of the used length, on the measured line.
    normal : ndarray, shape (n, 2)
        Unit vector across the edge, towards the bright side, at the middle.
    angle_deg : ndarray, shape (n,)
        The way the edge runs, anticlockwise as seen from x right, 0 to 180.
    offset_px, offset_sigma_px : ndarray, shape (n,)
        How far the measured line (where the profile crosses half) lies from the nominal one, averaged along the
        used length, positive towards bright; its standard deviation.
    bend_px : ndarray, shape (n,)
        How far the line's ends stand off from its middle, over the used length, positive towards bright.
    length_px : ndarray, shape (n,)
        The used length.
    mtf, mtf_sigma : ndarray, shape (n, len(FREQUENCY))
        Contrast at `FREQUENCY`, 1 at zero, and its standard deviation by noise and by how unsure the light is that
        tails bring over a figure's other edges; `unfollowed_contrast` is besides.
    mtf50, mtf50_sigma : ndarray, shape (n,)
        Cycles a pixel; where the curve runs nearly level, so far as its own interval leaves the crossing open.
    steepness : ndarray, shape (n,)
        MTF50 times how steeply the contrast falls there, by the frequency: 0.69 for a Gaussian blur.
    rise_px, rise_sigma_px : ndarray, shape (n,)
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
    steepness: NDArray[np.float64]
    rise_px: NDArray[np.float64]
    rise_sigma_px: NDArray[np.float64]
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

    @property
    def nearly_level(self) -> NDArray[np.bool_]:
        """Where the contrast runs so nearly level about a half that MTF50 says little, shape (n,)."""
        return self.steepness < NEARLY_LEVEL

    def take(self, which: NDArray) -> EdgeResponses:
        """The edges at some indices (or where a mask is true)."""
        return EdgeResponses(**{f.name: getattr(self, f.name)[which] for f in fields(self)})


def measure_edges(
    shot: Shot, edges: EdgePlaces, channels: Sequence[str] | None = None, threads: int = 2
) -> dict[str, EdgeResponses]:
    """Measure position and response of edges on the raw samples of each channel.

    Parameters
    ----------
    shot : Shot
        The frame.
    edges : EdgePlaces
        Nominal places, good to ±2 px, such as `tile_edges` gives for the tiles found; there may be none.
    channels : sequence of str, optional
        Which channels; all of the shot's otherwise.
    threads : int, optional
        How many threads share the edges.

    Returns
    -------
    dict of EdgeResponses by channel

    Examples
    --------
    A straight edge blurred by a Gaussian of 1.4 px, whose MTF50 is 0.18739 over that:

    >>> import numpy as np
    >>> from scipy.special import ndtr
    >>> from lensbench import Shot, measure_edges
    >>> from lensbench.analysers.edge import blade_places
    >>> y, x = np.mgrid[:200, :300]
    >>> across = np.array([np.cos(0.1), np.sin(0.1)])  # towards bright
    >>> distance = (x - 149.5) * across[0] + (y - 99.5) * across[1]
    >>> light = 600 + 11400 * ndtr(distance / 1.4)
    >>> shot = Shot.from_array(np.random.default_rng(1).poisson(light), white=16000)
    >>> along = np.array([-across[1], across[0]])
    >>> ends = [(149.5, 99.5) - 60 * along, (149.5, 99.5) + 60 * along]
    >>> edge = measure_edges(shot, blade_places([ends], [across], 40.0))["grey"]
    >>> bool(abs(edge.mtf50[0] / (0.18739 / 1.4) - 1) < 0.02)
    True
    """
    channels = shot.channels if channels is None else channels
    parts = _chunks(edges)
    work = [(channel, part) for channel in channels for part in parts]
    # Matrices here are small: threads of the linear algebra's own only wait for each other.
    with threadpool_limits(1, user_api="blas"), ThreadPoolExecutor(max(threads, 1)) as pool:
        done = list(pool.map(lambda job: _measure_chunk(shot, job[0], edges.take(job[1])), work))
    order = np.argsort(np.concatenate(parts))
    result = {}
    for k, channel in enumerate(channels):
        result[channel] = _joined(done[k * len(parts) : (k + 1) * len(parts)], order)
    return result


def _chunks(edges: EdgePlaces) -> list[NDArray]:
    """Indices of edges in parts of about `CHUNK`, groups undivided; one empty part where there are no edges."""
    order = np.argsort(edges.group, kind="stable")
    begins = np.flatnonzero(np.diff(edges.group[order], prepend=-1))
    cuts = begins[np.searchsorted(begins, np.arange(CHUNK, len(order), CHUNK)).clip(max=len(begins) - 1)]
    return [part for part in np.split(order, np.unique(cuts)) if len(part)] or [order]


def _joined(parts: list[EdgeResponses], order: NDArray) -> EdgeResponses:
    columns = {f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(EdgeResponses)}
    return EdgeResponses(**columns).take(order)


# -- one chunk ------------------------------------------------------------------------------------------------


def _measure_chunk(shot: Shot, channel: str, nominal: EdgePlaces) -> EdgeResponses:
    rough = look_roughly(shot, channel, nominal, np.full(len(nominal), END_MARGIN))
    places = nominal.moved(rough.offset, rough.turn)
    margin = _margins(places, rough.blur, shot.size)
    low, high = places.span(margin, shot.size)
    why = rough.why.copy()
    strayed = (np.abs(rough.turn) > STRAYED * MAX_TURN) & ~are_uncut(nominal, shot.size)
    why[(why == "") & strayed] = Reason.OUTSIDE
    why[(why == "") & (high - low < MIN_LENGTH)] = Reason.TOO_SHORT
    samples = _gathered(shot, channel, places, rough.blur, margin)
    # The first look was at thinned samples: it may have missed a glint.
    rough = replace(rough, clipped=np.maximum(rough.clipped, samples.clipped / np.maximum(samples.taken, 1)))
    samples = _in_contrasts(samples.keep((why == "")[samples.edge]), places, rough)
    contrast = rough.white - rough.dark
    noise = rough.noise / contrast
    fit = EdgeFit(
        samples,
        (low + high) / 2,
        np.maximum(high - low, MIN_LENGTH) / 2,
        rough.blur,
        noise,
        rough.dark / contrast,
        rough.light.across_covariance,
    )
    fit.begin()
    before = _figures(fit)
    # What an edge too poor for figures shows must not be taken off the others of its tile.
    _without_spill(fit, Spill(places, margin, _judged(fit, rough.blur, why) == ""))
    fit.finish()
    return _responses(nominal, places, fit, rough, why, before)


def _gathered(shot: Shot, channel: str, places: EdgePlaces, blur: NDArray, margin: NDArray) -> EdgeSamples:
    """All samples near the edges, and a part of those from which on light can only fade."""
    dense, wide = np.maximum(WINDOW * blur, MIN_WINDOW), np.maximum(WIDE_WINDOW * blur, MIN_WINDOW)
    near = gather(shot, channel, places, dense, margin)
    return joined([near, gather(shot, channel, places, wide, margin, WIDE_APART, dense)])


def _margins(places: EdgePlaces, blur: NDArray, size: tuple[int, int]) -> NDArray:
    """How far samples stay from other edges, in pixels."""
    margin = np.where(places.side < 0, END_MARGIN, MARGINS[0]) * blur
    for (least, good), less in zip(GOOD_LENGTHS, MARGINS[1:], strict=True):
        low, high = places.span(margin, size)
        short = high - low < np.maximum(least, good * blur)
        margin = np.where(short, less * blur, margin)
    return margin


def _without_spill(fit: EdgeFit, spill: Spill) -> None:
    """Take off, by turns, what reaches the samples over the other edges of their figure."""
    before = 0.0
    for turns in SPILL_TURNS:
        for turn in range(turns):
            now = spill.onto(fit)
            if not now.any():
                return
            change, before = np.abs(now - before).max(), now
            if change < SETTLED:
                break
            fit.without(now, again=turn == 0)
        fit.take_off()


def _in_contrasts(samples: EdgeSamples, places: EdgePlaces, rough: RoughEdges) -> EdgeSamples:
    """The samples with the light as level as at the edge's middle, in shares of the rough contrast."""
    levels = np.stack([rough.dark, rough.white], axis=1)
    shape = rough.light.along_and_across(places)
    return replace(
        samples, light=loops.in_contrasts(samples.edge, samples.t, samples.u, samples.light, shape, levels)
    )


# -- what it shows --------------------------------------------------------------------------------------------


class _Figures(NamedTuple):
    """What a fit shows; `mtf` is at `profile.Q`."""

    mtf: NDArray
    place: NDArray
    rise: NDArray


def _figures(fit: EdgeFit) -> _Figures:
    low, high = _rise(fit)
    return _Figures(np.abs(fit.response()), fit.place(), high - low)


def _responses(
    nominal: EdgePlaces, places: EdgePlaces, fit: EdgeFit, rough: RoughEdges, why: NDArray, before: _Figures
) -> EdgeResponses:
    why = _judged(fit, rough.blur, why)
    seen = _figures(fit)
    by_spill = _by_spill(fit, before, seen)
    mtf_sigma = np.hypot(_curve_sigma(fit), by_spill.mtf)
    mtf50, mtf50_sigma, fall = _mtf50(fit, seen.mtf, mtf_sigma)
    low, high = _rise(fit)
    rise_sigma = fit.spread((_moved(fit, high, 0.9) - _moved(fit, low, 0.1))[:, None, :])[:, 0]
    dark, white = fit.plateaus()
    noise = np.sqrt(fit.variance[:, -1])
    line = _line_of(nominal, places, fit)
    scale = rough.white - rough.dark
    bad = why != ""

    def known(a: NDArray) -> NDArray:
        return np.where(bad.reshape(-1, *[1] * (a.ndim - 1)), np.nan, a)

    along = np.where(bad[:, None], nominal.along, line["along"])
    return EdgeResponses(
        x=np.where(bad, nominal.middle[:, 0], line["middle"][:, 0]),
        y=np.where(bad, nominal.middle[:, 1], line["middle"][:, 1]),
        normal=np.where(bad[:, None], nominal.normal, line["normal"]),
        angle_deg=np.degrees(np.arctan2(-along[:, 1], along[:, 0])) % 180,
        offset_px=known(line["offset"]),
        offset_sigma_px=known(np.hypot(line["sigma"], by_spill.place)),
        bend_px=known(fit.line[:, 2]),
        length_px=known(2 * fit.half),
        mtf=known(seen.mtf[:, ::FINER]),
        mtf_sigma=known(mtf_sigma[:, ::FINER]),
        mtf50=known(mtf50),
        mtf50_sigma=known(mtf50_sigma),
        steepness=known(mtf50 * fall),
        rise_px=known(seen.rise),
        rise_sigma_px=known(np.hypot(rise_sigma, by_spill.rise)),
        overshoot=known(_overshoot(fit)),
        dark=known(rough.dark + scale * dark),
        white=known(rough.dark + scale * white),
        clipped=rough.clipped,
        contrast_to_noise=known((white - dark) / noise),
        why=why,
    )


def _judged(fit: EdgeFit, blur: NDArray, why: NDArray) -> NDArray:
    """Why edges have no figures: the reasons of the first look, then those that the fit shows.

    `blur` is that of the first look, of core and glow together.
    """
    mtf50, sigma, _ = _mtf50_by_slope(fit, np.abs(fit.response()))
    why = why.copy()
    why[(why == "") & (fit.reach.min(axis=1) < np.maximum(LEAST_REACH * fit.blur, WHOLE_REACH * blur))] = (
        Reason.TOO_SHORT
    )
    dark, white = fit.plateaus()
    why[(why == "") & (np.abs(white - dark - 1) > MAX_GUESSED)] = Reason.TOO_SHORT
    unseen = (fit.gap > MAX_GAP) | (fit.gap > WIDE_GAP) & (fit.confounding > MAX_CONFOUNDING)
    why[(why == "") & unseen] = Reason.ALONG_ROWS
    why[(why == "") & ~np.isfinite(mtf50)] = Reason.TOO_BLURRED
    why[(why == "") & ~(sigma < MAX_UNSURE * mtf50)] = Reason.TOO_NOISY
    return why


def _by_spill(fit: EdgeFit, before: _Figures, after: _Figures) -> _Figures:
    """How unsure figures are since the far light is, and so what spills over the figure's other edges.

    Parameters
    ----------
    before, after : _Figures
        What they were before any spill was taken off, and are.
    """
    row = profile.fading_row()
    sigma = fit.spread(np.broadcast_to(row, (fit.n, 1, len(row))))[:, 0]
    share = sigma / np.maximum(np.hypot(fit.coefficients @ row, sigma), 1e-9)
    return _Figures(*((share * np.abs(a - b).T).T for a, b in zip(after, before, strict=True)))


def _curve_sigma(fit: EdgeFit) -> NDArray:
    """Standard deviation of the MTF at `profile.Q`, by noise."""
    some = fit.spread(fit.sensitivity(profile.transform()[::SIGMA_APART]))
    share = np.arange(SIGMA_APART) / SIGMA_APART
    between = some[:, :-1, None] + share * np.diff(some, axis=1)[..., None]
    return np.concatenate([between.reshape(fit.n, len(profile.Q) - 1), some[:, -1:]], axis=1)


def _mtf50_by_slope(fit: EdgeFit, mtf: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """MTF50 in cycles a pixel, its standard deviation by noise as if the MTF fell straight, and its fall."""
    mtf50, k, share, fall = below_half(mtf)
    table = profile.transform()
    at_half = table[k - 1] + share[:, None] * (table[k] - table[k - 1])
    return mtf50, fit.spread(fit.sensitivity(at_half[:, None, :]))[:, 0] / np.maximum(fall, 1e-3), fall


def _mtf50(fit: EdgeFit, mtf: NDArray, mtf_sigma: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """MTF50, its standard deviation and its fall: the doubt is that of the whole curve, in its own shape.

    Where a curve runs nearly level, the curves about it fall to half much farther off than its slope would say.
    """
    mtf50, sigma, fall = _mtf50_by_slope(fit, mtf)
    low, high = (below_half(mtf + side * 1.96 * mtf_sigma)[0] for side in (-1, 1))
    farthest = np.fmax(mtf50 - low, np.where(np.isfinite(high), high, profile.Q[-1]) - mtf50)
    return mtf50, np.fmax(sigma, farthest / 1.96), fall


def _line_of(nominal: EdgePlaces, places: EdgePlaces, fit: EdgeFit) -> dict[str, NDArray]:
    """Middle of the used length, direction, and offset from the nominal line with its standard deviation."""
    cross, cross_sigma = _crossing(fit)
    offset = fit.line[:, 0] + cross
    at_middle = offset - fit.line[:, 2] / 3
    slope = (fit.line[:, 1] / fit.half)[:, None]
    scale = 1 / np.sqrt(1 + slope**2)
    used = places.middle + fit.middle[:, None] * places.along
    mean = used + offset[:, None] * places.normal
    return {
        "middle": used + at_middle[:, None] * places.normal,
        "normal": (places.normal - slope * places.along) * scale,
        "along": (places.along + slope * places.normal) * scale,
        "offset": np.einsum("nc,nc->n", mean - nominal.middle, nominal.normal),
        "sigma": cross_sigma * np.sqrt(fit.unrest),
    }


def _crossing(fit: EdgeFit) -> tuple[NDArray, NDArray]:
    """Where the profile crosses half, in pixels from its line, and its standard deviation."""
    cross = fit.half_crossing()
    return cross, fit.spread(_moved(fit, cross, 0.5)[:, None, :])[:, 0]


def _moved(fit: EdgeFit, crossing: NDArray, share: float) -> NDArray:
    """How places where profiles cross a share of their contrast follow the coefficients, shape (n, K)."""
    value, slope = profile.basis(profile.to_cell(crossing))
    steep = np.einsum("nk,nk->n", fit.coefficients, slope) * profile.cells_a_distance(crossing)
    dark, white = profile.plateau_rows()
    return ((1 - share) * dark + share * white - value) / np.where(np.abs(steep) > 1e-9, steep, 1.0)[:, None]


def _rise(fit: EdgeFit) -> tuple[NDArray, NDArray]:
    """Where the profile crosses 10 % of its contrast for the last and 90 % for the first time, in pixels."""
    level, z, row = _levels(fit), profile.bin_places(), np.arange(fit.n)

    def crossing(k: NDArray, wanted: float) -> NDArray:
        low, high = level[row, k], level[row, k + 1]
        share = np.clip((wanted - low) / np.where(np.abs(high - low) > 1e-9, high - low, 1), 0, 1)
        return z[k] + share * (z[k + 1] - z[k])

    last = len(z) - 2
    above = np.clip(np.argmax(level >= 0.9, axis=1) - 1, 0, last)
    below = np.clip(last + 1 - np.argmax(level[:, ::-1] <= 0.1, axis=1), 0, last)
    return crossing(below, 0.1), crossing(above, 0.9)


def _levels(fit: EdgeFit) -> NDArray:
    """Profiles by bin, as shares of their contrast."""
    dark, white = fit.plateaus()
    contrast = np.where(white > dark, white - dark, 1.0)[:, None]
    return (profile.levels(fit.coefficients) - dark[:, None]) / contrast


def _overshoot(fit: EdgeFit) -> NDArray:
    """How far profiles pass their plateaus, as a share of the contrast."""
    level = _levels(fit)[:, np.abs(profile.bin_places()) < OVERSHOOT_WITHIN]
    return np.maximum(np.maximum(level.max(axis=1) - 1, -level.min(axis=1)), 0)
