"""The search for round marks in the remainder of the residual, those of the highest signal to noise first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._acceptance import LEVELLED_DEPTH, Found, is_elongated, is_visible
from lensbench.analysers.dust._blob_fit import fit_blobs
from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._boxes import MANY_BOXES, Box, in_any, merged
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._fibre_search import measure_trace
from lensbench.analysers.dust._fibre_tracing import trace_from
from lensbench.analysers.dust._leftovers import is_disturbed, meets
from lensbench.analysers.dust._peaks import NO_PEAKS, Peaks, find_peaks
from lensbench.analysers.dust._remainder import Remainder
from lensbench.analysers.dust._segments import Segments, find_segments

PEAK_SIGNAL = 5.7
"""Least signal to noise of a peak that is fitted: no filter matches a mark exactly (chosen by experience)."""

UNIT_RESPONSE = 1.8
"""Signal to noise of a filter with a standard deviation of 1 px where a constant shadow of depth 1 lies on light
of strength 1."""

WIDE_PX, WIDE_SHARE = 32.0, 0.4
"""Of marks wider than this (standard deviation of the filter), only those of at least this share of the highest
signal are fitted at a time: the smooth light must be fitted again before fainter ones can be distinguished from it
(chosen by experience)."""

LARGEST_MISFIT = 1.0
"""Where the misfit of a shape exceeds this share of its own energy, something else dominates its surroundings."""

FIBRE_SIGNAL_SHARE = 0.8
"""An elongated shape is replaced by the fibre along it when that has this share of its signal to noise."""

BENT_MISFIT, BENT_SIGNAL, BENT_TRIES = 0.03, 20.0, 3
"""Misfit, and its signal to noise, from which a shape may be a fibre that bends sharply, and the segments on each
level from which that is traced (chosen by experience)."""

TRIES = 4
"""How often the next fainter peaks are fitted when the stronger ones hold no mark."""


class BlobSearch:
    """Peaks of the matched filters where round marks may be.

    Parameters
    ----------
    remainder : Remainder
        Where to search; after each change of it call `update`.

    Attributes
    ----------
    peaks : Peaks
        Not yet fitted, as the remainder is now.
    """

    def __init__(self, remainder: Remainder) -> None:
        self._remainder = remainder
        self.peaks = self._deep_enough(find_peaks(remainder.pyramid.background_subtracted, PEAK_SIGNAL))
        self._rejected = NO_PEAKS

    def find(self) -> list[Found]:
        """The round marks (or fibres, where a shape is elongated) that no stronger ones disturb."""
        for _ in range(TRIES):
            peaks = self._strongest()
            if not len(peaks.x):
                break
            remainder = self._remainder
            found = self._accepted(fit_blobs(remainder.residual, remainder.pyramid.levels, peaks, remainder.found))
            self._rejected = Peaks.concatenated([self._rejected, peaks])
            if found:
                return found
            self.peaks = self.peaks.chosen(~self._were_rejected(self.peaks))
        return []

    def update(self, changed: list[Box]) -> None:
        """Filter again where the remainder has changed."""
        boxes = merged(changed)
        levels = self._remainder.pyramid.background_subtracted
        if len(boxes) <= MANY_BOXES:
            new = [find_peaks(levels, PEAK_SIGNAL, box) for box in boxes]
        else:
            everywhere = find_peaks(levels, PEAK_SIGNAL)
            new = [everywhere.chosen(in_any(boxes, everywhere.x, everywhere.y))]
        self._rejected, kept = (p.chosen(~in_any(boxes, p.x, p.y)) for p in (self._rejected, self.peaks))
        peaks = Peaks.concatenated([kept, *new])
        self.peaks = self._deep_enough(peaks.chosen(~self._were_rejected(peaks)))

    def _strongest(self) -> Peaks:
        """Peaks that no stronger one is near, the strongest first."""
        peaks = self.peaks.chosen(np.argsort(-np.abs(self.peaks.signal)))
        signal, wide = np.abs(peaks.signal), peaks.sigma >= WIDE_PX
        free = ~wide | (signal > WIDE_SHARE * np.max(signal, initial=0, where=wide))
        chosen = []
        while free.any():
            first = int(np.argmax(free))
            chosen.append(first)
            distance = np.hypot(peaks.x - peaks.x[first], peaks.y - peaks.y[first])
            free &= distance > 6 * peaks.sigma[first] + 3 * peaks.sigma
        return peaks.chosen(np.array(chosen, int))

    def _accepted(self, blobs: list[Blob | None]) -> list[Found]:
        """The shapes that are marks and don't lie in the shadows of stronger ones not yet subtracted."""
        accepted: list[Found] = []
        for blob in sorted((b for b in blobs if b is not None), key=lambda b: -b.signal_to_noise):
            if is_disturbed(blob, accepted) or blob.misfit > LARGEST_MISFIT:
                continue
            mark = self._as_fibre(blob, accepted) if is_elongated(blob) else self._unless_bent(blob)
            if mark is not None and self._remainder.is_new_mark(mark):
                accepted.append(mark)
        return accepted

    def _as_fibre(self, blob: Blob, accepted: list[Found]) -> Found | None:
        """The fibre that an elongated shape is a part of, or the shape where none can be traced.

        None where it meets a stronger mark, which must be subtracted first.
        """
        levels = self._remainder.pyramid.background_subtracted[:4]
        level = [level for level in levels if level.cell_px <= max(blob.width.value, CELL_PX)][-1]
        along = 0.35 * blob.length.value * blob.axis
        ends = (
            np.array([v]) for v in (blob.x - along[0], blob.y - along[1], blob.x + along[0], blob.y + along[1])
        )
        x0, y0, x1, y1 = ends
        signal = np.sign(blob.depth.value) * blob.signal_to_noise
        segment = Segments(x0, y0, x1, y1, np.array([signal]), np.array([float(level.cell_px)]))
        trace = trace_from(level, segment, 0)
        if any(meets(trace, other) for other in accepted):
            return None
        fibre = measure_trace(self._remainder, level, trace)
        if fibre is None or fibre.signal_to_noise < FIBRE_SIGNAL_SHARE * blob.signal_to_noise:
            return blob
        return fibre if is_visible(fibre, self._remainder.residual.unsure) else blob

    def _unless_bent(self, blob: Blob) -> Found:
        """A shape, or the bent fibre that it is the blurred picture of, where that explains more."""
        if blob.misfit < BENT_MISFIT or blob.misfit * blob.signal_to_noise**2 < BENT_SIGNAL**2:
            return blob
        levels = [
            level
            for level in self._remainder.pyramid.background_subtracted[1:4]
            if level.cell_px < blob.width.value / 4
        ]
        best: Found = blob
        for level in levels:
            segments = find_segments([level], 0.1 * blob.signal_to_noise, blob.box)
            segments = segments.chosen(segments.signal * blob.depth.value > 0)
            for number in np.argsort(-np.abs(segments.signal))[:BENT_TRIES]:
                fibre = measure_trace(self._remainder, level, trace_from(level, segments, int(number)))
                if fibre is not None and fibre.signal_to_noise > max(best.signal_to_noise, BENT_SIGNAL):
                    best = fibre
        return best

    def _were_rejected(self, peaks: Peaks) -> NDArray[np.bool_]:
        """Which peaks were fitted already, with nothing changed there since."""
        rejected = np.zeros(len(peaks.x), bool)
        for x, y, sigma in zip(self._rejected.x, self._rejected.y, self._rejected.sigma, strict=True):
            near = np.hypot(peaks.x - x, peaks.y - y) < sigma
            rejected |= near & (np.abs(np.log(peaks.sigma / sigma)) < 0.4)
        return rejected

    def _deep_enough(self, peaks: Peaks) -> Peaks:
        """The peaks that are neither too faint for a mark nor leftovers of marks or of levelling."""
        residual = self._remainder.residual
        strength = residual.strength_at(peaks.x, peaks.y)
        depth = 100 * np.abs(peaks.signal) / (strength * peaks.sigma * UNIT_RESPONSE)
        levelled = residual.levelled_at(peaks.x, peaks.y)
        deep = depth >= np.where(levelled, 0.9 * LEVELLED_DEPTH, self._remainder.least_response)
        deep &= peaks.sigma < residual.uneven.widest_px / 2
        return peaks.chosen(self._remainder.not_leftovers(deep, peaks.x, peaks.y, depth))
