"""The remainder of the residual: its pyramid without the marks found so far."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._acceptance import (
    LEAST_STEPS,
    PATCH_PX,
    Found,
    is_same_mark,
    is_visible,
)
from lensbench.analysers.dust._blob_fit import refit_blobs
from lensbench.analysers.dust._blob_refinement import refined
from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._boxes import Box, disjoint_groups
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._fibre_profile import measure_fibre
from lensbench.analysers.dust._fibres import Fibre, Join, join_of, straight_fibre
from lensbench.analysers.dust._leftovers import exceed_leftovers, is_leftover
from lensbench.analysers.dust._pyramid import Pyramid
from lensbench.analysers.dust._residual import Residual, refit_smooth_light

REFINED_SIGNAL = 25.0
"""Signal to noise from which a round mark's own profile is fitted before it is subtracted: what another one leaves
would be found as marks (chosen by experience)."""

PIECE_ASPECT = 1.6
"""Round marks longer than so many widths may be pieces of fibres (chosen by experience)."""

LEAST_RESPONSE = 0.2
"""Candidates whose filter response is shallower than this (in percent) are not examined: half the depth of the
faintest mark, as no filter matches a mark exactly."""


class Remainder:
    """The residual without the marks found so far, and these marks.

    Parameters
    ----------
    residual : Residual
        Of one flat.

    Attributes
    ----------
    residual : Residual
        As it was computed first.
    pyramid : Pyramid
        Without the marks.
    found : list of Blob and Fibre
    least_response : float
        Depth in percent below which no candidate can be a mark.
    """

    def __init__(self, residual: Residual) -> None:
        self.residual = residual
        self.pyramid = Pyramid(residual.z.copy())
        self.found: list[Found] = []
        self.least_response = max(LEAST_RESPONSE, 100 * LEAST_STEPS * residual.unsure / 2)

    def is_new_mark(self, mark: Found) -> bool:
        """Whether a mark can show in a picture and is no leftover of those found before."""
        return is_visible(mark, self.residual.unsure) and not is_leftover(mark, self.found)

    def not_leftovers(
        self, candidates: NDArray[np.bool_], x: NDArray, y: NDArray, depth: NDArray
    ) -> NDArray[np.bool_]:
        """Which candidates are deeper than what the marks found so far left; see `exceed_leftovers`."""
        return exceed_leftovers(candidates, x, y, depth, self.found)

    def subtract(self, marks: list[Found]) -> list[Box]:
        """Subtract marks from the pyramid, and fit again what they change: joined fibres, close marks, the light.

        Parameters
        ----------
        marks : list of Blob and Fibre
            Newly found.

        Returns
        -------
        list of Box
            Where the remainder has changed.
        """
        changed = []
        for fibre in (mark for mark in marks if isinstance(mark, Fibre)):
            # One by one, as each may continue the one before.
            whole = self._joined(fibre)
            self._add([whole])
            changed.append(whole.box)
        blobs = [self._refined(mark) for mark in marks if isinstance(mark, Blob)]
        self._add(blobs)
        changed += [blob.box for blob in blobs]
        overlapping = self._overlapping(changed)
        self._refit(overlapping)
        changed += [self.found[n].box for n in overlapping]
        if any(mark.width.value >= PATCH_PX for mark in blobs):
            refit_smooth_light(self.residual, self.pyramid.finest)
            self.pyramid.update([self.pyramid.whole])
        return changed

    def _add(self, marks: Sequence[Found]) -> None:
        """Subtract marks and note them as found."""
        self._replace(marks)
        self.found += marks

    def _replace(self, marks: Sequence[Found], instead_of: Sequence[Found] = ()) -> None:
        """Subtract marks from the pyramid, and add others back."""
        for mark in instead_of:
            mark.subtract_from(self.pyramid.finest, self.residual, -1.0)
        for mark in marks:
            mark.subtract_from(self.pyramid.finest, self.residual)
        self.pyramid.update([mark.box for mark in (*instead_of, *marks)])

    def _joined(self, fibre: Fibre) -> Fibre:
        """A fibre united with those found before that continue it."""
        tried: list[Found] = []
        while candidates := [
            (join.turn, number, join.path)
            for number, other in enumerate(self.found)
            if other not in tried and (join := self._join_of(fibre, other)) is not None
        ]:
            # The one that goes on most nearly straight first: others may cross.
            _, number, path = min(candidates, key=lambda candidate: candidate[0])
            other = self.found[number]
            tried.append(other)
            whole = self._whole(fibre, other, path)
            if whole is not None:
                del self.found[number]
                fibre = whole
        return fibre

    @staticmethod
    def _join_of(fibre: Fibre, other: Found) -> Join | None:
        """A fibre together with another, or with an elongated shape, where one continues the other."""
        if isinstance(other, Blob):
            long = other.length.value > PIECE_ASPECT * other.width.value
            return join_of(fibre, straight_fibre(other)) if long else None
        return join_of(fibre, other)

    def _whole(self, fibre: Fibre, other: Found, path: NDArray[np.float64]) -> Fibre | None:
        """A fibre along the path of a new one and one found before, in its place; None where it is no better."""
        self._replace([], instead_of=[other])
        levels = self.pyramid.background_subtracted
        # On cells about as wide as the fibre first: finer ones are tried there.
        width = max(fibre.width.value, CELL_PX)
        level = [level for level in levels[:4] if level.cell_px <= width][-1]
        whole = measure_fibre(self.residual, levels, level, path, float(np.sign(fibre.depth.value)))
        if whole is not None and whole.signal_to_noise > max(fibre.signal_to_noise, other.signal_to_noise):
            return whole
        self._replace([other])
        return None

    def join_fibres(self) -> None:
        """Unite fibres that continue each other now that all are found, the longest first."""
        fibres = [mark for mark in self.found if isinstance(mark, Fibre)]
        for fibre in sorted(fibres, key=lambda mark: -mark.length.value):
            if fibre in self.found:
                self.found.remove(fibre)
                self._replace([], instead_of=[fibre])
                self._add([self._joined(fibre)])

    def _refined(self, blob: Blob) -> Blob:
        """A new round mark with the profile that its samples show, where it is strong enough for that."""
        if blob.signal_to_noise < REFINED_SIGNAL:
            return blob
        better = refined(blob, self.residual, self.pyramid.finest, self._beside(blob), False)
        return better if better is not None and is_same_mark(better, blob) else blob

    def remeasured(self) -> list[Found]:
        """All marks as they are reported: round ones measured with whatever profile their samples show."""
        out: list[Found] = []
        for mark in self.found:
            if isinstance(mark, Blob):
                better = refined(mark, self.residual, self.pyramid.finest, self._beside(mark), True)
                out.append(better if better is not None and is_same_mark(better, mark) else mark)
            else:
                out.append(mark)
        return out

    def _beside(self, mark: Blob) -> list[Found]:
        """The marks whose shadows may reach another's samples."""
        around = mark.box.grown(mark.length.value)
        return [other for other in self.found if other is not mark and other.box.overlaps(around)]

    def _overlapping(self, changed: list[Box]) -> list[int]:
        """Numbers of the round marks that overlap with others where something has changed."""
        boxes = [mark.box for mark in self.found]
        return [
            n
            for n, box in enumerate(boxes)
            if isinstance(self.found[n], Blob)
            and any(box.overlaps(other) for other in changed)
            and sum(box.overlaps(other) for other in boxes) > 1
        ]

    def _refit(self, numbers: list[int]) -> None:
        """Fit round marks again, each without the others."""
        for group in disjoint_groups(numbers, [mark.box for mark in self.found]):
            first = {n: mark for n in group if isinstance(mark := self.found[n], Blob)}
            refitted = self._refitted(first)
            better = {n: blob for n, blob in refitted.items() if blob is not None and is_same_mark(blob, first[n])}
            self._replace(list(better.values()), instead_of=[first[n] for n in better])
            for number, blob in better.items():
                self.found[number] = blob

    def _refitted(self, marks: dict[int, Blob]) -> dict[int, Blob | None]:
        """Round marks by their numbers, each fitted again, with its own profile if it had one."""
        plain = {n: mark for n, mark in marks.items() if not mark.profile.refined}
        fitted = refit_blobs(self.residual, self.pyramid.levels, list(plain.values()))
        own = {
            n: refined(mark, self.residual, self.pyramid.finest, self._beside(mark), True)
            for n, mark in marks.items()
            if n not in plain
        }
        return dict(zip(plain, fitted, strict=True)) | own
