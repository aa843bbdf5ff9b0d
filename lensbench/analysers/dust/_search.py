"""The search for dirt marks: the strongest are subtracted first, then what they disturbed is searched again."""

from __future__ import annotations

from lensbench.analysers.dust._acceptance import Found, is_uneven_light, is_visible
from lensbench.analysers.dust._blob_search import BlobSearch
from lensbench.analysers.dust._fibre_search import FibreSearch
from lensbench.analysers.dust._leftovers import is_leftover
from lensbench.analysers.dust._remainder import Remainder
from lensbench.analysers.dust._residual import Residual

FIBRE_LEVELS_PX = ((4, 8, 16), (2,))
"""Cells of the levels searched for fibres: the finest, which takes longest, only at the end."""

PASSES, ROUNDS = 6, 12
"""How often, at most, fibres and round marks are searched in turn, and round marks before fibres again."""


UNEVEN_PASSES, UNEVEN_ROUNDS = 1, 4
"""The same where the light is uneven, on the coarser levels alone: what levelling leaves has no end."""


def search_marks(residual: Residual) -> list[Found]:
    """All marks of a residual.

    Parameters
    ----------
    residual : Residual
        Of one flat.

    Returns
    -------
    list of Blob and Fibre
        The highest signal to noise first.
    """
    remainder = Remainder(residual)
    blobs = BlobSearch(remainder)
    uneven = bool(residual.uneven.found)
    for cells_px in FIBRE_LEVELS_PX[: 1 if uneven else None]:
        fibres = FibreSearch(remainder, cells_px)
        for _ in range(UNEVEN_PASSES if uneven else PASSES):
            # Fibres once more when no round mark is left that could be stronger.
            if not (
                _subtract_fibres(remainder, blobs, fibres)
                or _subtract_blobs(remainder, blobs, fibres)
                or _subtract_fibres(remainder, blobs, fibres)
            ):
                break
    remainder.join_fibres()
    return _final(remainder)


def _subtract_blobs(remainder: Remainder, blobs: BlobSearch, fibres: FibreSearch) -> bool:
    """Subtract round marks until none is left; whether there were any."""
    for number in range(UNEVEN_ROUNDS if remainder.residual.uneven.found else ROUNDS):
        if not _subtract(blobs.find(), remainder, blobs, fibres):
            return number > 0
    return True


def _subtract_fibres(remainder: Remainder, blobs: BlobSearch, fibres: FibreSearch) -> bool:
    """Subtract the fibres that nothing stronger disturbs; whether there were any."""
    return _subtract(fibres.find(blobs.peaks), remainder, blobs, fibres)


def _subtract(marks: list[Found], remainder: Remainder, blobs: BlobSearch, fibres: FibreSearch) -> bool:
    """Subtract marks and update both searches; whether there were any."""
    if marks:
        changed = remainder.subtract(marks)
        blobs.update(changed)
        fibres.update(changed)
    return bool(marks)


def _final(remainder: Remainder) -> list[Found]:
    """The marks that, as fitted last, are visible, no uneven light and no leftovers of stronger ones."""
    final: list[Found] = []
    for mark in sorted(remainder.remeasured(), key=lambda m: -m.signal_to_noise):
        visible = is_visible(mark, remainder.residual.unsure)
        visible &= mark.width.value < remainder.residual.uneven.widest_px
        if visible and not is_uneven_light(mark, remainder.residual) and not is_leftover(mark, final):
            final.append(mark)
    return final
