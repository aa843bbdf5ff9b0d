"""The search for fibres in the remainder of the residual, those of the highest signal to noise first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._acceptance import LEVELLED_DEPTH, Found, least_fibre_signal
from lensbench.analysers.dust._boxes import MANY_BOXES, Box, in_any, merged
from lensbench.analysers.dust._fibre_profile import measure_fibre
from lensbench.analysers.dust._fibre_tracing import Trace, are_promising, trace_from
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._leftovers import is_along, meets
from lensbench.analysers.dust._paths import least_distance
from lensbench.analysers.dust._peaks import Peaks
from lensbench.analysers.dust._pyramid import Level
from lensbench.analysers.dust._remainder import Remainder
from lensbench.analysers.dust._segments import NO_SEGMENTS, Segments, find_segments

SEGMENT_SIGNAL = 5.2
"""Least signal to noise of a segment from which a fibre is traced: none matches a fibre exactly (chosen by
experience)."""

LEAST_SHARE = 0.6
"""Share of a fibre's least signal that its profile must have on the cells on which it was traced, for finer cells
to be tried (chosen by experience)."""

CHANGED_PX = 64
"""How far around a change segments are searched again."""

STRONGEST_PEAKS = 300
"""Peaks that segments are compared with, at most."""


class FibreSearch:
    """Straight segments from which fibres may be traced.

    Parameters
    ----------
    remainder : Remainder
        Where to search; after each change of it call `update`.
    cells_px : tuple of int
        Cell sizes of the levels to search.
    """

    def __init__(self, remainder: Remainder, cells_px: tuple[int, ...]) -> None:
        self._remainder = remainder
        self._cells_px = cells_px
        self._postponed = NO_SEGMENTS
        self._changed = [remainder.pyramid.whole]

    def update(self, changed: list[Box]) -> None:
        """Note where the remainder has changed: segments are searched again there."""
        self._changed += changed

    def find(self, peaks: Peaks) -> list[Found]:
        """The fibres that nothing stronger disturbs.

        Parameters
        ----------
        peaks : Peaks
            Where round marks may be: a line through a stronger one must wait until that is subtracted.

        Returns
        -------
        list of Fibre
        """
        accepted: list[Found] = []
        segments = self._segments()
        dominated = dominated_by(peaks, segments)
        postponed = [segments.chosen(dominated)]
        segments = self._promising(segments.chosen(~dominated))
        while len(segments.x0):
            level = next(level for level in self._levels if level.cell_px == segments.cell[0])
            trace = trace_from(level, segments, 0)
            along = _along(segments, trace)
            # A stronger mark may deflect the trace: it is traced again once that is subtracted.
            if _passes_stronger(trace, peaks) or any(meets(trace, other) for other in accepted):
                postponed.append(segments.chosen(along))
            elif not is_along(trace, self._remainder.found):
                fibre = measure_trace(self._remainder, level, trace)
                if fibre is not None and self._remainder.is_new_mark(fibre):
                    accepted.append(fibre)
            segments = segments.chosen(~along)
        # Rejected segments are not traced again while nothing changes there.
        self._postponed = Segments.concatenated(postponed)
        return accepted

    @property
    def _levels(self) -> list[Level]:
        return [
            level for level in self._remainder.pyramid.background_subtracted if level.cell_px in self._cells_px
        ]

    def _segments(self) -> Segments:
        """Segments where the remainder has changed since the last search, and those that were postponed."""
        boxes, self._changed = merged([box.grown(CHANGED_PX) for box in self._changed]), []
        if len(boxes) <= MANY_BOXES:
            new = [self._segments_in(box) for box in boxes]
        else:
            everywhere = self._segments_in(None)
            new = [everywhere.chosen(in_any(boxes, *everywhere.centres))]
        touched = np.any(in_any(boxes, *self._postponed.points(9)), axis=0)
        return Segments.concatenated([self._postponed.chosen(~touched), *new])

    def _segments_in(self, box: Box | None) -> Segments:
        """Segments in a box (or anywhere) that are neither too faint nor leftovers of marks or of levelling."""
        found = find_segments(self._levels, SEGMENT_SIGNAL, box)
        x, y = found.centres
        residual = self._remainder.residual
        length = np.maximum(np.abs(found.x1 - found.x0), np.abs(found.y1 - found.y0)) + found.cell
        mean = np.abs(found.signal) / np.sqrt(length / found.cell)
        depth = residual.depth_of_cells(mean, x, y, found.cell)
        deep = depth > np.where(residual.levelled_at(x, y), LEVELLED_DEPTH / 2, self._remainder.least_response)
        return found.chosen(self._remainder.not_leftovers(deep, x, y, depth))

    def _promising(self, segments: Segments) -> Segments:
        """The segments from which tracing is worthwhile, the strongest first."""
        promising = np.zeros(len(segments.x0), bool)
        for level in self._levels:
            own = np.flatnonzero(segments.cell == level.cell_px)
            promising[own] = are_promising(level, segments.chosen(own))
        segments = segments.chosen(promising)
        return segments.chosen(np.argsort(-np.abs(segments.signal)))


def measure_trace(remainder: Remainder, level: Level, trace: Trace) -> Fibre | None:
    """The fibre along a traced line, None where it is too faint for one.

    Parameters
    ----------
    remainder : Remainder
    level : Level
        On which the line was traced.
    trace : Trace

    Returns
    -------
    Fibre or None
    """
    length = float(np.hypot(*np.diff(trace.path[::4], axis=0).T).sum())
    x, y = trace.path.mean(axis=0)
    mean = trace.signal / np.sqrt(len(trace.path))
    depth = float(remainder.residual.depth_of_cells(mean, x, y, level.cell_px))
    least_signal = least_fibre_signal(length)
    if trace.signal < least_signal or depth < remainder.least_response:
        return None
    levels = remainder.pyramid.background_subtracted
    return measure_fibre(remainder.residual, levels, level, trace.path, trace.sign, LEAST_SHARE * least_signal)


def dominated_by(peaks: Peaks, segments: Segments) -> NDArray[np.bool_]:
    """Which segments only pass through a round mark of higher signal to noise, shape (segments,)."""
    left = np.arange(len(segments.x0))
    along = np.stack([segments.x1 - segments.x0, segments.y1 - segments.y0], axis=1)
    lengths = np.maximum(np.hypot(*along.T), 1e-9)
    along /= lengths[:, None]
    strongest = np.argsort(-np.abs(peaks.signal))[:STRONGEST_PEAKS]
    for x, y, signal, sigma in zip(*peaks.chosen(strongest), strict=True):
        dx, dy = x - segments.x0[left], y - segments.y0[left]
        distance_along = dx * along[left, 0] + dy * along[left, 1]
        distance_across = np.abs(dx * along[left, 1] - dy * along[left, 0])
        near = (distance_across < 4 * sigma) & (distance_along > -4 * sigma)
        near &= distance_along < lengths[left] + 4 * sigma
        left = left[~near | (np.abs(segments.signal[left]) >= 0.9 * abs(signal))]
    dominated = np.ones(len(segments.x0), bool)
    dominated[left] = False
    return dominated


def _passes_stronger(trace: Trace, peaks: Peaks) -> bool:
    """Whether a round mark of higher signal to noise lies on or beside a traced line."""
    strong = peaks.chosen(np.abs(peaks.signal) > trace.signal)
    distance = least_distance(np.stack([strong.x, strong.y], axis=1), trace.path[::4])
    return bool((distance < 4 * strong.sigma + 4).any())


def _along(segments: Segments, trace: Trace) -> NDArray[np.bool_]:
    """Which segments belong to a traced line; the first at least, and what crosses or duplicates that."""
    centres = np.stack(segments.centres, axis=1)
    path = trace.path[::4]
    away = least_distance(centres, path)
    belongs = away < 6 * segments.cell
    belongs |= np.hypot(*(centres - centres[0]).T) < 8 * segments.cell
    # On finer levels a wide line gives many segments, all along it.
    ends = [
        least_distance(np.stack([x, y], axis=1), path)
        for x, y in ((segments.x0, segments.y0), (segments.x1, segments.y1))
    ]
    belongs |= np.maximum(away, np.maximum(*ends)) < 4 * segments.cell[0]
    belongs[0] = True
    return belongs
