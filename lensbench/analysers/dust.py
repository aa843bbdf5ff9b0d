"""Dirt marks: the shadows of dust, fibres and smears in an even light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.grey import BLOCK_PX, CELL_PX, GreyPicture, grey_picture, settle
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

ROUNDS = 8
"""Marks are taken out of the picture the plainest first, and what they hid is searched anew, this often."""

NO_PEAKS = Peaks(*(np.empty(0) for _ in range(4)))

SWEEPS = 3
"""How often marks that stand close together are fitted anew, each without the others."""

BESIDE_RADII = 2.0
BESIDE_DEPTH = 0.15
"""Within so many radii of a mark, something else is a mark of its own when deeper than this share of the first."""


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
            shapes = fit_shapes(self.picture, self.levels, taken)
            accepted = [s for s in shapes if s is not None and self._is_mark(s)]
            changed = self._take_out(accepted)
            self.tried = _together([self.tried, taken])
            self._search_anew(changed)
        return [shape for shape in self.found if self._is_mark(shape)]

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
            free &= distance > 4 * peaks.sigma[first] + 3 * peaks.sigma
        return peaks.chosen(np.array(chosen, int))

    def _is_mark(self, shape: Shape) -> bool:
        """Whether a shape is dirt, and not what an earlier mark left over."""
        kind = "patch" if shape.width.value >= PATCH_PX else "spot"
        if abs(shape.depth.value) < LEAST_DEPTH[kind] or shape.width.value < LEAST_WIDTH_PX:
            return False
        if shape.signal_to_noise < THRESHOLD:
            return False
        for other in self.found:
            if other is shape or abs(shape.depth.value) > BESIDE_DEPTH * abs(other.depth.value):
                continue
            if other.radius(shape.x, shape.y) < BESIDE_RADII + 3 / other.width.value:
                return False
        return True

    def _take_out(self, accepted: list[Shape]) -> list[Box]:
        """Take marks out, fit those that stand close together anew, and let the smooth light settle."""
        for shape in accepted:
            _lift(self.left, self.picture, shape, 1.0)
        self.found += accepted
        changed = [_box(shape) for shape in accepted]
        for _ in range(SWEEPS):
            boxes = [_box(shape) for shape in self.found]
            crowd = [
                n
                for n, box in enumerate(boxes)
                if any(box.meets(c) for c in changed) and sum(box.meets(other) for other in boxes) > 1
            ]
            if not crowd:
                break
            renewed = refit_shapes(self.picture, halvings(self.left), [self.found[n] for n in crowd])
            for number, shape in zip(crowd, renewed, strict=True):
                if shape is not None:
                    _lift(self.left, self.picture, self.found[number], -1.0)
                    _lift(self.left, self.picture, shape, 1.0)
                    self.found[number] = shape
            changed = [boxes[n] for n in crowd] + changed
        if any(shape.width.value >= PATCH_PX for shape in accepted):
            coarse = next(level for level in halvings(self.left) if level.cell_px == BLOCK_PX)
            settle(self.picture, self.left, coarse.z, coarse.cell_px)
        return changed

    def _search_anew(self, changed: list[Box]) -> None:
        """Search again where something was taken out, and forget the peaks that have been tried."""
        self._renew_levels()
        parts, keep = [], np.ones(len(self.peaks.x), bool)
        for box in _joined(changed):
            keep &= ~box.holds(self.peaks.x, self.peaks.y)
            parts.append(find_peaks(self.grounded, THRESHOLD, box))
        peaks = _together([self.peaks.chosen(keep), *parts])
        tried = np.zeros(len(peaks.x), bool)
        for x, y, sigma in zip(self.tried.x, self.tried.y, self.tried.sigma, strict=True):
            tried |= (np.hypot(peaks.x - x, peaks.y - y) < sigma) & (np.abs(np.log(peaks.sigma / sigma)) < 0.4)
        self.peaks = peaks.chosen(~tried)

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
