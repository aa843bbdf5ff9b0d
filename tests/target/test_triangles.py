"""Triangles by their moments: figures whose corners, area and moments are known by hand."""

import numpy as np
import pytest
from skimage.draw import disk, ellipse, polygon2mask

from lensbench.target._reduced import Reduced
from lensbench.target._triangles import find_triangles


def picture_of(dark: np.ndarray) -> Reduced:
    relative = np.where(dark, 0.05, 1.0).astype(np.float32)
    return Reduced(relative, np.full(dark.shape, 0.7, np.float32), 1, np.zeros(2))


def triangle(corners: np.ndarray) -> np.ndarray:
    return polygon2mask((300, 400), corners[:, ::-1])


@pytest.mark.parametrize("turn_deg", np.arange(0, 360, 24))
@pytest.mark.parametrize("squeeze", [1.0, 0.6])
def test_corners_of_a_set_square(turn_deg, squeeze):
    turn = np.radians(turn_deg)
    rotate = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    corners = np.array([[0, 0], [90, 0], [0, 90 * squeeze]]) @ rotate
    corners += np.array([200, 150]) - corners.mean(axis=0)
    found = find_triangles(picture_of(triangle(corners)))
    assert found.corners.shape == (1, 3, 2)
    # The right angle first, then clockwise as seen, that is by growing angle with y down.
    # A mask holds whole pixels, which moves sides by up to half of one and acute corners by more.
    assert found.corners[0] == pytest.approx(corners, abs=1.5)
    assert found.nodes[0] == pytest.approx(corners[1:].mean(axis=0), abs=1.0)


def test_other_figures_are_none():
    y, x = np.mgrid[0:300, 0:400]
    figures = {
        "square": (abs(x - 200) < 40) & (abs(y - 150) < 40),
        "bar": (abs(x - 200) < 90) & (abs(y - 150) < 12),
        "leaning square": abs(x - 200) + abs(y - 150) < 50,
        "half disc": (np.hypot(x - 200, y - 150) < 50) & (y > 150),
        "cross": ((abs(x - 200) < 60) & (abs(y - 150) < 10)) | ((abs(x - 200) < 10) & (abs(y - 150) < 60)),
        "triangle without a right angle": triangle(np.array([[100.0, 100], [300, 100], [200, 140]])),
        "triangle at the border": triangle(np.array([[-20.0, 100], [80, 100], [-20, 200]])),
    }
    for shape, (rows, columns) in {"disc": disk((150, 200), 50), "ellipse": ellipse(150, 200, 30, 80)}.items():
        figures[shape] = np.zeros((300, 400), bool)
        figures[shape][rows, columns] = True
    for name, dark in figures.items():
        assert len(find_triangles(picture_of(dark))) == 0, name


def test_dots_and_floods_are_none():
    rng = np.random.default_rng(1)
    assert len(find_triangles(picture_of(rng.random((300, 400)) < 0.1))) == 0
    assert len(find_triangles(picture_of(np.ones((300, 400), bool)))) == 0
