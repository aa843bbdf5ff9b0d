"""Lateral colour by tile, as a field, by zone and in the worst corner, against a camera of known colours."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.special import ndtr

from lensbench.analysers.fringing import measure_fringing
from lensbench.frame import ZONES, half_diagonal, radial_axes, zone_index
from lensbench.target.finder import FoundTiles
from tests.analysers.geometry.invented_lines import SIZE, Camera, radial_distortion, seen_colours, set_squares

LAYOUT = set_squares()
UNIT = half_diagonal(SIZE)
GREEN = Camera(distorted=radial_distortion(-0.05), turn=5)


def coloured(stretch, outer=0.0, **more):
    """Green's camera with a picture larger by `stretch`, and by `outer` more at the half-diagonal."""
    distorted = radial_distortion(-0.05)
    return replace(GREEN, distorted=lambda r: distorted(r) * (1 + stretch + outer * distorted(r) ** 2), **more)


RED, BLUE = coloured(0.0004, 0.0012), coloured(-0.0005, -0.0010)


def true_shift(camera, places):
    """Where a colour's camera puts what green shows at some places, less these places."""
    away = (places - GREEN.axis_px) / UNIT
    radius = np.hypot(*away.T)
    moved = np.asarray(camera.axis_px) - GREEN.axis_px
    ideal = np.linspace(0, 1.5, 15001)
    stretched = np.interp(np.interp(radius, GREEN.distorted(ideal), ideal), ideal, camera.distorted(ideal))
    return away * UNIT * (stretched / radius - 1)[:, None] + moved


def errors(found, colour, camera):
    tiles = [tile for tile in found.tiles if getattr(tile, colour)]
    shifts = [getattr(tile, colour) for tile in tiles]
    truth = true_shift(camera, np.array([(tile.x, tile.y) for tile in tiles]))
    value = np.array([(s.dx.value, s.dy.value) for s in shifts])
    half = np.array([(s.dx.half_width, s.dy.half_width) for s in shifts])
    return value - truth, half


def measured(red=RED, blue=BLUE, layout=LAYOUT, pitch=None, **more):
    cameras = {"green": GREEN, "red": red, "blue": blue}
    found, responses = seen_colours(cameras, layout, **more)
    return measure_fringing(found, responses, SIZE, pitch)


def test_tiles_hold_the_bars_and_their_intervals_the_truth():
    off, half = zip(*(errors(measured(seed=seed), "red", RED) for seed in range(3)), strict=True)
    off, half = np.concatenate(off), np.concatenate(half)
    assert np.abs(off.mean(axis=0)).max() < 0.002
    assert off.std() < 0.02
    # 1,100 figures: 95 % ± 2 %.
    assert 0.93 < (np.abs(off) <= half).mean() < 0.97


def test_six_pixels_of_fringing_leave_no_bias():
    strong = coloured(0.0004, 0.0016)
    off, _ = errors(measured(red=strong, noise_px=1e-4), "red", strong)
    assert np.abs(off).max() < 0.003


def test_unequal_and_lopsided_blur_stay_out_of_the_displacement():
    plain, _ = errors(measured(), "red", RED)
    blurred = measured(spread_px={"red": 0.5, "green": -0.2}, lopsided_px={"red": 0.3})
    off, _ = errors(blurred, "red", RED)
    assert off == pytest.approx(plain, abs=1e-3)


def test_tiles_clipped_by_the_border_take_the_common_offset():
    off, half = [], []
    for seed in range(12):
        cameras = {"green": GREEN, "red": RED}
        found, responses = seen_colours(cameras, LAYOUT, spread_px={"red": 0.4}, seed=seed)
        # Take the third edge from every fifth tile.
        for response in responses.values():
            response.reason[2::15] = "too little of it in the frame"
        result = measure_fringing(found, responses, SIZE)
        lost = {(int(c), int(r)) for c, r in zip(found.column[::5], found.row[::5], strict=True)}
        pair = np.array([(tile.column, tile.row) in lost for tile in result.tiles])
        some_off, some_half = errors(result, "red", RED)
        off.append(some_off[pair])
        half.append(some_half[pair])
    off, half = np.concatenate(off), np.concatenate(half)
    assert len(off) > 400
    assert np.abs(off.mean(axis=0)).max() < 0.01
    # 860 figures: 95 % ± 2 %.
    assert 0.93 <= (np.abs(off) <= half).mean() <= 0.97


def test_tiles_that_the_border_halves_give_the_nearest_position_in_the_frame():
    """Frames that end anywhere in the lattice: where an incentre is outside, the position is on the border."""
    off, half = [], []
    for seed, narrower in product(range(16), range(0, 280, 40)):
        found, responses = seen_colours({"green": GREEN, "red": RED}, LAYOUT, seed=seed)
        size = (SIZE[0] - narrower, SIZE[1] - narrower)
        cut = {name: replace(part, reason=part.reason.copy()) for name, part in responses.items()}
        for part in cut.values():
            part.reason[(part.x > size[0] + 20) | (part.y > size[1] + 20)] = "too little of it in the frame"
        result = measure_fringing(found, cut, size)
        assert all(t.x <= size[0] - 1 and t.y <= size[1] - 1 for t in result.tiles)
        at_border = [t.x == size[0] - 1 or t.y == size[1] - 1 for t in result.tiles]
        some_off, some_half = errors(result, "red", RED)
        off.append(some_off[at_border])
        half.append(some_half[at_border])
    off, half = np.concatenate(off), np.concatenate(half)
    assert len(off) >= 250
    assert np.abs(off.mean(axis=0)).max() < 0.01
    # 510 figures: 95 % ± 2 × 1 %.
    assert 0.93 <= (np.abs(off) <= half).mean() <= 0.97


def test_a_faulty_edge_does_not_spoil_its_tile():
    found, responses = seen_colours({"green": GREEN, "red": RED}, LAYOUT)
    responses["red"].offset_px[::31] += 0.8
    off, _ = errors(measure_fringing(found, responses, SIZE), "red", RED)
    assert np.abs(off).max() < 0.1


class Decentred(Camera):
    """Green's picture, stretched about another place than its axis."""

    about = np.array([3190.0, 1910.0])

    def picture(self, sheet_mm):
        away = (GREEN.picture(sheet_mm) - self.about) / UNIT
        growth = 1 + 0.0006 + 0.001 * np.square(away).sum(axis=-1, keepdims=True)
        return self.about + away * UNIT * growth


def test_field_finds_its_own_centre():
    field = measured(red=Decentred()).fields[0]
    assert (field.centre_px.x.value, field.centre_px.y.value) == pytest.approx(Decentred.about, abs=4.0)
    assert field.centre_px.x.low < Decentred.about[0] < field.centre_px.x.high
    assert field.centre_px.y.low < Decentred.about[1] < field.centre_px.y.high
    assert field.residual_px.value < 0.02


def test_field_tells_an_even_shift_from_a_moved_centre():
    shifted = measured(red=replace(RED, axis_px=(3000.5, 1998.5))).fields[0]
    assert [part.value for part in shifted.shift_px] == pytest.approx([1.0, -1.0], abs=0.02)
    assert (shifted.centre_px.x.value, shifted.centre_px.y.value) == pytest.approx(GREEN.axis_px, abs=6.0)


def test_field_is_displacement_everywhere():
    result = measured()
    field = result.fields[0]
    q = (np.array([[5600.0, 3700.0], [400.0, 900.0]]) - field.about_px) / UNIT
    square = np.square(q).sum(axis=1, keepdims=True)
    radial = [f.value for f in field.radial_px]
    skew = np.array([f.value for f in field.decentring_px])
    shift = np.array([f.value for f in field.shift_px])
    growth = radial[0] + radial[1] * square + radial[2] * square**2
    value = shift + q * growth + square * skew + 2 * (q @ skew)[:, None] * q
    truth = true_shift(RED, q * UNIT + field.about_px)
    assert value == pytest.approx(truth, abs=0.02)


def test_no_fringing_shows_no_centre():
    result = measured(red=GREEN, blue=GREEN)
    assert [field.centre_px for field in result.fields] == [None, None]
    assert all(abs(row.radial_px.value) < 0.02 for row in result.zones)


def zone_truth(camera):
    """Radial displacement averaged over each zone's area on a fine grid: {zone: px}."""
    grid = np.stack(np.meshgrid(np.arange(10, SIZE[0], 20.0), np.arange(10, SIZE[1], 20.0)), axis=-1).reshape(
        -1, 2
    )
    outward, _ = radial_axes(*grid.T, SIZE)
    radial = (true_shift(camera, grid) * outward).sum(axis=1)
    zone = zone_index(*grid.T, SIZE)
    return {name: radial[zone == k].mean() for k, name in enumerate(ZONES)}


def test_a_zones_interval_counts_which_tiles_there_were():
    """A third of the tiles is left out, others each time; the colours part by pixels within a corner."""
    scores, errors, halves = [], [], []
    for seed in range(12):
        found, responses = seen_colours({"green": GREEN, "red": RED, "blue": BLUE}, LAYOUT, seed=seed)
        keep = np.random.default_rng(seed).uniform(size=len(found.column)) > 0.33
        parts = (getattr(found, name)[keep] for name in ("column", "row", "corners_px", "whole"))
        some = FoundTiles(*parts, found.mirrored)
        edges = {name: part.take(np.repeat(keep, 3)) for name, part in responses.items()}
        truth = {"red": zone_truth(RED), "blue": zone_truth(BLUE)}
        for row in measure_fringing(some, edges, SIZE).zones:
            if row.zone != "centre":
                wanted = truth[row.channel][row.zone]
                scores.append(row.radial_px.low <= wanted <= row.radial_px.high)
                errors.append(abs(row.radial_px.value - wanted))
                halves.append(row.radial_px.half_width)
    # 290 figures: 95 % ± 2 × 1.3 %.
    assert np.mean(scores) >= 0.93
    assert np.median(halves) < 2 * np.quantile(errors, 0.95)


def test_zones_are_means_with_the_noise_of_a_mean():
    result = measured()
    assert {row.zone for row in result.zones} == set(ZONES)
    row = next(r for r in result.zones if r.zone == "outer top-left" and r.channel == "red")
    tile = next(t for t in result.tiles if t.red)
    assert 0 < row.radial_px.half_width < 0.6 * tile.red.radial_px.half_width
    assert row.radial_px.value > 1
    assert abs(row.around_px.value) < 0.02
    blue = next(r for r in result.zones if r.zone == "outer top-left" and r.channel == "blue")
    assert blue.radial_px.value < -1


def test_a_few_tiles_are_solved_without_a_field():
    found, responses = seen_colours({"green": GREEN, "red": RED, "blue": BLUE}, LAYOUT)
    some = slice(40, 45)
    edges = slice(120, 135)
    few = FoundTiles(found.column[some], found.row[some], found.corners_px[some], found.whole[some], False)
    cut = {
        name: replace(r, **{f: getattr(r, f)[edges] for f in r.__dataclass_fields__})
        for name, r in responses.items()
    }
    result = measure_fringing(few, cut, SIZE)
    assert len(result.tiles) == 5
    assert result.fields == []
    assert any("Too few tiles" in note for note in result.notes)


def test_a_shot_without_colours_says_so():
    found, responses = seen_colours({"green": GREEN}, LAYOUT)
    result = measure_fringing(found, {"grey": responses["green"]}, SIZE)
    assert result.tiles == []
    assert "no colours" in result.notes[0]


# -- the fringe that the eye sees -------------------------------------------------------------------------------


def test_worst_corner_and_its_fringe_width():
    result = measured(pitch=6.0, noise_px=0.005)
    worst = result.worst
    assert worst.zone.startswith("corner")
    assert set(worst.colours) == {"red", "blue"}
    # Red and blue lie about 9 px apart in the corners, ten times their blur, so the fringe runs from where blue
    # has risen (or red is left) by a tenth to where the other has done so: their distance and 2 × 1.28 blurs.
    blur = 0.18739 / 0.2
    assert worst.width_px.value == pytest.approx(worst.apart_px.value + 2 * 1.2816 * blur, abs=0.02)
    assert worst.width_um.value == pytest.approx(6.0 * worst.width_px.value)
    assert worst.width_px.low < worst.width_px.value < worst.width_px.high


def test_unequal_blur_alone_makes_a_fringe():
    cameras = {"green": GREEN, "red": GREEN}
    found, responses = seen_colours(cameras, LAYOUT, noise_px=1e-4)
    responses["red"] = replace(responses["red"], mtf50=np.full(len(responses["red"].mtf50), 0.1))
    width = measure_fringing(found, responses, SIZE).worst.width_px.value
    along = np.linspace(-12, 12, 240001)
    apart = np.abs(ndtr(along / (0.18739 / 0.1)) - ndtr(along / (0.18739 / 0.2))) > 0.1
    assert width == pytest.approx(apart.sum() * 1e-4, abs=0.01)


def test_little_fringing_makes_no_visible_fringe():
    assert measured(red=GREEN, blue=GREEN).worst.width_px.value == 0
