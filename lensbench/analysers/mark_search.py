"""The search for dirt marks on a grey picture: the plainest are taken out first, then what they hid."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.fibre_path import (
    Fibre,
    Trail,
    follow,
    joined_paths,
    least_distance,
    likely,
    measure_fibre,
)
from lensbench.analysers.grey import CELL_PX, GreyPicture, settle
from lensbench.analysers.mark_filters import (
    LARGEST_GROUNDED_PX,
    Box,
    Level,
    Peaks,
    find_peaks,
    ground_of,
    halvings,
)
from lensbench.analysers.mark_lines import Segments, find_segments
from lensbench.analysers.mark_shape import Shape, fit_shapes, refit_shapes
from lensbench.frame import radial_axes

THRESHOLD, LONG_THRESHOLD = 5.7, 6.7
"""Least signal to noise of a mark, and of one twice as long as wide: noise alone passes it less than once in ten
frames of 24 megapixels."""

FIBRE_THRESHOLD, FIBRE_STEP_SIGNAL, FIBRE_STEP_PX = 6.7, 1.75, 32.0
"""The same of a fibre, which noise can be mistaken for in more ways: the first, and besides so much for each step
of its path, for a path that is led by noise gathers some signal at each step (the roots of the squares add)."""

QUICK_SHARE = 1.0
"""Share of that which the cells nearest to the path must hold for the fibre to be measured."""

LEAST_SHARE = 0.6
"""Share of it that a section on those cells must show for finer ones to be looked at."""

SEED_THRESHOLD = 5.2
"""Least signal to noise of a segment from which a fibre is followed."""

LEAST_DEPTH = {"spot": 0.4, "fibre": 0.4, "patch": 0.7}
"""Shallower marks (in percent) show in no picture, and large ones are likelier unevenness of the light."""

LEAST_ANSWER = 0.2
"""Where filters and segments answer less (in percent) nothing is looked for: none of it becomes a mark."""

LEAST_WIDTH_PX = 2.5
"""Whatever round mark is sharper than this is the sensor's own."""

LEAST_FIBRE_PX = 24.0
"""Shorter lines are spots or nothing."""

WIDEST_FIBRE_PX = 32.0
"""Wider lines are no fibres."""

FIBRE_ASPECT = 3.0
"""Marks longer than this many widths are fibres."""

PATCH_PX = 100.0
"""Spots wider than this are patches."""

WIDE_PX, WIDE_SHARE = 32.0, 0.4
"""Of the marks wider than this (standard deviation of the filter) only those of at least this share of the
plainest's signal are taken at a time: the smooth light must settle before fainter ones can be told from it."""

RIDGE_WIDTH_PX, RIDGE_LENGTH_PX, RIDGE_DEPTH, RIDGE_LEAN = 30.0, 300.0, 2.0, 0.6
"""Marks at least so wide and long, less deep (in percent) and within 37° of square to the radius may be ridges of
the light: where a ring of the lens begins to cut the pencils, the light bends along an arc."""

LEVELLED_DEPTH = 1.0
"""Shallower marks (in percent) can't be told from what levelling leaves of the corners' own light."""

ROUNDS = 20
"""Rounds of taking out and searching anew, at most."""

TRIES = 4
"""How often in a round fainter places are tried when the plainer ones hold no mark."""

SWEEPS = 3
"""How often marks that stand close together are fitted anew, each without the others."""

BESIDE_DEPTH = {Shape: 0.1, Fibre: 0.7}
"""What lies on a mark, or beside it, is a mark of its own when it is deeper than this share of the other there."""

MISFIT_DEPTH = 0.25
"""The same where the other is ten times as plain: no shadow has quite the profile that was fitted."""

FLAT_ANSWER = 1.8
"""Signal to noise of a filter of 1 px where an even shadow of the depth 1 lies on light of the strength 1."""

UNEXPLAINED = 1.0
"""Where a shape leaves over more than this, against its own energy, something else rules its surroundings."""

FIBRE_LEVELS_PX = (2, 4, 8)
"""Cells of the grids on which fibres are looked for."""

NO_PEAKS = Peaks(*(np.empty(0) for _ in range(4)))


def search_marks(picture: GreyPicture) -> list[Shape | Fibre]:
    """All marks of a grey picture, the plainest first.

    Parameters
    ----------
    picture : GreyPicture
        Of one flat.
    """
    search = _Search(picture)
    for _ in range(ROUNDS):
        # Fibres once more when no round mark is left that could outshine them.
        if not (search.take_fibres() or search.take_shapes() or search.take_fibres()):
            break
    final: list[Shape | Fibre] = []
    for mark in sorted(search.found, key=lambda m: -m.signal_to_noise):
        faint = abs(mark.depth.value) < LEVELLED_DEPTH and picture.levelled_at(mark.x, mark.y)
        uneven_light = faint or _is_ridge(mark, picture.size)
        if _is_deep_enough(mark) and not uneven_light and not _is_left_over(mark, final):
            final.append(mark)
    return final


class _Search:
    """The picture without the marks found so far, and where more may be."""

    def __init__(self, picture: GreyPicture) -> None:
        self.picture = picture
        self.left = picture.z.copy()
        self.found: list[Shape | Fibre] = []
        self.tried = NO_PEAKS
        self._renew_levels()
        self.peaks = self._show(find_peaks(self.grounded, THRESHOLD))
        self.seeds = self._segments()
        self.waiting = self.seeds.chosen(np.empty(0, int))

    # -- round marks --

    def take_shapes(self) -> bool:
        """Take out the round marks that nothing plainer disturbs; whether there were any."""
        self.seeds, self.waiting = _together([self.seeds, self.waiting]), self.waiting.chosen(np.empty(0, int))
        for _ in range(TRIES):
            peaks = self._plainest()
            if not len(peaks.x):
                break
            accepted = self._accepted(fit_shapes(self.picture, self.levels, peaks))
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

    def _accepted(self, shapes: list[Shape | None]) -> list[Shape | Fibre]:
        """The shapes that are marks and don't lie in the skirts of plainer ones that are still to be taken out."""
        accepted: list[Shape | Fibre] = []
        for shape in sorted((s for s in shapes if s is not None), key=lambda s: -s.signal_to_noise):
            hidden = any(other.profile(shape.x, shape.y) > 1e-3 for other in accepted)
            if hidden or shape.unexplained > UNEXPLAINED:
                continue
            mark = self._as_fibre(shape, accepted) if _is_elongated(shape) else shape
            if mark is not None and _is_deep_enough(mark) and not _is_left_over(mark, self.found):
                accepted.append(mark)
        return accepted

    def _as_fibre(self, shape: Shape, accepted: list[Shape | Fibre]) -> Shape | Fibre | None:
        """The fibre that an elongated shape is a part of, or the shape where none can be followed.

        None where it meets a plainer mark, and must wait until that is taken out.
        """
        level = [level for level in self._fibre_levels() if level.cell_px <= max(shape.width.value, CELL_PX)][-1]
        way = 0.35 * shape.length.value * shape.axis
        ends = (np.array([v]) for v in (shape.x - way[0], shape.y - way[1], shape.x + way[0], shape.y + way[1]))
        signal = np.sign(shape.depth.value) * shape.signal_to_noise
        trail = follow(level, Segments(*ends, np.array([signal]), np.array([float(level.cell_px)])), 0)
        if any(_meets(trail, other) for other in accepted):
            return None
        fibre = self._measured(level, trail)
        if fibre is None or fibre.signal_to_noise < 0.8 * shape.signal_to_noise or not _is_deep_enough(fibre):
            return shape
        return fibre

    # -- fibres --

    def take_fibres(self) -> bool:
        """Take out the fibres that nothing plainer disturbs; whether there were any."""
        accepted: list[Fibre] = []
        outshone = self._outshone(self.seeds)
        seeds = self._likely(self.seeds.chosen(~outshone))
        later = [self.seeds.chosen(outshone)]
        while len(seeds.x0):
            level = next(level for level in self.grounded if level.cell_px == seeds.cell[0])
            trail = follow(level, seeds, 0)
            along = _along(seeds, trail)
            # A trail that meets a plainer mark may be led astray by it: not before that is taken out.
            if self._is_outshone(trail) or any(_meets(trail, other) for other in accepted):
                later.append(seeds.chosen(along))
            else:
                fibre = self._measured(level, trail)
                if fibre is not None and _is_deep_enough(fibre) and not _is_left_over(fibre, self.found):
                    accepted.append(fibre)
            seeds = seeds.chosen(~along)
        # What led nowhere need not be tried again while nothing changes there, nor what waits before shapes are.
        self.waiting = _together([self.waiting, *later])
        self.seeds = seeds
        if accepted:
            self._take_out([self._joined_to_found(fibre) for fibre in accepted])
        return bool(accepted)

    def _joined_to_found(self, fibre: Fibre) -> Fibre:
        """A fibre made one with those found before that go on where it ends."""
        for number in reversed(range(len(self.found))):
            other = self.found[number]
            path = joined_paths(fibre, other) if isinstance(other, Fibre) else None
            if path is None:
                continue
            other.lift(self.left, self.picture, -1.0)
            self._renew_levels()
            sign = float(np.sign(fibre.depth.value))
            whole = measure_fibre(self.picture, self.grounded, self.grounded[0], path, sign)
            if whole is not None and whole.signal_to_noise > max(fibre.signal_to_noise, other.signal_to_noise):
                del self.found[number]
                fibre = whole
            else:
                other.lift(self.left, self.picture)
                self._renew_levels()
        return fibre

    def _likely(self, seeds: Segments) -> Segments:
        """The segments from which it is worth while to follow a fibre, the strongest first."""
        likely_ones = np.zeros(len(seeds.x0), bool)
        for level in self._fibre_levels():
            own = np.flatnonzero(seeds.cell == level.cell_px)
            likely_ones[own] = likely(level, seeds.chosen(own))
        seeds = seeds.chosen(likely_ones)
        return seeds.chosen(np.argsort(-np.abs(seeds.signal)))

    def _measured(self, level: Level, trail: Trail) -> Fibre | None:
        """The fibre along a trail, if it is one."""
        length = np.hypot(*np.diff(trail.path[::4], axis=0).T).sum()
        x, y = trail.path.mean(axis=0)
        depth = self._cell_depth(trail.signal / np.sqrt(len(trail.path)), x, y, level.cell_px)
        if trail.signal < QUICK_SHARE * _least_fibre_signal(length) or depth < LEAST_ANSWER:
            return None
        least = LEAST_SHARE * _least_fibre_signal(length)
        return measure_fibre(self.picture, self.grounded, level, trail.path, trail.sign, least)

    def _is_outshone(self, trail: Trail) -> bool:
        """Whether a plainer round mark lies on or beside a trail."""
        strong = self.peaks.chosen(np.abs(self.peaks.signal) > trail.signal)
        near = least_distance(np.stack([strong.x, strong.y], axis=1), trail.path[::4])
        return bool((near < 4 * strong.sigma + 4).any())

    def _outshone(self, seeds: Segments) -> NDArray[np.bool_]:
        """Which segments only pass through a round mark that is plainer than they."""
        out = np.zeros(len(seeds.x0), bool)
        ways = np.stack([seeds.x1 - seeds.x0, seeds.y1 - seeds.y0], axis=1)
        lengths = np.maximum(np.hypot(*ways.T), 1e-9)
        ways /= lengths[:, None]
        strongest = np.argsort(-np.abs(self.peaks.signal))[:300]
        for x, y, signal, sigma in zip(*self.peaks.chosen(strongest), strict=True):
            dx, dy = x - seeds.x0, y - seeds.y0
            along = dx * ways[:, 0] + dy * ways[:, 1]
            across = np.abs(dx * ways[:, 1] - dy * ways[:, 0])
            near = (across < 4 * sigma) & (along > -4 * sigma) & (along < lengths + 4 * sigma)
            out |= near & (np.abs(seeds.signal) < 0.9 * abs(signal))
        return out

    # -- taking out --

    def _take_out(self, accepted: list[Shape] | list[Fibre]) -> None:
        """Take marks out, fit those that stand close together anew, let the light settle, and search anew."""
        for mark in accepted:
            mark.lift(self.left, self.picture)
        self.found += accepted
        changed = [mark.box for mark in accepted]
        for _ in range(SWEEPS):
            crowd = self._crowd(changed)
            self._refit(crowd)
            changed += [self.found[n].box for n in crowd]
            if not crowd:
                break
        if any(mark.width.value >= PATCH_PX for mark in accepted):
            settle(self.picture, self.left)
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
        for group in _apart(crowd, [mark.box for mark in self.found]):
            renewed = refit_shapes(self.picture, halvings(self.left), [self.found[n] for n in group])
            for number, shape in zip(group, renewed, strict=True):
                if shape is not None and _is_like(shape, self.found[number]):
                    self.found[number].lift(self.left, self.picture, -1.0)
                    shape.lift(self.left, self.picture)
                    self.found[number] = shape

    def _search_anew(self, changed: list[Box]) -> None:
        """Search again where something was taken out; leave out peaks that led nowhere or are mere leftovers."""
        self._renew_levels()
        peaks, keep = [], np.ones(len(self.peaks.x), bool)
        seeds = []
        for box in _joined(changed):
            keep &= ~box.holds(self.peaks.x, self.peaks.y)
            self.tried = self.tried.chosen(~box.holds(self.tried.x, self.tried.y))
            peaks.append(find_peaks(self.grounded, THRESHOLD, box))
            wide = box.grown(128)
            self.seeds, self.waiting = (_outside(wide, kept) for kept in (self.seeds, self.waiting))
            seeds.append(self._segments(wide))
        peaks = _together([self.peaks.chosen(keep), *peaks])
        self.seeds = _together([self.seeds, *seeds])
        self.peaks = self._show(peaks.chosen(~self._was_tried(peaks)))

    def _was_tried(self, peaks: Peaks) -> NDArray[np.bool_]:
        """Which peaks have led nowhere since anything changed there."""
        tried = np.zeros(len(peaks.x), bool)
        for x, y, sigma in zip(self.tried.x, self.tried.y, self.tried.sigma, strict=True):
            tried |= (np.hypot(peaks.x - x, peaks.y - y) < sigma) & (np.abs(np.log(peaks.sigma / sigma)) < 0.4)
        return tried

    def _show(self, peaks: Peaks) -> Peaks:
        """The peaks without those too faint for a mark, or for more than another, or levelling, left behind."""
        depth = (
            100 * np.abs(peaks.signal) / (self.picture.strength_at(peaks.x, peaks.y) * peaks.sigma * FLAT_ANSWER)
        )
        levelled = self.picture.levelled_at(peaks.x, peaks.y)
        faint = depth < np.where(levelled, 0.9 * LEVELLED_DEPTH, LEAST_ANSWER)
        for mark in self.found:
            share = BESIDE_DEPTH[type(mark)] * abs(mark.depth.value)
            inside = mark.box.holds(peaks.x, peaks.y) & (depth < share)
            faint[inside] |= mark.profile(peaks.x[inside], peaks.y[inside]) > 0.2
        return peaks.chosen(~faint)

    def _segments(self, box: Box | None = None) -> Segments:
        """Where fibres may be, without what is too faint, or no more than a mark or levelling left behind."""
        found = find_segments(self._fibre_levels(), SEED_THRESHOLD, box)
        x, y = (found.x0 + found.x1) / 2, (found.y0 + found.y1) / 2
        length = np.maximum(np.abs(found.x1 - found.x0), np.abs(found.y1 - found.y0)) + found.cell
        depth = self._cell_depth(np.abs(found.signal) / np.sqrt(length / found.cell), x, y, found.cell)
        show = depth > np.where(self.picture.levelled_at(x, y), LEVELLED_DEPTH / 2, LEAST_ANSWER)
        for mark in self.found:
            on = np.flatnonzero(show & mark.box.holds(x, y))
            share = BESIDE_DEPTH[type(mark)] * abs(mark.depth.value) * mark.profile(x[on], y[on], nearer=0.75)
            show[on] = depth[on] > share
        return found.chosen(show)

    def _cell_depth(self, z: NDArray, x: NDArray, y: NDArray, cell_px: NDArray) -> NDArray[np.float64]:
        """Depth in percent of cells that depart by z from the light."""
        return 100 * z / (self.picture.strength_at(x, y) * cell_px / CELL_PX)

    def _renew_levels(self) -> None:
        """Bin the picture as it is now; the fine grids also without the slowly changing ground."""
        self.levels = halvings(self.left)
        down, across = ground_of(self.levels)
        fine = halvings(self.left - down @ across)
        self.grounded = [
            f if f.cell_px <= LARGEST_GROUNDED_PX else level for f, level in zip(fine, self.levels, strict=True)
        ]

    def _fibre_levels(self) -> list[Level]:
        return [level for level in self.grounded if level.cell_px in FIBRE_LEVELS_PX]


# -- judging marks --------------------------------------------------------------------------------------------


def _is_deep_enough(mark: Shape | Fibre) -> bool:
    """Whether a mark is dirt that can show in a picture, and not the sensor's own."""
    if isinstance(mark, Fibre):
        deep = abs(mark.depth.value) >= LEAST_DEPTH["fibre"]
        deep &= mark.signal_to_noise >= _least_fibre_signal(mark.length.value)
        thin = mark.width.value < min(WIDEST_FIBRE_PX, mark.length.value / FIBRE_ASPECT)
        return deep and thin and mark.length.value >= LEAST_FIBRE_PX
    kind = "patch" if mark.width.value >= PATCH_PX else "spot"
    # The more ways a shape may lie, the likelier noise fits one of them.
    least = THRESHOLD if mark.length.value < 2 * mark.width.value else LONG_THRESHOLD
    deep = abs(mark.depth.value) >= LEAST_DEPTH[kind] and mark.signal_to_noise >= least
    return deep and mark.width.value >= LEAST_WIDTH_PX


def _is_ridge(mark: Shape | Fibre, size: tuple[int, int]) -> bool:
    """Whether a long, wide, faint mark runs around the middle, as the light does where a ring begins to cut it."""
    if mark.width.value < RIDGE_WIDTH_PX or mark.length.value < RIDGE_LENGTH_PX:
        return False
    along = mark.path[-1] - mark.path[0] if isinstance(mark, Fibre) else mark.axis
    outward, _ = radial_axes(mark.x, mark.y, size)
    lean = abs(float(np.dot(along, outward))) / max(float(np.hypot(*along)), 1e-9)
    return abs(mark.depth.value) < RIDGE_DEPTH and lean < RIDGE_LEAN


def _least_fibre_signal(length_px: float) -> float:
    """Least signal to noise of a fibre of this length."""
    return float(np.sqrt(FIBRE_THRESHOLD**2 + FIBRE_STEP_SIGNAL**2 * length_px / FIBRE_STEP_PX))


def _is_elongated(shape: Shape) -> bool:
    """Whether a shape is rather a fibre's."""
    width, length = shape.width.value, shape.length.value
    return length >= FIBRE_ASPECT * width and length >= LEAST_FIBRE_PX and width < WIDEST_FIBRE_PX


def _is_left_over(mark: Shape | Fibre, others: list) -> bool:
    """Whether a mark is only what others, taken out not quite, left behind."""
    for other in others:
        if isinstance(mark, Shape) and isinstance(other, Shape) and _is_same(mark, other):
            return True
        if isinstance(mark, Fibre) and isinstance(other, Fibre) and _runs_along(mark, other):
            return True
        places = mark.path[::4].T if isinstance(mark, Fibre) else (np.array([mark.x]), np.array([mark.y]))
        # How well a mark is known, and so taken out, goes with how deep it is hereabouts.
        # A ring that a plain spot leaves may be drawn out to a line that is deep only there.
        faint = mark.signal_to_noise < 0.1 * other.signal_to_noise
        beside = other.profile(*places, nearer=0.4 if faint else 0.75)
        beside = float(np.max(beside) if faint else np.median(beside))
        share = max(BESIDE_DEPTH[type(other)], MISFIT_DEPTH if faint else 0)
        if abs(mark.depth.value) < share * abs(other.depth.value) * beside:
            return True
    return False


def _meets(trail: Trail, mark: Shape | Fibre) -> bool:
    """Whether a trail comes close to a mark anywhere."""
    path = trail.path[::2].T
    if isinstance(mark, Fibre):
        return float(mark.distance(*path).min()) < mark.reach + 10
    return float(mark.profile(*path).max()) > 1e-3


def _runs_along(one: Fibre, other: Fibre) -> bool:
    """Whether a fibre lies for the most part on another."""
    return float(np.median(other.distance(*one.path[::4].T))) < max(other.width.value, one.width.value) + 2


def _is_same(one: Shape, other: Shape) -> bool:
    """Whether two shapes are one mark, found twice."""
    alike = 0.5 < one.width.value / other.width.value < 2 and 0.5 < one.length.value / other.length.value < 2
    return alike and float(other.radius(one.x, one.y)) < 0.7


def _is_like(renewed: Shape, first: Shape) -> bool:
    """Whether a shape fitted anew is still the mark that it was."""
    depth = renewed.depth.value / first.depth.value
    area = renewed.width.value * renewed.length.value / (first.width.value * first.length.value)
    return 0.3 < depth < 3 and 0.2 < area < 5


def _along(seeds: Segments, trail: Trail) -> NDArray[np.bool_]:
    """Which segments belong to a trail; the first at least, and what crosses or doubles that."""
    middle = np.stack([(seeds.x0 + seeds.x1) / 2, (seeds.y0 + seeds.y1) / 2], axis=1)
    on_it = least_distance(middle, trail.path[::4]) < 6 * seeds.cell
    on_it |= np.hypot(*(middle - middle[0]).T) < 8 * seeds.cell
    on_it[0] = True
    return on_it


# -- lists and boxes ------------------------------------------------------------------------------------------


def _outside(box: Box, seeds: Segments) -> Segments:
    """The segments whose middles lie outside a box."""
    return seeds.chosen(~box.holds((seeds.x0 + seeds.x1) / 2, (seeds.y0 + seeds.y1) / 2))


def _together(parts: list) -> Peaks | Segments:
    return type(parts[0])(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _apart(numbers: list[int], boxes: list[Box]) -> list[list[int]]:
    """The numbers in groups within which no two boxes overlap."""
    groups: list[list[int]] = []
    for number in numbers:
        for group in groups:
            if not any(boxes[number].meets(boxes[other]) for other in group):
                group.append(number)
                break
        else:
            groups.append([number])
    return groups


def _joined(boxes: list[Box]) -> list[Box]:
    """The boxes, those that overlap joined to larger ones."""
    joined: list[Box] = []
    for box in boxes:
        while (other := next((b for b in joined if b.meets(box)), None)) is not None:
            joined.remove(other)
            box = box.with_(other)
        joined.append(box)
    return joined
