"""Polygons on grids, against sums made the slow way."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from lensbench.simulator.coverage import smoothed_polygon, smoothing

TRIANGLE = np.array([[12.3, 9.1], [41.7, 14.2], [20.4, 37.9]])


def area(vertices):
    """The shoelace formula."""
    x, y = np.asarray(vertices).T
    return abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2


def by_brute_force(vertices, shape, finer=24):
    """Points of a fine grid inside the polygon, weighed by the spline."""
    rows, columns = (np.arange(n * finer) / finer + 0.5 / finer for n in shape)
    x, y = np.meshgrid(columns, rows)
    turn = np.sign((vertices[1] - vertices[0])[0] * (vertices[2] - vertices[0])[1]
                   - (vertices[1] - vertices[0])[1] * (vertices[2] - vertices[0])[0])  # fmt: skip
    inside = np.ones(x.shape)
    for a, b in zip(vertices, np.roll(vertices, -1, axis=0), strict=True):
        inside *= turn * ((b - a)[0] * (y - a[1]) - (b - a)[1] * (x - a[0])) > 0
    cubic = BSpline.basis_element(np.arange(-2, 3), extrapolate=False)
    down, across = (
        np.nan_to_num(cubic(np.arange(n)[:, None] + 0.5 - places)) / finer
        for n, places in zip(shape, (rows, columns), strict=True)
    )
    return down @ inside @ across.T


def test_total_is_the_polygons_area():
    assert smoothed_polygon(TRIANGLE, (50, 60)).sum(dtype=float) == pytest.approx(area(TRIANGLE), rel=1e-5)


def test_cells_agree_with_a_sum_over_fine_points():
    assert smoothed_polygon(TRIANGLE, (50, 60)) == pytest.approx(by_brute_force(TRIANGLE, (50, 60)), abs=2e-3)


def test_either_way_round():
    one, other = smoothed_polygon(TRIANGLE, (50, 60)), smoothed_polygon(TRIANGLE[::-1], (50, 60))
    assert one == pytest.approx(other, abs=1e-5)


@pytest.mark.parametrize("shift", [(-25.0, 3.0), (17.0, -21.0), (30.0, 25.0), (-4.25, -30.5)])
def test_a_polygon_cut_by_the_border_is_the_same_inside(shift):
    moved = TRIANGLE + shift
    whole = smoothed_polygon(moved + 64, (192, 192))
    assert smoothed_polygon(moved, (48, 56)) == pytest.approx(whole[64:112, 64:120], abs=1e-5)


def test_spectrum_is_that_of_the_polygon_and_its_aliases():
    """A square's transform is width × height × sinc × sinc, and sampling adds whole cycles a cell (Bracewell, The
    Fourier Transform and its Applications; memory)."""
    square = np.array([[10.2, 11.7], [30.9, 11.7], [30.9, 35.1], [10.2, 35.1]])
    image = smoothed_polygon(square, (64, 64))

    def smoothed(fx, fy):
        value = 20.7 * np.sinc(20.7 * fx) * 23.4 * np.sinc(23.4 * fy) * smoothing(fx) * smoothing(fy)
        return value * np.exp(-2j * np.pi * (fx * 20.55 + fy * 23.4))

    x = np.arange(64) + 0.5
    turns = np.arange(-12, 13)
    for fx, fy in ((0.03, 0.0), (0.11, 0.07), (0.2, -0.31), (0.0, 0.4)):
        found = np.exp(-2j * np.pi * fy * x) @ image @ np.exp(-2j * np.pi * fx * x)
        true = sum((-1.0) ** (i + j) * smoothed(fx - i, fy - j) for i in turns for j in turns)
        assert found == pytest.approx(true, abs=2e-3)
        leak = max(abs(f) / (1 - abs(f)) for f in (fx, fy)) ** 5
        assert abs(true - smoothed(fx, fy)) <= 40 * leak + 1e-5


def test_the_smoothing_is_a_cubic_spline():
    """sinc⁴, the transform of four boxes (memory: Schoenberg 1946)."""
    assert smoothing(np.array([0.0, 0.5, 1.0])) == pytest.approx([1, (2 / np.pi) ** 4, 0], abs=1e-12)
