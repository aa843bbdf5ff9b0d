"""The finder on drawn sheets whose corners are known, and on pictures that show no sheet.

The drawing (OpenCV polygons, SciPy blur, this file's own lens formulas) shares nothing with the finder but the
corners of the layout.
"""

import itertools
from dataclasses import replace

import cv2
import numpy as np
import pytest
import skimage.data
from scipy.spatial import cKDTree

from lensbench.shot import Shot
from lensbench.target._known_sheets import known_sheets
from lensbench.target._lattice import LatticePatch, match_lattice
from lensbench.target.finder import FoundTiles, find_tiles
from lensbench.target.layout import Layout, make_layout
from tests.target.drawn_sheets import Drawn, Score, View, draw, from_other_pictures, score

SIZE = (1200, 800)
# Blur is named for a frame of 24 megapixels, 6000 pixels wide, where a fine tile's leg measures about 210 pixels.
SMALLER = SIZE[0] / 6000
FINE, COARSE = make_layout((36.0, 24.0), 0.1), make_layout((36.0, 24.0), 0.1, "coarse")


def found_in(view: View, layout: Layout = FINE, paper_mm: float | None = None) -> tuple[Score, FoundTiles]:
    drawn = draw(layout, view, paper_mm)
    found = find_tiles(drawn.shot, layout)
    return score(drawn, layout, found), found


def assert_all_found(got: Score) -> None:
    assert got.whole_found == got.whole
    assert got.cut_found == got.cut
    assert got.errors.max() < 1
    assert got.cut_errors.max(initial=0) < 1
    assert got.wrong == 0


HARDSHIPS = {
    "plain": {},
    "turned left": {"turn_deg": 10},
    "turned right": {"turn_deg": -10},
    "a quarter": {"turn_deg": 93},
    "half round": {"turn_deg": -178},
    "tilted across": {"tilt_deg": (10, 0)},
    "tilted both ways": {"tilt_deg": (-7, 7), "turn_deg": 31},
    "squeezed corners": {"radial": 0.5},
    "drawn by angle": {"radial": 0.5, "by_angle": True, "decentre": (0.03, -0.02)},
    "stretched corners": {"radial": 1.3, "decentre": (-0.03, 0.02)},
    "four stops": {"falloff_stops": 4},
    "soft": {"sigma_px": 12 * SMALLER},
    "fringed": {"fringe_px": 6},
    "glare": {"glare": 0.4},
    "dim": {"light": 0.02},
    "mirrored": {"mirrored": True, "turn_deg": 20},
    "far": {"reach": 1.7},
    "near": {"reach": 0.5},
    "a corner of the sheet": {"shift": (-0.6, 0.4), "turn_deg": 8},
    "all at once": {
        "turn_deg": -9,
        "tilt_deg": (6, 8),
        "radial": 0.5,
        "falloff_stops": 4,
        "sigma_px": 12 * SMALLER,
        "fringe_px": 6 * SMALLER,
    },
    "all at once, stretched": {
        "turn_deg": 9,
        "tilt_deg": (-8, 6),
        "radial": 1.3,
        "by_angle": True,
        "falloff_stops": 4,
        "sigma_px": 12 * SMALLER,
        "mirrored": True,
    },
}


@pytest.mark.parametrize("hardship", HARDSHIPS)
def test_all_tiles_in_the_frame_are_found_to_a_pixel(hardship):
    how = HARDSHIPS[hardship]
    got, found = found_in(View(size=SIZE, **how), paper_mm=20)
    assert got.whole > 20
    assert_all_found(got)
    assert found.mirrored == how.get("mirrored", False)
    assert found.notes == ()


@pytest.mark.parametrize("hardship", ["plain", "squeezed corners", "soft", "mirrored", "near"])
def test_the_coarse_lattice_too(hardship):
    got, found = found_in(View(size=SIZE, **HARDSHIPS[hardship]), COARSE)
    assert got.whole >= 12
    assert_all_found(got)
    assert found.notes == ()


@pytest.mark.parametrize("kind", ["BGGR", "GRBG", "GBRG", "6x6", "grey", "planes"])
def test_every_kind_of_sensor(kind):
    got, _ = found_in(View(size=SIZE, kind=kind, turn_deg=4))
    assert_all_found(got)


@pytest.mark.parametrize("size", [(600, 400), (1001, 663), (800, 1200), (1000, 1000)])
def test_every_size_and_shape(size):
    view = View(size=size, turn_deg=90 if size[1] > size[0] else 3)
    got, _ = found_in(view)
    assert_all_found(got)


def test_whole_says_whether_the_border_cuts():
    drawn = draw(FINE, View(size=SIZE, turn_deg=6))
    found = find_tiles(drawn.shot, FINE)
    number = {place: i for i, place in enumerate(zip(FINE.column.tolist(), FINE.row.tolist(), strict=True))}
    index = [number[place] for place in zip(found.column.tolist(), found.row.tolist(), strict=True)]
    clear = np.abs(drawn.corners_px[index] - 0.5 * np.array(SIZE)) - 0.5 * np.array(SIZE)
    # Within a pixel of the border it may be either.
    sure = np.abs(clear).min(axis=(1, 2)) > 1
    assert (found.whole == drawn.whole[index])[sure].all()
    assert 20 < (~found.whole).sum() < 60


def test_corners_keep_the_layout_s_order_and_hand():
    for mirrored in (False, True):
        _, found = found_in(View(size=SIZE, mirrored=mirrored))
        one = found.corners_px[:, 1] - found.corners_px[:, 0]
        other = found.corners_px[:, 2] - found.corners_px[:, 0]
        hand = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
        assert (hand < 0).all() if mirrored else (hand > 0).all()


def spoiled(drawn: Drawn, change) -> Shot:
    """The shot with its light changed by a function of the picture (float32)."""
    light = drawn.shot.samples.astype(np.float32)
    return replace(drawn.shot, samples=np.clip(change(light), 0, 16383).astype(np.uint16))


def test_a_hand_in_the_way_is_said_and_harms_no_other_tile():
    drawn = draw(FINE, View(size=SIZE))
    shot = spoiled(drawn, lambda light: cv2.ellipse(light, (800, 250), (150, 110), 20, 0, 360, 3000.0, -1))
    found = find_tiles(shot, FINE)
    got = score(drawn, FINE, found)
    assert got.wrong == 0
    assert np.percentile(got.errors, 98) < 1
    assert 3 <= got.whole - got.whole_found <= 25
    assert any(f"{got.whole - got.whole_found} tiles" in note and "covered" in note for note in found.notes)
    assert "top right" in " ".join(found.notes)


def test_scratches_and_blots_leave_the_rest_alone():
    rng = np.random.default_rng(3)
    drawn = draw(FINE, View(size=SIZE))

    def scratch(light):
        for _ in range(8):
            start, end = ((int(rng.integers(1200)), int(rng.integers(800))) for _ in range(2))
            cv2.line(light, start, end, 600.0, 2)
        for _ in range(40):
            cv2.circle(
                light, (int(rng.integers(1200)), int(rng.integers(800))), int(rng.integers(2, 9)), 600.0, -1
            )
        return light

    shot = spoiled(drawn, scratch)
    found = find_tiles(shot, FINE)
    touched = np.argwhere(np.abs(shot.samples.astype(float) - drawn.shot.samples) > 500)[:, ::-1]
    middles = drawn.corners_px.mean(axis=1)
    clear = cKDTree(touched).query(middles)[0] > 0.6 * 44
    places = set(zip(found.column.tolist(), found.row.tolist(), strict=True))
    expected = drawn.whole & clear
    assert 60 < expected.sum() < 130
    assert all(place in places for place in zip(FINE.column[expected], FINE.row[expected], strict=True))
    got = score(drawn, FINE, found)
    assert got.whole - got.whole_found <= 10
    assert got.wrong == 0
    assert np.percentile(got.errors, 95) < 1
    assert got.errors.max() < 3


def test_a_covered_strip_does_not_hide_what_lies_beyond():
    drawn = draw(FINE, View(size=SIZE))

    def strip(light):
        light[:, 500:600] = 6000
        return light

    found = find_tiles(spoiled(drawn, strip), FINE)
    sides = found.corners_px.mean(axis=1)[:, 0]
    assert (sides < 480).any()
    assert (sides > 620).any()
    lost = drawn.corners_px[drawn.whole][:, :, 0]
    expected = ((lost < 498).all(axis=1) | (lost > 602).all(axis=1)).sum()
    assert score(drawn, FINE, found).whole_found >= expected


def test_noise_of_high_iso():
    drawn = draw(FINE, View(size=SIZE))
    rng = np.random.default_rng(5)
    got = score(drawn, FINE, find_tiles(spoiled(drawn, lambda a: a + rng.normal(0, 1000, a.shape)), FINE))
    assert got.whole_found == got.whole
    assert got.wrong == 0


def assert_none(shot: Shot, layout: Layout = FINE) -> str:
    found = find_tiles(shot, layout)
    assert len(found.column) == len(found.row) == len(found.corners_px) == len(found.whole) == 0
    assert len(found.notes) == 1
    return found.notes[0]


def _photographs() -> list[str]:
    """What scikit-image brings along, and what it would have to fetch where that is at hand."""
    names = (
        "astronaut brick camera cat cell checkerboard clock coffee coins colorwheel grass gravel horse"
        " hubble_deep_field immunohistochemistry logo microaneurysms moon page retina rocket text"
    )
    return [name for name in names.split() if hasattr(skimage.data, name)]


@pytest.mark.parametrize("name", _photographs())
def test_no_tile_is_found_on_other_photographs(name):
    try:
        picture = getattr(skimage.data, name)()
    except Exception as error:
        pytest.skip(f"scikit-image's {name} isn't at hand: {error}")
    grey = picture[..., :3].mean(axis=2) if picture.ndim == 3 else picture.astype(float)
    assert_none(from_other_pictures(grey / (grey.max() or 1)))


def test_the_photographs_that_come_with_scikit_image_are_at_hand():
    assert skimage.data.astronaut().size
    assert skimage.data.camera().size
    assert skimage.data.coffee().size


def test_no_tile_is_found_in_noise_and_patterns():
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:600, 0:900]
    for grey in (
        rng.random((600, 900)),
        cv2.GaussianBlur(rng.random((600, 900)), (0, 0), 6) * 8 % 1,
        ((x // 40 + y // 40) % 2).astype(float),
        0.5 + 0.5 * np.sin(x / 9) * np.sin(y / 9),
    ):
        assert_none(from_other_pictures(grey))


def lattice_of(turns_deg: np.ndarray) -> Shot:
    """A lattice of set squares, each turned as given."""
    rows, columns = turns_deg.shape
    picture = np.full((rows * 60, columns * 60), 0.75, np.float32)
    square = np.array([[-0.5, -0.5], [0.5, -0.5], [-0.5, 0.5]]) * 33
    for (row, column), turn in np.ndenumerate(np.radians(turns_deg)):
        rotate = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        corners = square @ rotate + [column * 60 + 30, row * 60 + 30]
        cv2.fillPoly(picture, [np.round(corners).astype(np.int32)], 0.04)
    return from_other_pictures(picture)


def test_set_squares_that_stand_otherwise_are_not_taken_for_the_sheet():
    rng = np.random.default_rng(2)
    assert "set squares" in assert_none(lattice_of(np.zeros((9, 13))))
    assert_none(lattice_of(rng.choice([0.0, 180.0], (9, 13))))
    assert_none(lattice_of(rng.uniform(0, 360, (9, 13))))


def test_another_sheet_s_layout_is_refused():
    shot = draw(FINE, View(size=SIZE)).shot
    assert "target.json" in assert_none(shot, COARSE)
    assert "target.json" in assert_none(draw(COARSE, View(size=SIZE)).shot, FINE)


@pytest.mark.parametrize("shape", [(1, 1), (2, 3), (10, 10), (2, 400), (64, 64)])
@pytest.mark.parametrize("level", [0.0, 0.5, 1.0, np.nan])
def test_empty_and_tiny_pictures(shape, level):
    shot = from_other_pictures(np.zeros(shape))
    samples = np.full(shape, 512 + 15359 * level, np.float32)
    assert "no target is seen" in assert_none(replace(shot, samples=samples))


def test_too_few_tiles_are_said_so():
    note = assert_none(draw(FINE, View(size=SIZE, reach=0.2)).shot)
    assert "are needed" in note


READY = [sheet.layout for sheet in known_sheets()]


@pytest.mark.parametrize("shown", READY, ids=lambda layout: layout.name)
def test_another_sheet_s_file_is_refused_by_name(shown):
    shot = draw(shown, View(size=(900, 600), turn_deg=4)).shot
    assert len(find_tiles(shot, shown).column) > 60
    for other in READY:
        if other is not shown:
            found = find_tiles(shot, other)
            assert len(found.column) == 0
            (note,) = found.notes
            assert f"shows the sheet {shown.name} (" in note
            assert f"target.json describes the sheet {other.name} (for a sensor of 36 × 24 mm" in note


def test_a_sheet_that_is_none_of_the_ready_made_ones_is_refused_too():
    shot = draw(make_layout((23.5, 15.6), 0.3), View(size=(900, 600))).shot
    (note,) = find_tiles(shot, FINE).notes
    assert f"arranged as on the sheet {FINE.name} (for a sensor of 36 × 24 mm at magnification 0.1)" in note
    nameless = replace(FINE, name=None, sensor_mm=None, magnification=None)
    assert "arranged as on the sheet of target.json. Sheets without a name" in find_tiles(shot, nameless).notes[0]


def test_a_part_of_a_sheet_of_as_many_tiles_as_are_needed_is_of_no_other():
    """Sixteen tiles in a square, the fewest that show where they lie, from all over every sheet."""
    taken = tried = 0
    for shown, other in itertools.permutations(READY, 2):
        for column, row in itertools.product(range(0, shown.columns - 3, 4), range(0, shown.rows - 3, 4)):
            patch = _patch(shown, column, row, 4)
            assert match_lattice(patch, shown) is not None
            tried += 1
            taken += match_lattice(patch, other) is not None
    # So few tiles can't keep sheets apart without exception: 16 bits, held against some 3,000 positions.
    assert taken < 0.005 * tried


def _patch(layout: Layout, column: int, row: int, side: int) -> LatticePatch:
    inside = (layout.column >= column) & (layout.column < column + side)
    inside &= (layout.row >= row) & (layout.row < row + side)
    arrow = (layout.corners_mm[:, 0] - layout.nodes_mm)[inside]
    direction = (arrow[:, 0] + 1j * arrow[:, 1]) / np.hypot(*arrow.T)
    position = np.stack([layout.column[inside] - column, layout.row[inside] - row], axis=1)
    return LatticePatch(np.arange(inside.sum()), position, direction)
