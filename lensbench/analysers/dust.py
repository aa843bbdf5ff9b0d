"""Dirt marks: the shadows of dust, fibres and smears in an even light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.grey import CELL_PX, GreyPicture, grey_picture, settle
from lensbench.analysers.mark_filters import LARGEST_GROUNDED_PX, Box, Peaks, find_peaks, ground_of, halvings
from lensbench.analysers.mark_shape import Shape, fit_shapes, refit_shapes
from lensbench.findings import Dust, Mark
from lensbench.frame import zone_of
from lensbench.shot import Shot

THRESHOLD = 5.7
"""Least signal to noise of a mark: noise alone passes it less than once in ten frames of 24 megapixels."""

LEAST_DEPTH = {"spot": 0.2, "fibre": 0.2, "patch": 0.4}
"""Shallower marks (in percent) show in no picture, and large ones are likelier unevenness of the light."""

LEAST_WIDTH_PX = 2.5
"""Whatever is sharper than this is the sensor's own."""

PATCH_PX = 100.0
"""Spots wider than this are patches."""

WIDE_PX, WIDE_SHARE = 32.0, 0.4
"""Of the marks wider than this (standard deviation of the filter) only those of at least this share of the
plainest's signal are taken at a time: the smooth light must settle before fainter ones can be told from it."""

ROUNDS = 10
"""Marks are taken out of the picture the plainest first, and what they hid is searched anew, this often."""

NO_PEAKS = Peaks(*(np.empty(0) for _ in range(4)))

SWEEPS = 3
"""How often marks that stand close together are fitted anew, each without the others."""

BESIDE_DEPTH = 0.1
"""What lies on a mark, or beside it, is a mark of its own when it is deeper than this share of the other there."""

FLAT_ANSWER = 1.8
"""Signal to noise of a filter of 1 px where an even shadow of the depth 1 lies on light of the strength 1."""

UNEXPLAINED = 1.0
"""Where a shape leaves over more than this, against its own energy, something else rules its surroundings."""


def find_marks(flat: Shot) -> Dust:
    """Find the dirt marks of one flat.

    Parameters
    ----------
    flat : Shot
        An even light through the lens.

    Returns
    -------
    Dust
        Marks of 5 px and wider, the plainest (highest signal to noise) first.

    Raises
    ------
    BenchError
        Where too little of the frame can be read.
    """
    picture = grey_picture(flat)
    shapes = _Search(picture).run()
    marks = [_mark(shape, picture.size) for shape in shapes]
    return Dust(sorted(marks, key=lambda mark: -mark.signal_to_noise))


def _mark(shape: Shape, size: tuple[int, int]) -> Mark:
    x, y = float(np.clip(shape.x, 0, size[0] - 1)), float(np.clip(shape.y, 0, size[1] - 1))
    kind = "patch" if shape.width.value >= PATCH_PX else "spot"
    return Mark(x, y, kind, shape.width, shape.length, shape.depth, shape.signal_to_noise, zone_of(x, y, size))


class _Search:
    """The picture without the marks found so far, and where more may be."""

    def __init__(self, picture: GreyPicture) -> None:
        self.picture = picture
        self.left = picture.z.copy()
        self.found: list[Shape] = []
        self.tried = NO_PEAKS
        self._renew_levels()
        self.peaks = find_peaks(self.grounded, THRESHOLD)

    def run(self) -> list[Shape]:
        """All marks: each round takes those that nothing plainer disturbs."""
        for _ in range(ROUNDS):
            taken = self._plainest()
            if not len(taken.x):
                break
            accepted = self._accepted(fit_shapes(self.picture, self.levels, taken))
            self.tried = _together([self.tried, taken])
            self._search_anew(self._take_out(accepted))
        final: list[Shape] = []
        for shape in sorted(self.found, key=lambda s: -s.signal_to_noise):
            if _is_deep_enough(shape) and not _is_left_over(shape, final):
                final.append(shape)
        return final

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

    def _accepted(self, shapes: list[Shape | None]) -> list[Shape]:
        """The shapes that are marks and don't lie in the skirts of plainer ones that are still to be taken out."""
        accepted: list[Shape] = []
        for shape in sorted((s for s in shapes if s is not None), key=lambda s: -s.signal_to_noise):
            hidden = any(other.profile(shape.x, shape.y) > 1e-3 for other in accepted)
            if hidden or shape.unexplained > UNEXPLAINED:
                continue
            if _is_deep_enough(shape) and not _is_left_over(shape, self.found):
                accepted.append(shape)
        return accepted

    def _take_out(self, accepted: list[Shape]) -> list[Box]:
        """Take marks out, fit those that stand close together anew, and let the smooth light settle."""
        for shape in accepted:
            _lift(self.left, self.picture, shape, 1.0)
        self.found += accepted
        changed = [_box(shape) for shape in accepted]
        for _ in range(SWEEPS):
            boxes = [_box(shape) for shape in self.found]
            crowd = [
                n for n, box in enumerate(boxes) if _count_meeting(box, changed) and _count_meeting(box, boxes) > 1
            ]
            for group in _apart(crowd, boxes):
                renewed = refit_shapes(self.picture, halvings(self.left), [self.found[n] for n in group])
                for number, shape in zip(group, renewed, strict=True):
                    if shape is not None and _is_like(shape, self.found[number]):
                        _lift(self.left, self.picture, self.found[number], -1.0)
                        _lift(self.left, self.picture, shape, 1.0)
                        self.found[number] = shape
            changed += [boxes[n] for n in crowd]
            if not crowd:
                break
        if any(shape.width.value >= PATCH_PX for shape in accepted):
            settle(self.picture, self.left)
        return changed

    def _search_anew(self, changed: list[Box]) -> None:
        """Search again where something was taken out; leave out peaks that led nowhere or are mere leftovers."""
        self._renew_levels()
        parts, keep = [], np.ones(len(self.peaks.x), bool)
        for box in _joined(changed):
            keep &= ~box.holds(self.peaks.x, self.peaks.y)
            self.tried = self.tried.chosen(~box.holds(self.tried.x, self.tried.y))
            parts.append(find_peaks(self.grounded, THRESHOLD, box))
        peaks = _together([self.peaks.chosen(keep), *parts])
        tried = np.zeros(len(peaks.x), bool)
        for x, y, sigma in zip(self.tried.x, self.tried.y, self.tried.sigma, strict=True):
            tried |= (np.hypot(peaks.x - x, peaks.y - y) < sigma) & (np.abs(np.log(peaks.sigma / sigma)) < 0.4)
        self.peaks = peaks.chosen(~(tried | self._left_over(peaks)))

    def _left_over(self, peaks: Peaks) -> NDArray[np.bool_]:
        """Which peaks are too faint to be more than what a mark found there left behind."""
        depth = (
            100 * np.abs(peaks.signal) / (self.picture.strength_at(peaks.x, peaks.y) * peaks.sigma * FLAT_ANSWER)
        )
        faint = np.zeros(len(depth), bool)
        for shape in self.found:
            faint |= depth < BESIDE_DEPTH * abs(shape.depth.value) * (shape.profile(peaks.x, peaks.y) > 0.2)
        return faint

    def _renew_levels(self) -> None:
        """Bin the picture as it is now; the fine grids also without the slowly changing ground."""
        self.levels = halvings(self.left)
        down, across = ground_of(self.levels)
        fine = halvings(self.left - down @ across)
        self.grounded = [
            f if f.cell_px <= LARGEST_GROUNDED_PX else level for f, level in zip(fine, self.levels, strict=True)
        ]


def _together(parts: list[Peaks]) -> Peaks:
    return Peaks(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _is_deep_enough(shape: Shape) -> bool:
    """Whether a shape is dirt that can show in a picture, and not the sensor's own."""
    kind = "patch" if shape.width.value >= PATCH_PX else "spot"
    deep = abs(shape.depth.value) >= LEAST_DEPTH[kind] and shape.signal_to_noise >= THRESHOLD
    return deep and shape.width.value >= LEAST_WIDTH_PX


def _is_left_over(shape: Shape, others: list[Shape]) -> bool:
    """Whether a shape is only what others, taken out not quite, left behind."""
    for other in others:
        # How well a mark is known, and so taken out, goes with how deep it is hereabouts.
        beside = BESIDE_DEPTH * other.depth.value * float(other.profile(*_towards(other, shape, 0.75)))
        if _is_same(shape, other) or abs(shape.depth.value) < abs(beside):
            return True
    return False


def _towards(other: Shape, shape: Shape, share: float) -> tuple[float, float]:
    """The place that lies a share of the way from one mark's middle to another's."""
    return other.x + share * (shape.x - other.x), other.y + share * (shape.y - other.y)


def _count_meeting(box: Box, others: list[Box]) -> int:
    return sum(box.meets(other) for other in others)


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


def _is_same(one: Shape, other: Shape) -> bool:
    """Whether two shapes are one mark, found twice."""
    alike = 0.5 < one.width.value / other.width.value < 2 and 0.5 < one.length.value / other.length.value < 2
    return alike and float(other.radius(one.x, one.y)) < 0.7


def _is_like(renewed: Shape, first: Shape) -> bool:
    """Whether a shape fitted anew is still the mark that it was."""
    depth = renewed.depth.value / first.depth.value
    area = renewed.width.value * renewed.length.value / (first.width.value * first.length.value)
    return 0.3 < depth < 3 and 0.2 < area < 5


def _joined(boxes: list[Box]) -> list[Box]:
    """The boxes, those that overlap joined to larger ones."""
    joined: list[Box] = []
    for box in boxes:
        while (other := next((b for b in joined if b.meets(box)), None)) is not None:
            joined.remove(other)
            box = box.with_(other)
        joined.append(box)
    return joined


def _box(shape: Shape) -> Box:
    """The part of the frame that a mark changes."""
    # exp(-ln 2 · ρ^p) has fallen to 0.1 % here.
    reach = 10 ** (1 / shape.steepness) * shape.length.value / 2 + CELL_PX
    return Box(shape.x - reach, shape.y - reach, shape.x + reach, shape.y + reach)


def _lift(z: NDArray[np.float32], picture: GreyPicture, shape: Shape, share: float) -> None:
    """Lift the picture by a share of a mark's shadow (-1 puts it back)."""
    box = _box(shape)
    top, bottom = np.clip([box.top // CELL_PX, box.bottom // CELL_PX + 1], 0, z.shape[0]).astype(int)
    left, right = np.clip([box.left // CELL_PX, box.right // CELL_PX + 1], 0, z.shape[1]).astype(int)
    if bottom <= top or right <= left:
        return
    # Wide marks are smooth: every so many cells will do, with straight lines between.
    step = max(int(shape.width.value / 40 / CELL_PX), 1)
    rows, down = _thinned(top, bottom, step)
    columns, across = _thinned(left, right, step)
    x, y = (CELL_PX * v + (CELL_PX - 1) / 2 for v in (columns, rows))
    strength = float(picture.strength_at(shape.x, shape.y))
    shadow = share * shape.depth.value / 100 * strength * shape.profile(x[None, :], y[:, None])
    z[top:bottom, left:right] -= down @ shadow.astype(np.float32) @ across.T


def _thinned(start: int, stop: int, step: int) -> tuple[NDArray, NDArray[np.float32]]:
    """Every `step`-th cell, and the weights that interpolate between them, shape (cells, thinned)."""
    count = -(-(stop - start - 1) // step) + 1
    place = np.arange(stop - start) / step
    weights = np.maximum(1 - np.abs(place[:, None] - np.arange(count)), 0)
    return start + step * np.arange(count), weights.astype(np.float32)
