"""Opcodes as the DNG standard's own reference code takes them, against formulas written out from the standard."""

import io

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from lensbench.correction import _opcodes as opcodes
from lensbench.correction._directory import (
    ASCII,
    BYTE,
    LONG,
    RATIONAL,
    SHORT,
    SRATIONAL,
    UNDEFINED,
    entry,
    tiff_bytes,
)
from tests.correction.reference_reader import developed

WIDTH, HEIGHT = 300, 200
LISTS = {1: 51008, 2: 51009, 3: 51022}
Y, X = np.mgrid[:HEIGHT, :WIDTH].astype(float)
CENTRE = (0.48, 0.53)
INSIDE = np.s_[24:-24, 24:-24]


def developed_with(tmp_path, mosaic, **lists):
    tags = [
        *(entry(code, LONG, value) for code, value in ((254, 0), (256, WIDTH), (257, HEIGHT), (278, HEIGHT))),
        *(entry(code, SHORT, value) for code, value in ((258, 16), (259, 1), (262, 32803), (274, 1), (277, 1))),
        entry(272, ASCII, "Nightjar One"),
        entry(33421, SHORT, (2, 2)),
        entry(33422, BYTE, (0, 1, 1, 2)),
        entry(50706, BYTE, (1, 6, 0, 0)),
        entry(50707, BYTE, (1, 3, 0, 0)),
        entry(50708, ASCII, "Nightjar One"),
        entry(50710, BYTE, (0, 1, 2)),
        entry(50714, SHORT, 0),
        entry(50717, LONG, 65535),
        entry(50721, SRATIONAL, np.eye(3).ravel()),
        entry(50728, RATIONAL, (1, 1, 1)),
        entry(50778, SHORT, 21),
        *(entry(LISTS[int(name[-1])], UNDEFINED, opcodes.opcode_list(held)) for name, held in lists.items()),
    ]
    path = tmp_path / "a.dng"
    path.write_bytes(tiff_bytes(tags, [mosaic.astype("<u2").tobytes()]))
    return developed(path).astype(float)


def mosaic_of(planes):
    mosaic = planes[:, :, 1].copy()
    mosaic[::2, ::2] = planes[::2, ::2, 0]
    mosaic[1::2, 1::2] = planes[1::2, 1::2, 2]
    return mosaic


def read_at(radial, tangential):
    """Where a plane is read: the specification's formula for WarpRectilinear."""
    cx, cy = CENTRE[0] * WIDTH, CENTRE[1] * HEIGHT
    farthest = max(np.hypot(x - cx, y - cy) for x in (0, WIDTH) for y in (0, HEIGHT))
    dx, dy = (X - cx) / farthest, (Y - cy) / farthest
    square = dx**2 + dy**2
    factor = sum(k * square**n for n, k in enumerate(radial))
    kt0, kt1 = tangential
    across = dx * factor + kt0 * 2 * dx * dy + kt1 * (square + 2 * dx**2)
    down = dy * factor + kt1 * 2 * dx * dy + kt0 * (square + 2 * dy**2)
    return cx + farthest * across, cy + farthest * down


RADIAL = np.array([[1.0, -0.03, 0.01, -0.005], [0.99, 0.02, 0.0, 0.0], [1.01, -0.02, 0.01, 0.0]])
TANGENTIAL = np.array([[0.002, -0.003], [0.0, 0.001], [0.001, 0.0]])


def as_read(places):
    """What the reference code makes of a ramp of whole numbers, read at places between them.

    Its kernel, cubic convolution with a = -0.75, does not keep a ramp straight, and places are cut down to 1/32 px
    (found by trying; R. G. Keys, Cubic convolution interpolation (1981), has the kernel: memory).
    """
    a, whole = -0.75, np.floor(places)
    part = np.floor((places - whole) * 32) / 32
    away = np.abs(part[..., None] - np.arange(-1, 3))
    near, far = ((a + 2) * away - (a + 3)) * away**2 + 1, ((a * away - 5 * a) * away + 8 * a) * away - 4 * a
    weights = np.where(away < 1, near, far)
    return whole + (weights * np.arange(-1, 3)).sum(axis=-1) / weights.sum(axis=-1)


HIGH_POWERS = np.array([[1.0, 0, 0, 0, 0.06, 0, -0.02, 0.01]] * 3)

WARPS = {
    "older": (opcodes.warp_rectilinear, RADIAL),
    "newer": (opcodes.warp_rectilinear_2, np.pad(RADIAL, ((0, 0), (0, 4)))),
    "newer, high powers": (opcodes.warp_rectilinear_2, HIGH_POWERS),
}


@pytest.mark.parametrize("kind", WARPS)
def test_the_warp_moves_each_colour_as_the_formula_says(tmp_path, kind):
    write, radial = WARPS[kind]
    # Ramps, whose values say where they were read.
    for axis, ramp in enumerate((X, Y)):
        mosaic = mosaic_of(np.repeat(ramp[:, :, None], 3, 2) * 200 + 1000)
        picture = developed_with(tmp_path, mosaic, list3=[write(radial, TANGENTIAL, CENTRE)])
        for plane in range(3):
            wanted = as_read(read_at(radial[plane], TANGENTIAL[plane])[axis])
            off = ((picture[:, :, plane] - 1000) / 200 - wanted)[INSIDE]
            assert abs(off.mean()) < 0.003
            assert np.abs(off).max() < 0.06


def test_gain_maps_multiply_what_they_say_where_they_say(tmp_path):
    rng = np.random.default_rng(1)
    maps = [rng.uniform(1, 2, (9, 13)).astype(np.float32) for _ in range(4)]
    held = [opcodes.gain_map(m, (WIDTH, HEIGHT), (n % 2, n // 2), (2, 2)) for n, m in enumerate(maps)]
    picture = developed_with(tmp_path, np.full((HEIGHT, WIDTH), 20000.0), list2=held)
    places = opcodes.map_points(9, HEIGHT), opcodes.map_points(13, WIDTH)
    for n, plane in ((0, 0), (3, 2)):
        wanted = RegularGridInterpolator(places, maps[n])((Y, X))
        # Only a plane's own places in the mosaic: between them the reference code interpolates.
        own = np.s_[n // 2 :: 2, n % 2 :: 2]
        assert np.allclose(picture[:, :, plane][own] / 20000, wanted[own], atol=2e-4)


def test_a_gain_lifts_nothing_over_white(tmp_path):
    held = [opcodes.gain_map(np.full((2, 2), 3.0, np.float32), (WIDTH, HEIGHT))]
    assert developed_with(tmp_path, np.full((HEIGHT, WIDTH), 40000.0), list2=held).min() == 65535


@pytest.mark.parametrize("place", [(50, 60), (51, 60), (50, 61), (51, 61)])
def test_a_bad_pixel_goes(tmp_path, place):
    mosaic = np.full((HEIGHT, WIDTH), 9000.0)
    mosaic[place] = 60000
    held = [opcodes.fix_bad_pixels(np.array([place]), 0)]
    assert developed_with(tmp_path, mosaic).max() > 30000
    assert developed_with(tmp_path, mosaic, list1=held).max() == 9000


def test_lists_are_big_endian_and_say_how_long_they_are():
    held = opcodes.opcode_list([opcodes.fix_bad_pixels(np.array([[3, 4]]), 2)])
    stream = io.BytesIO(held)
    numbers = np.frombuffer(stream.read(), ">u4")
    # Count, opcode 5, version 1.3.0.0, flags, bytes that follow, phase, points, rectangles, row, column.
    assert numbers.tolist() == [1, 5, 0x01030000, 1, 20, 2, 1, 0, 3, 4]
