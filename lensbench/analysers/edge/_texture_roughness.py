"""How rough the paper's texture makes profiles look: what is chosen by an edge's own samples must not take it in.

How rough a profile is in each zone is set by how much it differs there from what is smooth (`_profile.roughness`).
A texture lifts and lowers neighbouring samples together, so that such differences are larger than samples that are
independent would make them. Taken for the lens's, they let the profile follow the texture, and leave what it says
of its own sureness too small.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _equation_loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._equations import INITIAL_SCALES
from lensbench.analysers.edge._model import EdgeModel
from lensbench.analysers.edge._texture import Texture, across_cells
from lensbench.analysers.numerics import banded

USUAL_BLUR, USUAL_INFORMATION = 1.4, 2e6
"""Blur width in pixels, and samples over their variance for each pixel across the edge, that the table is for.

With half or twice the one, a third or three times the other, eight in ten of the standard deviations on the bright
side are half to twice as large.
"""


def roughness_by_texture(texture: Texture, model: EdgeModel) -> NDArray[np.float64]:
    """Variance of the rows of `profile.roughness` by the texture beside edges, shape (n, K)."""
    light = np.maximum(model.coefficients + model.segments.dark[:, None], 0)
    return np.asarray((texture.of_edge @ _table()) * light**2)


@lru_cache(maxsize=1)
def _table() -> NDArray[np.float64]:
    """Variance of the rows by textures of unit variance on even white, shape (DISTANCES, K)."""
    rough, prior = profile.roughness(), profile.prior_roughness(np.array([USUAL_BLUR]))
    edges = profile.to_distance(
        np.clip(np.arange(profile.BINS + 1) / profile.FINE, 1e-6, 2 * profile.CELLS - 1e-6)
    )
    weight = USUAL_INFORMATION * np.diff(edges)[None]
    sigma = prior * INITIAL_SCALES[rough.zone]
    bands = loops.normal_bands(weight, profile.bin_pieces()[0])
    factors = banded.factored(banded.with_rows(bands, rough.rows, rough.first, sigma))
    rows = np.zeros((1, profile.COEFFICIENTS, profile.COEFFICIENTS))
    for j in range(3):
        rows[0, np.arange(profile.COEFFICIENTS), rough.first + j] = rough.rows[:, j]
    solved = banded.solved(factors, rows)
    # What the samples say of each row, were it not held to what is expected.
    seen = 1 - (solved * rows).sum(axis=-1) / sigma**2
    taken = profile.weighted_cell_sums(solved, weight)[0] / np.maximum(seen, 1e-3).T
    return np.asarray(((taken @ across_cells()) * taken).sum(axis=-1))
