"""One slanted edge, or a thousand: where it lies and its modulation transfer.

Each sample of one channel is taken where it lies, at a signed distance from a line that may be curved; a smooth
profile (`_profile`) and the line are fitted to them by turns until both stand, weighted by the noise found on
this very edge (`_fit`). The modulation transfer is the exact transform of the fitted profile: no bins to be empty,
no window to cut the tails, and the intervals follow from the fit.

Position is where the profile crosses half way between the plateaus, averaged along the edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from lensbench.analysers.edge import _sample_loops as loops
from lensbench.analysers.edge._acceptance import reasons
from lensbench.analysers.edge._crosstalk import Crosstalk
from lensbench.analysers.edge._crosstalk_cells import without_crosstalk
from lensbench.analysers.edge._edge_fit import EdgeFit
from lensbench.analysers.edge._far_steps import unsure_plateaus
from lensbench.analysers.edge._first_look import MAX_TURN, RoughEdges, are_uncut, look_roughly
from lensbench.analysers.edge._fit import FinalFits, final_fits, first_fit
from lensbench.analysers.edge._intervals import (
    Figures,
    figures,
    measured_lines,
    mtf50_by_curve,
    overshoot,
    sigma_by_crosstalk,
    sigma_by_noise,
    sigma_by_plateaus,
)
from lensbench.analysers.edge._model import Segments
from lensbench.analysers.edge._places import EdgePlaces
from lensbench.analysers.edge._responses import EdgeResponses
from lensbench.analysers.edge._samples import EdgeSamples, gather, joined
from lensbench.analysers.edge._tails import tails
from lensbench.findings.reasons import Reason
from lensbench.shot import Shot

WINDOW = 8.0
"""How far all samples of each side are taken, in blur widths ..."""

MIN_WINDOW = 8.0
"""... and at least, in pixels."""

WIDE_WINDOW = 32.0
"""How far a part of them is taken, where the sheet allows: beyond, a glow is over, and light fades as 1/z ..."""

WIDE_APART = 4
"""... about so many pixels apart each way: there are plenty."""

MARGINS = (6.5, 4.5, 3.0)
"""How far the samples stay from other edges, in blur widths: the first that leaves an edge long enough, since
crosstalk from the others is known the worse the nearer they are ..."""

END_MARGIN = 4.5
"""... and from the ends of an edge that has no others."""

MIN_LENGTH = 16.0
"""Shortest straight part, in pixels, that an edge is measured on ..."""

GOOD_LENGTHS = ((60.0, 9.0), (MIN_LENGTH, 6.0))
"""... and those, in pixels and in blur widths, that are worth staying nearer to the others for, margin by margin.
So deep, or half as deep, is what is left of the figure's dark."""

STRAYED = 0.95
"""The finder leaves a degree of turn at most. A line that the first look turned by all that it may was misled
by the rest of an edge that the border left, and what is fitted about it is no edge."""

FINER = 4
"""`profile.Q` has so many steps for each of `FREQUENCY`."""

CHUNK = 120
"""Edges that go through the arithmetic together: enough to share its overhead, few enough for a core's cache."""


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
    samples = _gathered(shot, channel, places, rough.blur, margin)
    # The first look was at thinned samples: it may have missed a glint.
    clipped = np.maximum(rough.clipped, samples.clipped / np.maximum(samples.taken, 1))
    reason = rough.reason.copy()
    strayed = (np.abs(rough.turn) > STRAYED * MAX_TURN) & ~are_uncut(nominal, shot.size)
    reason[(reason == "") & strayed] = Reason.OUTSIDE
    reason[(reason == "") & (high - low < MIN_LENGTH)] = Reason.TOO_SHORT
    rough = replace(rough, clipped=clipped, reason=reason)
    samples = _in_contrasts(samples.keep((reason == "")[samples.edge]), places, rough)
    contrast = rough.white - rough.dark
    segments = Segments(
        (low + high) / 2,
        np.maximum(high - low, MIN_LENGTH) / 2,
        rough.dark / contrast,
        np.linalg.inv(rough.light.across_covariance).astype(np.float64),
    )
    first = first_fit(samples, segments, rough.blur, rough.noise / contrast)
    # What an edge too poor for figures shows must not be taken off the others of its tile.
    usable = reasons(first, rough.blur, reason) == ""
    last = final_fits(without_crosstalk(first, Crosstalk(places, margin, usable)))
    return _responses(nominal, places, last, rough, first)


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


def _in_contrasts(samples: EdgeSamples, places: EdgePlaces, rough: RoughEdges) -> EdgeSamples:
    """The samples with the light as level as at the edge's middle, in shares of the rough contrast."""
    levels = np.stack([rough.dark, rough.white], axis=1)
    shape = rough.light.along_and_across(places)
    return replace(
        samples, light=loops.in_contrasts(samples.edge, samples.t, samples.u, samples.light, shape, levels)
    )


# -- what it shows --------------------------------------------------------------------------------------------


def _responses(
    nominal: EdgePlaces, places: EdgePlaces, last: FinalFits, rough: RoughEdges, with_crosstalk: EdgeFit
) -> EdgeResponses:
    """What the last fits show; `with_crosstalk` is the one before crosstalk was taken off."""
    fit = last.fit
    reason = reasons(fit, rough.blur, rough.reason)
    seen = figures(fit)
    by_crosstalk = sigma_by_crosstalk(fit, figures(with_crosstalk), seen, (reason == "") & (places.side >= 0))
    sigma = Figures(*map(np.hypot, sigma_by_noise(fit), by_crosstalk))
    sigma = Figures(*map(np.hypot, sigma, sigma_by_plateaus(unsure_plateaus(fit), seen)))
    mtf50, mtf50_sigma, fall = mtf50_by_curve(fit, seen.mtf, sigma.mtf)
    tail = tails(last, with_crosstalk)
    dark, white = fit.plateaus()
    line = measured_lines(nominal, places, fit)
    scale = rough.white - rough.dark
    bad = reason != ""

    def known(a: NDArray) -> NDArray:
        return np.where(bad.reshape(-1, *[1] * (a.ndim - 1)), np.nan, a)

    along = np.where(bad[:, None], nominal.along, line.along)
    return EdgeResponses(
        x=np.where(bad, nominal.middle[:, 0], line.middle[:, 0]),
        y=np.where(bad, nominal.middle[:, 1], line.middle[:, 1]),
        normal=np.where(bad[:, None], nominal.normal, line.normal),
        angle_deg=np.degrees(np.arctan2(-along[:, 1], along[:, 0])) % 180,
        offset_px=known(line.offset),
        offset_sigma_px=known(sigma.position),
        curvature_px=known(fit.line[:, 2]),
        length_px=known(2 * fit.segments.half),
        mtf=known(seen.mtf[:, ::FINER]),
        mtf_sigma=known(sigma.mtf[:, ::FINER]),
        mtf50=known(mtf50),
        mtf50_sigma=known(mtf50_sigma),
        steepness=known(mtf50 * fall),
        rise_px=known(seen.rise),
        rise_sigma_px=known(sigma.rise),
        quartile_px=known(tail.quartile_px),
        tail=known(tail.share),
        tail_covariance=known(tail.by_noise),
        tail_model_covariance=known(tail.by_model),
        reach_px=known(fit.reach.min(axis=1)),
        overshoot=known(overshoot(fit)),
        dark=known(rough.dark + scale * dark),
        white=known(rough.dark + scale * white),
        clipped=rough.clipped,
        contrast_to_noise=known((white - dark) / np.sqrt(fit.variance[:, -1])),
        reason=reason,
    )
