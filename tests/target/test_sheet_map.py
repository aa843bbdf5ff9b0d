"""The mapping from the sheet: exact where it can be, no wilder than it must be, and unmoved by odd tiles."""

import numpy as np
import pytest

from lensbench.target._sheet_map import fit_map
from lensbench.target.layout import make_layout

LAYOUT = make_layout((36.0, 24.0), 0.1)
MM = LAYOUT.corners_mm[(np.abs(LAYOUT.nodes_mm) < [190, 130]).all(axis=1)]


def lens(mm: np.ndarray) -> np.ndarray:
    """A turned, tilted view through a lens that draws angles: no polynomial at all."""
    turned = mm @ np.array([[0.99, 0.14], [-0.14, 0.99]])
    tilted = turned / (1 + turned @ [[0.0003], [-0.0002]])
    r = np.linalg.norm(tilted, axis=-1, keepdims=True)
    return 4 * tilted * 250 * np.arctan(r / 250) / np.maximum(r, 1e-9) + [750, 500]


def fitted(mm, seen):
    return fit_map(mm, seen, np.full(len(mm), 40.0))


def test_a_flat_view_is_met_exactly_beyond_the_tiles_too():
    seen = MM @ np.array([[3.9, 0.3], [-0.2, 4.1]]) + [700, 480]
    mapping, kept = fitted(MM, seen)
    assert kept.all()
    assert mapping.degree == 1
    assert mapping(np.array([400.0, -300])) == pytest.approx(
        np.array([400.0, -300]) @ [[3.9, 0.3], [-0.2, 4.1]] + [700, 480]
    )


def test_a_bent_view_is_met_to_a_fraction_of_a_pixel():
    rng = np.random.default_rng(4)
    seen = lens(MM) + rng.normal(0, 0.05, MM.shape)
    mapping, kept = fitted(MM, seen)
    assert kept.all()
    # 72 terms from 1122 numbers leave a quarter of the corners' error; what no polynomial follows adds as much.
    assert (mapping(MM) - lens(MM)).std() < 0.03
    assert np.abs(mapping(MM) - lens(MM)).max() < 0.25
    rim = LAYOUT.corners_mm[(np.abs(LAYOUT.nodes_mm) < [205, 145]).all(axis=1)]
    # A whole pitch further out, where cut tiles may lie, a pixel is what they are looked for with.
    assert np.abs(mapping(rim) - lens(rim)).max() < 1


def test_odd_tiles_are_left_out():
    rng = np.random.default_rng(5)
    seen = lens(MM) + rng.normal(0, 0.05, MM.shape)
    odd = rng.choice(len(MM), 8, replace=False)
    seen[odd] += rng.uniform(5, 30, (8, 1, 2))
    mapping, kept = fitted(MM, seen)
    assert set(np.flatnonzero(~kept)) == set(odd)
    assert np.abs(mapping(MM) - lens(MM)).max() < 0.25


def test_a_dozen_tiles_do():
    few = LAYOUT.corners_mm[(np.abs(LAYOUT.nodes_mm - [100, 60]) < [50, 35]).all(axis=1)]
    assert len(few) == 12
    mapping, kept = fitted(few, lens(few))
    assert kept.all()
    assert np.abs(mapping(few) - lens(few)).max() < 1
