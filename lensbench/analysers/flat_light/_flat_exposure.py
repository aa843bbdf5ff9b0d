"""How a flat was exposed and lit: what is clipped, how bright it is, and which side is darker; a quick look."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.frame import centre_of, half_diagonal
from lensbench.shot import Shot

CELLS = (18, 12)
"""Cells across and down, of which each is the median of a few hundred samples."""

SAMPLES_PER_CELL = 16
"""Samples across and down a cell that are looked at, about."""


@dataclass(frozen=True)
class FlatExposure:
    """What a quick look at a flat tells.

    Attributes
    ----------
    clipped : dict of str to float
        The share of each channel's samples that is clipped, where any is.
    level : float
        The light of the brightest tenth of the frame, as a share of full scale, in the reference channel.
    gradient_stops : float
        By how much its darkest side is darker than the opposite one, less what is alike on all sides.
    darker_at : (float, float)
        Which way that is, x right and y down, as a unit vector.
    """

    clipped: dict[str, float]
    level: float
    gradient_stops: float
    darker_at: tuple[float, float]


def flat_exposure(flat: Shot) -> FlatExposure:
    """Look at how a flat was exposed and lit.

    Parameters
    ----------
    flat : Shot
        An even light.

    Returns
    -------
    FlatExposure
    """
    shares = {channel: _clipped_share(flat, channel) for channel in flat.channels}
    light, covered = _cell_medians(flat)
    cells = light / flat.full_scale(flat.reference)
    stops = -np.log2(np.maximum(cells, 1e-5))
    (width, height), half, (middle_x, middle_y) = flat.size, half_diagonal(flat.size), centre_of(flat.size)
    u, v = np.meshgrid(
        ((np.arange(cells.shape[1]) + 0.5) * covered[1] * width / cells.shape[1] - middle_x) / half,
        ((np.arange(cells.shape[0]) + 0.5) * covered[0] * height / cells.shape[0] - middle_y) / half,
    )
    q = u**2 + v**2
    design = np.stack([u, v, np.ones_like(q), q, q**2], axis=-1).reshape(-1, 5)
    across, down = np.linalg.lstsq(design, stops.ravel(), rcond=None)[0][:2]
    size = max(float(np.hypot(across, down)), 1e-9)
    level = float(np.percentile(cells, 90))
    return FlatExposure(
        {channel: share for channel, share in shares.items() if share > 0},
        level,
        2 * size,
        (float(across) / size, float(down) / size),
    )


def _clipped_share(flat: Shot, channel: str) -> float:
    parts = [_thinned(part.samples) >= flat.white for part in flat.sublattices(channel)]
    return float(np.mean([part.mean() for part in parts]))


def _thinned(samples: NDArray) -> NDArray:
    step = max(int(min(samples.shape) / (SAMPLES_PER_CELL * CELLS[1])), 1)
    return samples[::step, ::step]


def _cell_medians(flat: Shot) -> tuple[NDArray[np.float64], tuple[float, float]]:
    """Medians of the reference channel's light over cells, and the share of height and width that they cover."""
    part = next(flat.sublattices(flat.reference))
    thin = flat.light(_thinned(part.samples), part.colour_index)
    rows, columns = (max(n // cells, 1) for n, cells in zip(thin.shape, CELLS[::-1], strict=True))
    down, across = thin.shape[0] // rows, thin.shape[1] // columns
    cells = thin[: down * rows, : across * columns].reshape(down, rows, across, columns)
    medians = np.median(cells.swapaxes(1, 2).reshape(down, across, -1), axis=-1).astype(float)
    return medians, (down * rows / thin.shape[0], across * columns / thin.shape[1])
