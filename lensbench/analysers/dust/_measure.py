"""Dirt marks: the shadows of dust, fibres and smears in an even light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._acceptance import FIBRE_ASPECT, PATCH_PX
from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._residual import residual_of
from lensbench.analysers.dust._search import search_marks
from lensbench.even_choice import evenly_chosen
from lensbench.findings import Dust, Mark, UnevenLight
from lensbench.frame import zone_of
from lensbench.shot import Shot
from lensbench.uniform_blocks import UniformBlocks

PATH_POINTS = 60
"""Points of a fibre's path that are reported, at most."""


STRAIGHT, BORDER_PX = 0.98, 24.0
"""A fibre whose ends are that share of its length apart, and so close to the borders, is a straight line (chosen
by experience)."""


def find_marks(flat: Shot, blocks: UniformBlocks | None = None) -> Dust:
    """Find the dirt marks of one flat.

    Parameters
    ----------
    flat : Shot
        An even light through the lens.
    blocks : UniformBlocks, optional
        Of its reference channel (`lensbench.uniform_blocks`), where they have been read already.

    Returns
    -------
    Dust
        Marks of 5 px and wider and fibres, the highest signal to noise first. Defective pixels and the
        sensor's rows and columns are none.

    Raises
    ------
    BenchError
        Where too little of the frame can be measured.

    Examples
    --------
    A spot that takes a tenth of the light, drawn in closed form:

    >>> import numpy as np
    >>> from lensbench import Shot, find_marks
    >>> y, x = np.mgrid[:400, :600]
    >>> light = 12000 * (1 - 0.1 * (np.hypot(x - 420, y - 150) < 8))
    >>> flat = Shot.from_array(np.random.default_rng(1).poisson(light), white=16000)
    >>> dust = find_marks(flat)
    >>> [(mark.kind, round(mark.x), round(mark.y)) for mark in dust.marks]
    [('spot', 420, 150)]
    >>> bool(abs(dust.columns("marks")["width_px"][0] - 16) < 1)
    True
    """
    residual = residual_of(flat, blocks)
    found = search_marks(residual)
    lines = [mark for mark in found if isinstance(mark, Fibre) and _is_line(mark, residual.size)]
    marks = [_mark(mark, residual.size) for mark in found if mark not in lines]
    across = [UnevenLight("line", abs(line.depth.value)) for line in lines]
    return Dust(marks, light=[*residual.uneven.found, *across])


def _is_line(fibre: Fibre, size: tuple[int, int]) -> bool:
    """Whether a fibre runs straight from border to border: a joint of the panel, a wire or a crease."""
    ends = fibre.path[[0, -1]]
    chord = float(np.hypot(*(ends[1] - ends[0])))
    to_border = np.minimum(ends, np.array(size) - 1 - ends).min(axis=1)
    return chord > STRAIGHT * fibre.length.value and chord > min(size) / 2 and bool((to_border < BORDER_PX).all())


def _mark(found: Blob | Fibre, size: tuple[int, int]) -> Mark:
    """A mark as it is reported."""
    x, y = float(np.clip(found.x, 0, size[0] - 1)), float(np.clip(found.y, 0, size[1] - 1))
    line: NDArray[np.float64] = np.empty((0, 2))
    if isinstance(found, Fibre):
        kind = "fibre"
        line = found.path[evenly_chosen(len(found.path), PATH_POINTS)]
    elif found.length.value >= FIBRE_ASPECT * found.width.value and found.width.value < PATCH_PX / 2:
        kind = "fibre"
        line = np.clip(found.ends, 0, np.array(size) - 1.0)
    else:
        kind = "patch" if found.width.value >= PATCH_PX else "spot"
    path = [(round(float(px), 1), round(float(py), 1)) for px, py in line]
    return Mark(
        x, y, kind, found.width, found.length, found.depth, found.signal_to_noise, zone_of(x, y, size), path
    )
