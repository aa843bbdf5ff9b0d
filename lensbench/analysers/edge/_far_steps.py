"""Second steps beside edges, such as a shadow's border makes: which of two plateaus is the edge's own isn't known.

Whatever light a lens spreads fades outwards, so an edge nears its plateaus ever more slowly. Where light farther
out rises faster again, or falls, something else lies there.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._edge_fit import EdgeFit

PLACES, FROM, TO = 9, 4.0, 0.9
"""Places on each side that are compared: from so many blur widths to so much of what is seen, evenly in ratio."""

CERTAIN = 5.0
"""Standard deviations by which light must deviate from what only fades (of 3,600 clean edges 4 deviate so, by 2 %
of their contrast at most; study: `tests/bench/gauntlet`)."""

_THREE = np.array(list(combinations(range(PLACES), 3)))
_TWO = np.array([(i, j, j) for i, j in combinations(range(PLACES + 1), 2)])
_TRIPLES = np.concatenate([_THREE, _TWO]).T
"""Numbers of places, the last of them the plateau: the second lies above the chord of the others, or above the
first."""


def unsure_plateaus(fit: EdgeFit) -> NDArray[np.float64]:
    """By what share of their contrast plateaus differ that an edge could have; 0 where there is one choice, (n,).

    Parameters
    ----------
    fit : EdgeFit
        After its last step.
    """
    dark, white = fit.plateaus()
    # What is certain goes by what clean edges scatter.
    if fit.texture is not None and (fit.texture.is_stray.any() or fit.pulled.any()):
        clean = replace(fit.texture, stray=np.zeros_like(fit.texture.stray))
        fit = replace(fit, texture=clean, pulled=np.zeros(fit.n))
    apart = _apart(fit, -1, fit.reach[:, 0]) + _apart(fit, 1, fit.reach[:, 1])
    return np.asarray(np.minimum(apart / np.maximum(np.abs(white - dark), 1e-9), 1.0))


def _apart(fit: EdgeFit, sign: int, reach: NDArray) -> NDArray[np.float64]:
    """How far one side's plateau lies from the light that deviates most from what only fades, (n,)."""
    first, edges = FROM * fit.blur, np.arange(fit.n)
    ratio = np.maximum(TO * reach / first, 1.0)
    place = first[:, None] * ratio[:, None] ** np.linspace(0, 1, PLACES)
    value, _ = profile.basis(profile.to_cell((sign * place).ravel()))
    plateau = np.broadcast_to(profile.plateau_rows()[int(sign > 0)], (fit.n, 1, profile.COEFFICIENTS))
    rows = np.concatenate([value.reshape(fit.n, PLACES, profile.COEFFICIENTS), plateau], axis=1)
    # The dark side, turned about, is a bright one.
    light = sign * np.einsum("nmk,nk->nm", rows, fit.coefficients)
    low, middle, high = _TRIPLES
    place = np.column_stack([place, place[:, -1]])
    share = (place[:, middle] - place[:, low]) / np.maximum(place[:, high] - place[:, low], 1e-9)
    share[:, len(_THREE) :] = 0
    below = light[:, low] + share * (light[:, high] - light[:, low]) - light[:, middle]
    worst = np.argmax(below, axis=1)
    low, middle, high, part = low[worst], middle[worst], high[worst], share[edges, worst][:, None]
    derivative = (1 - part) * rows[edges, low] + part * rows[edges, high] - rows[edges, middle]
    most = below[edges, worst]
    certain = most > CERTAIN * fit.spread(derivative[:, None])[:, 0]
    return np.where(certain, np.maximum(most, light[:, -1] - light[edges, middle]), 0.0)
