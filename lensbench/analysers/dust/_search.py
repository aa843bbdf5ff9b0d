"""The search for dirt marks on a grey picture: the plainest are taken out first, then what they hid."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._acceptance import (
    LEAST_STEPS,
    PATCH_PX,
    Found,
    is_beside,
    is_deep_enough,
    is_elongated,
    is_left_over,
    is_like,
    is_ridge,
    least_fibre_signal,
    left_behind,
    meets,
    share_of,
)
from lensbench.analysers.dust._blob_shape import Shape, fit_shapes, refit_shapes
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._fibre_path import Trail, follow, least_distance, likely
from lensbench.analysers.dust._fibre_shape import Fibre, joined_paths, measure_fibre
from lensbench.analysers.dust._line_sums import Segments, find_segments
from lensbench.analysers.dust._matched_filters import Peaks, find_peaks
from lensbench.analysers.dust._pyramid import Box, Grids, Level, apart, in_any, joined
from lensbench.analysers.dust._residual import GreyPicture, settle

PEAK_SIGNAL, SEED_SIGNAL = 5.7, 5.2
"""Least signal to noise of a filter's answer where a shape is fitted, and of a segment from which a fibre is
followed: neither matches a mark quite."""

FIBRE_LEVELS_PX = ((4, 8, 16), (2,))
"""Cells of the grids on which fibres are looked for: on the finest, which takes the longest, only at last."""

LEAST_SHARE = 0.6
"""Share of a fibre's least signal that a section must show on the cells on which it was followed, for finer cells
to be looked at."""

LEAST_ANSWER = 0.2
"""Where filters and segments answer less (in percent) nothing is looked for: none of it becomes a mark."""

FLAT_ANSWER = 1.8
"""Signal to noise of a filter of 1 px where an even shadow of the depth 1 lies on light of the strength 1."""

LEVELLED_DEPTH = 1.0
"""Shallower marks (in percent) can't be told from what levelling leaves of the corners' own light."""

WIDE_PX, WIDE_SHARE = 32.0, 0.4
"""Of the marks wider than this (standard deviation of the filter) only those of at least this share of the
plainest's signal are taken at a time: the smooth light must settle before fainter ones can be told from it."""

UNEXPLAINED = 1.0
"""Where a shape leaves over more than this, against its own energy, something else rules its surroundings."""

PASSES, ROUNDS, TRIES = 6, 12, 4
"""How often, at most, fibres and round marks are looked for in turn; round marks are taken out before fibres are
looked for again; and fainter places are tried in a round when the plainer ones hold no mark."""

MANY_BOXES = 6
"""Where so many parts of the frame have changed, all of it is searched at once."""

NO_PEAKS = Peaks(*(np.empty(0) for _ in range(4)))
NO_SEGMENTS = Segments(*(np.empty(0) for _ in range(6)))


def search_marks(picture: GreyPicture) -> list[Found]:
    """All marks of a grey picture, the plainest first.

    Parameters
    ----------
    picture : GreyPicture
        Of one flat.
    """
    search = _Search(picture)
    for cells in FIBRE_LEVELS_PX:
        search.look_for_fibres_on(cells)
        for _ in range(PASSES):
            # Fibres once more when no round mark is left that could outshine them.
            if not (search.take_fibres() or search.take_shapes() or search.take_fibres()):
                break
    final: list[Found] = []
    for mark in sorted(search.found, key=lambda m: -m.signal_to_noise):
        faint = abs(mark.depth.value) < LEVELLED_DEPTH and picture.levelled_at(mark.x, mark.y)
        uneven_light = faint or is_ridge(mark, picture.size)
        if is_deep_enough(mark, picture.rounding) and not uneven_light and not is_left_over(mark, final):
            final.append(mark)
    return final


class _Search:
    """The picture without the marks found so far, and where more may be."""

    def __init__(self, picture: GreyPicture) -> None:
        self.picture = picture
        self.grids = Grids(picture.z.copy())
        self.found: list[Found] = []
        # Filters and segments match no mark quite: half of what a mark must have is enough.
        self.least_answer = max(LEAST_ANSWER, 100 * LEAST_STEPS * picture.rounding / 2)
        self.peaks = self._show(find_peaks(self.grids.grounded, PEAK_SIGNAL))
        self.tried = NO_PEAKS

    # -- round marks --

    def take_shapes(self) -> bool:
        """Take out round marks, the plainest first, until none is left; whether there were any."""
        before = len(self.found)
        for _ in range(ROUNDS):
            if not self._take_plainest():
                break
        return len(self.found) > before

    def _take_plainest(self) -> bool:
        """Take out the round marks that nothing plainer disturbs; whether there were any."""
        for _ in range(TRIES):
            peaks = self._plainest()
            if not len(peaks.x):
                break
            accepted = self._accepted(fit_shapes(self.picture, self.grids.levels, peaks))
            self.tried = _together([self.tried, peaks])
            if accepted:
                self._take_out(accepted)
                return True
            self.peaks = self.peaks.chosen(~self._was_tried(self.peaks))
        return False

    def _plainest(self) -> Peaks:
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

    def _accepted(self, shapes: list[Shape | None]) -> list[Found]:
        """The shapes that are marks and don't lie in the skirts of plainer ones that are still to be taken out."""
        accepted: list[Found] = []
        for shape in sorted((s for s in shapes if s is not None), key=lambda s: -s.signal_to_noise):
            hidden = any(share_of(other, shape.x, shape.y) > 1e-3 for other in accepted)
            if hidden or shape.unexplained > UNEXPLAINED:
                continue
            mark = self._as_fibre(shape, accepted) if is_elongated(shape) else shape
            if mark is not None and self._shows(mark) and not is_left_over(mark, self.found):
                accepted.append(mark)
        return accepted

    def _as_fibre(self, shape: Shape, accepted: list[Found]) -> Found | None:
        """The fibre that an elongated shape is a part of, or the shape where none can be followed.

        None where it meets a plainer mark, and must wait until that is taken out.
        """
        level = [level for level in self.grids.grounded[:4] if level.cell_px <= max(shape.width.value, CELL_PX)][
            -1
        ]
        way = 0.35 * shape.length.value * shape.axis
        ends = (np.array([v]) for v in (shape.x - way[0], shape.y - way[1], shape.x + way[0], shape.y + way[1]))
        signal = np.sign(shape.depth.value) * shape.signal_to_noise
        trail = follow(level, Segments(*ends, np.array([signal]), np.array([float(level.cell_px)])), 0)
        if any(meets(trail, other) for other in accepted):
            return None
        fibre = self._measured(level, trail)
        if fibre is None or fibre.signal_to_noise < 0.8 * shape.signal_to_noise or not self._shows(fibre):
            return shape
        return fibre

    # -- fibres --

    def look_for_fibres_on(self, cells_px: tuple[int, ...]) -> None:
        """Look for fibres on the grids with these cells from now on, all over the frame at first."""
        self.fibre_cells_px = cells_px
        self.waiting = NO_SEGMENTS
        self.changed = [self.grids.whole]

    @property
    def _fibre_levels(self) -> list[Level]:
        return [level for level in self.grids.grounded if level.cell_px in self.fibre_cells_px]

    def take_fibres(self) -> bool:
        """Take out the fibres that nothing plainer disturbs; whether there were any."""
        accepted: list[Found] = []
        seeds = self._seeds()
        outshone = self._outshone(seeds)
        later = [seeds.chosen(outshone)]
        seeds = self._likely(seeds.chosen(~outshone))
        while len(seeds.x0):
            level = next(level for level in self.grids.grounded if level.cell_px == seeds.cell[0])
            trail = follow(level, seeds, 0)
            along = _along(seeds, trail)
            # A trail that meets a plainer mark may be led astray by it: not before that is taken out.
            if self._is_outshone(trail) or any(meets(trail, other) for other in accepted):
                later.append(seeds.chosen(along))
            elif not is_beside(trail, self.found):
                fibre = self._measured(level, trail)
                if fibre is not None and self._shows(fibre) and not is_left_over(fibre, self.found):
                    accepted.append(fibre)
            seeds = seeds.chosen(~along)
        # What led nowhere need not be tried again while nothing changes there.
        self.waiting = _together(later)
        if accepted:
            self._take_out(accepted)
        return bool(accepted)

    def _seeds(self) -> Segments:
        """Segments where the picture changed since fibres were last looked for, and those that had to wait."""
        boxes, self.changed = joined([box.grown(64) for box in self.changed]), []
        found = _found_in(boxes, self._segments)
        touched = in_any(boxes, *self.waiting.points(9)).any(axis=0)
        return _together([self.waiting.chosen(~touched), *found])

    def _joined_to_found(self, fibre: Fibre) -> Fibre:
        """A fibre made one with those found before that go on where it ends."""
        for number in reversed(range(len(self.found))):
            other = self.found[number]
            path = joined_paths(fibre, other) if isinstance(other, Fibre) else None
            if path is None:
                continue
            self._lift([], put_back=[other])
            sign = float(np.sign(fibre.depth.value))
            whole = measure_fibre(self.picture, self.grids.grounded, self.grids.grounded[0], path, sign)
            if whole is not None and whole.signal_to_noise > max(fibre.signal_to_noise, other.signal_to_noise):
                del self.found[number]
                fibre = whole
            else:
                self._lift([other])
        return fibre

    def _likely(self, seeds: Segments) -> Segments:
        """The segments from which it is worth while to follow a fibre, the strongest first."""
        likely_ones = np.zeros(len(seeds.x0), bool)
        for level in self._fibre_levels:
            own = np.flatnonzero(seeds.cell == level.cell_px)
            likely_ones[own] = likely(level, seeds.chosen(own))
        seeds = seeds.chosen(likely_ones)
        return seeds.chosen(np.argsort(-np.abs(seeds.signal)))

    def _measured(self, level: Level, trail: Trail) -> Fibre | None:
        """The fibre along a trail, if it is one."""
        length = np.hypot(*np.diff(trail.path[::4], axis=0).T).sum()
        x, y = trail.path.mean(axis=0)
        depth = self._cell_depth(trail.signal / np.sqrt(len(trail.path)), x, y, level.cell_px)
        if trail.signal < least_fibre_signal(length) or depth < self.least_answer:
            return None
        least = LEAST_SHARE * least_fibre_signal(length)
        return measure_fibre(self.picture, self.grids.grounded, level, trail.path, trail.sign, least)

    def _is_outshone(self, trail: Trail) -> bool:
        """Whether a plainer round mark lies on or beside a trail."""
        strong = self.peaks.chosen(np.abs(self.peaks.signal) > trail.signal)
        near = least_distance(np.stack([strong.x, strong.y], axis=1), trail.path[::4])
        return bool((near < 4 * strong.sigma + 4).any())

    def _outshone(self, seeds: Segments) -> NDArray[np.bool_]:
        """Which segments only pass through a round mark that is plainer than they."""
        left = np.arange(len(seeds.x0))
        ways = np.stack([seeds.x1 - seeds.x0, seeds.y1 - seeds.y0], axis=1)
        lengths = np.maximum(np.hypot(*ways.T), 1e-9)
        ways /= lengths[:, None]
        strongest = np.argsort(-np.abs(self.peaks.signal))[:300]
        for x, y, signal, sigma in zip(*self.peaks.chosen(strongest), strict=True):
            dx, dy = x - seeds.x0[left], y - seeds.y0[left]
            along = dx * ways[left, 0] + dy * ways[left, 1]
            across = np.abs(dx * ways[left, 1] - dy * ways[left, 0])
            near = (across < 4 * sigma) & (along > -4 * sigma) & (along < lengths[left] + 4 * sigma)
            left = left[~near | (np.abs(seeds.signal[left]) >= 0.9 * abs(signal))]
        out = np.ones(len(seeds.x0), bool)
        out[left] = False
        return out

    # -- taking out --

    def _lift(self, marks: Sequence[Found], put_back: Sequence[Found] = ()) -> None:
        """Lift the picture by the shadows of marks, and put those of others back."""
        for mark in put_back:
            mark.lift(self.grids.left, self.picture, -1.0)
        for mark in marks:
            mark.lift(self.grids.left, self.picture)
        self.grids.renew([mark.box for mark in (*put_back, *marks)])

    def _take_out(self, accepted: list[Found]) -> None:
        """Take marks out, fit those that stand close together anew, let the light settle, and search anew."""
        accepted = [self._joined_to_found(mark) if isinstance(mark, Fibre) else mark for mark in accepted]
        self._lift(accepted)
        self.found += accepted
        changed = [mark.box for mark in accepted]
        crowd = self._crowd(changed)
        self._refit(crowd)
        changed += [self.found[n].box for n in crowd]
        if any(mark.width.value >= PATCH_PX for mark in accepted):
            settle(self.picture, self.grids.left)
            self.grids.renew([self.grids.whole])
        self._search_anew(changed)

    def _crowd(self, changed: list[Box]) -> list[int]:
        """Numbers of the round marks that overlap with others where something changed."""
        boxes = [mark.box for mark in self.found]
        return [
            n
            for n, box in enumerate(boxes)
            if isinstance(self.found[n], Shape)
            and any(box.meets(other) for other in changed)
            and sum(box.meets(other) for other in boxes) > 1
        ]

    def _refit(self, crowd: list[int]) -> None:
        """Fit round marks anew, each without the others."""
        for group in apart(crowd, [mark.box for mark in self.found]):
            renewed = refit_shapes(self.picture, self.grids.levels, [self.found[n] for n in group])
            pairs = [(n, shape) for n, shape in zip(group, renewed, strict=True) if shape is not None]
            pairs = [(n, shape) for n, shape in pairs if is_like(shape, self.found[n])]
            self._lift([shape for _, shape in pairs], put_back=[self.found[n] for n, _ in pairs])
            for number, shape in pairs:
                self.found[number] = shape

    def _search_anew(self, changed: list[Box]) -> None:
        """Search again where something was taken out; leave out peaks that led nowhere or are mere leftovers."""
        self.changed += changed
        boxes = joined(changed)
        found = _found_in(boxes, lambda box: find_peaks(self.grids.grounded, PEAK_SIGNAL, box))
        self.tried, kept = (p.chosen(~in_any(boxes, p.x, p.y)) for p in (self.tried, self.peaks))
        peaks = _together([kept, *found])
        self.peaks = self._show(peaks.chosen(~self._was_tried(peaks)))

    def _was_tried(self, peaks: Peaks) -> NDArray[np.bool_]:
        """Which peaks have led nowhere since anything changed there."""
        tried = np.zeros(len(peaks.x), bool)
        for x, y, sigma in zip(self.tried.x, self.tried.y, self.tried.sigma, strict=True):
            tried |= (np.hypot(peaks.x - x, peaks.y - y) < sigma) & (np.abs(np.log(peaks.sigma / sigma)) < 0.4)
        return tried

    # -- what can't be a mark --

    def _shows(self, mark: Found) -> bool:
        return is_deep_enough(mark, self.picture.rounding)

    def _show(self, peaks: Peaks) -> Peaks:
        """The peaks without those too faint for a mark, or for more than another, or levelling, left behind."""
        strength = self.picture.strength_at(peaks.x, peaks.y)
        depth = 100 * np.abs(peaks.signal) / (strength * peaks.sigma * FLAT_ANSWER)
        levelled = self.picture.levelled_at(peaks.x, peaks.y)
        show = depth >= np.where(levelled, 0.9 * LEVELLED_DEPTH, self.least_answer)
        return peaks.chosen(self._more_than_left_behind(show, peaks.x, peaks.y, depth))

    def _more_than_left_behind(self, show: NDArray, x: NDArray, y: NDArray, depth: NDArray) -> NDArray[np.bool_]:
        """Those of places to show where the depth is more than what a mark left behind."""
        for mark in self.found:
            on = np.flatnonzero(show & mark.box.grown(mark.width.value).holds(x, y))
            show[on] = depth[on] > left_behind(mark, x[on], y[on])
        return show

    def _segments(self, box: Box | None) -> Segments:
        """Where fibres may be in a box (or anywhere), without what is too faint or left by a mark or levelling."""
        found = find_segments(self._fibre_levels, SEED_SIGNAL, box)
        x, y = found.middles
        length = np.maximum(np.abs(found.x1 - found.x0), np.abs(found.y1 - found.y0)) + found.cell
        depth = self._cell_depth(np.abs(found.signal) / np.sqrt(length / found.cell), x, y, found.cell)
        show = depth > np.where(self.picture.levelled_at(x, y), LEVELLED_DEPTH / 2, self.least_answer)
        return found.chosen(self._more_than_left_behind(show, x, y, depth))

    def _cell_depth(self, z: NDArray, x: NDArray, y: NDArray, cell_px: NDArray) -> NDArray[np.float64]:
        """Depth in percent of cells that depart by z from the light."""
        return 100 * z / (self.picture.strength_at(x, y) * cell_px / CELL_PX)


# -- lists ----------------------------------------------------------------------------------------------------


def _along(seeds: Segments, trail: Trail) -> NDArray[np.bool_]:
    """Which segments belong to a trail; the first at least, and what crosses or doubles that."""
    middle = np.stack(seeds.middles, axis=1)
    path = trail.path[::4]
    away = least_distance(middle, path)
    on_it = away < 6 * seeds.cell
    on_it |= np.hypot(*(middle - middle[0]).T) < 8 * seeds.cell
    # On finer grids a wide line shows many times; what runs along it is the same.
    ends = [
        least_distance(np.stack([x, y], axis=1), path) for x, y in ((seeds.x0, seeds.y0), (seeds.x1, seeds.y1))
    ]
    on_it |= np.maximum(away, np.maximum(*ends)) < 4 * seeds.cell[0]
    on_it[0] = True
    return on_it


def _found_in(boxes: list[Box], find: Callable[[Box | None], Peaks | Segments]) -> list:
    """What can be found in boxes: in one after the other, or, where they are many, in the whole frame at once."""
    if len(boxes) <= MANY_BOXES:
        return [find(box) for box in boxes]
    everywhere = find(None)
    return [everywhere.chosen(in_any(boxes, *everywhere.middles))]


def _together(parts: list) -> Peaks | Segments:
    return type(parts[0])(*(np.concatenate(column) for column in zip(*parts, strict=True)))
