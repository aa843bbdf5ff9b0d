"""A rail series against surfaces of best focus known in closed form, signs by hand among them."""

import numpy as np
import pytest

from lensbench.analysers.focus import FocusShot, measure_focus
from lensbench.analysers.focus._rail_positions import correct_readings
from lensbench.findings import Figure
from tests.analysers.focus.invented_focus import (
    RAIL,
    SHEET,
    SIZE,
    Surface,
    assert_intervals_hold,
    lattice,
    mtf50_of,
    series,
)
from tests.findings.alter import alter

HALF_DIAGONAL_MM = np.hypot(*SIZE) / 2 / 50


def rows(focus, **wanted):
    """The zone rows with the given values."""
    return [row for row in focus.zones if all(getattr(row, key) == value for key, value in wanted.items())]


def row(focus, zone, direction="mean", channel="green"):
    (found,) = rows(focus, zone=zone, direction=direction, channel=channel)
    return found


def holds(figure, truth):
    return figure.low <= truth <= figure.high


def test_the_centre_is_where_the_rail_says():
    focus = measure_focus(series(Surface(centre=0.13)), SIZE, 6.0, SHEET)
    assert focus.centre_rail_mm.value == pytest.approx(0.13, abs=0.01)
    assert focus.larger_is == "farther"
    assert focus.shot == "t_09.dng"
    assert focus.shot_off_mm == pytest.approx(-0.03, abs=0.01)
    loss = 1 - mtf50_of(0.03) / mtf50_of(0.0)
    assert focus.shot_loss_percent == pytest.approx(100 * loss, abs=0.3)
    # A Gaussian of 0.8 px that grows by 3 px a mm keeps 84 % until its variance is 1 / 0.84² of the least.
    assert focus.depth_mm.value == pytest.approx(0.8 / 3 * np.sqrt(0.84**-2 - 1), rel=0.03)
    centre = row(focus, "centre")
    assert centre.mtf50_at_best.value == pytest.approx(mtf50_of(0.0), rel=0.005)
    assert centre.mtf50_at_best_lp_mm.value == pytest.approx(mtf50_of(0.0) / 0.006, rel=0.005)


@pytest.mark.parametrize("sign", [1, -1])
def test_a_rail_that_counts_the_other_way(sign):
    """The corners focus nearer by 0.2 mm, whichever way the scale runs: the picture's size tells."""
    surface = Surface(bow=(-0.2, -0.2))
    focus = measure_focus(series(surface, reading=50 + sign * RAIL), SIZE)
    assert focus.larger_is == ("farther" if sign > 0 else "nearer")
    assert row(focus, "outer top-left").best_mm.value < -0.05


def test_signs_of_the_lean():
    """Best focus gains 0.3 mm to the right and loses 0.15 mm downwards over a half-diagonal."""
    focus = measure_focus(series(Surface(lean=(0.3, -0.15))), SIZE, 6.0, SHEET)
    assert focus.lean.right_away_deg.value == pytest.approx(np.degrees(0.3 / HALF_DIAGONAL_MM), abs=0.02)
    assert focus.lean.bottom_away_deg.value == pytest.approx(np.degrees(-0.15 / HALF_DIAGONAL_MM), abs=0.02)
    # Behind the lens the same slope is m times as steep.
    right, lower = focus.lean.sensor_deg
    assert right.value == pytest.approx(0.3 * focus.lean.right_away_deg.value, rel=0.01)
    assert lower.value < 0
    assert row(focus, "outer top-right").best_mm.value > 0.1 > row(focus, "outer top-left").best_mm.value


def test_a_leaning_sheet_is_no_fault_of_the_lens():
    """A sheet whose right side is 1° away brings best focus nearer there by its tangent, and nothing else."""
    slope = -np.tan(np.radians(1.0)) * HALF_DIAGONAL_MM
    sheet = SHEET._replace(lean_deg=(Figure.of(1.0, 0.02, "°"), Figure.of(0.0, 0.02, "°")))
    focus = measure_focus(series(Surface(lean=(slope, 0.0))), SIZE, 6.0, sheet)
    assert focus.lean.right_away_deg.value == pytest.approx(-1.0, abs=0.02)
    assert all(holds(figure, 0.0) for figure in focus.lean.sensor_deg)


def test_a_curved_field():
    focus = measure_focus(series(Surface(bow=(-0.15, -0.35))), SIZE, 6.0, SHEET)
    assert [step.h for step in focus.field][:3] == [0.25, 0.5, 0.75]
    for step in focus.field:
        assert holds(step.sagittal_mm, -0.15 * step.h**2)
        assert holds(step.tangential_mm, -0.35 * step.h**2)
    # Were the field flat, every tile would be as sharp as the centre; in a picture focused there they aren't.
    corner = row(focus, "outer bottom-right", "tangential")
    assert corner.mtf50_at_best.value == pytest.approx(mtf50_of(0.0), rel=0.01)
    assert corner.mtf50_at_centre.value < 0.9 * corner.mtf50_at_best.value


def test_intervals_hold_the_truth():
    """Tiles, zones and the picture with the centre in focus; lean, curvature, and a rail read to ± 10 µm."""
    surface = Surface(0.02, (0.1, -0.06), (-0.1, -0.25))
    pairs = {"best": [], "peak": [], "picture": [], "zone": []}
    column, tile_row, x, y = lattice()
    truth = dict(zip(zip(column, tile_row, strict=True), surface.at(x, y), strict=True))
    for seed in range(12):
        reading = RAIL + 0.01 * np.random.default_rng(100 + seed).standard_normal(len(RAIL))
        focus = measure_focus(series(surface, reading=reading, seed=seed), SIZE)
        centre = focus.centre_rail_mm.value
        for tile in focus.tiles:
            best = truth[tile.column, tile.row][("sagittal", "tangential").index(tile.direction)]
            pairs["best"].append((tile.best_mm, best - centre))
            pairs["peak"].append((tile.mtf50_at_best, mtf50_of(0.0)))
            pairs["picture"].append((tile.mtf50_at_centre, mtf50_of(centre - best)))
        pairs["zone"] += [(zone.mtf50_at_best, mtf50_of(0.0)) for zone in focus.zones]
    for kind in pairs.values():
        assert_intervals_hold([f.value - true for f, true in kind], [f.half_width for f, _ in kind])


def test_a_peak_outside_is_no_figure():
    """The left side focuses beyond the far end of the series."""
    focus = measure_focus(series(Surface(lean=(-1.4, 0.0))), SIZE)
    left = row(focus, "outer top-left")
    assert left.best_mm is None
    assert left.mtf50_at_best is None
    assert left.mtf50_at_centre is not None
    sides = {tile.beyond for tile in focus.tiles if tile.x < 300}
    assert "farther" in sides
    assert "nearer" not in sides


def test_a_series_that_never_reaches_the_centre():
    assert measure_focus(series(Surface(centre=1.5)), SIZE) is None
    assert measure_focus(series(Surface(), away=RAIL[:3]), SIZE) is None
    without_middle = [
        FocusShot(s.shot, s.rail_mm, [t for t in s.tiles if abs(t.x - 1500) > 900]) for s in series(Surface())
    ]
    assert measure_focus(without_middle, SIZE) is None


def test_a_rail_read_wrong_is_straightened():
    """Half of what ± 20 µm of reading do to the places is undone, and the scatter is found to a third."""
    rng = np.random.default_rng(7)
    error = 0.02 * rng.standard_normal(len(RAIL))
    focus = np.linspace(-0.5, 0.5, 120)
    value = mtf50_of(RAIL - focus[:, None]) * (1 + 0.005 * rng.standard_normal((120, len(RAIL))))
    rail = correct_readings(RAIL + error, value, 0.005 * value)
    left = rail.position - RAIL
    assert np.std(left[4:-4]) < 0.5 * np.std(error[4:-4])
    assert rail.scatter_mm == pytest.approx(np.std(error), rel=0.34)
    assert correct_readings(RAIL, value[:5], 0.005 * value[:5]).scatter_mm == 0


def test_a_shaken_shot_is_left_out():
    """Every tile of it is softer by an eighth; the rest of the series gives what it would without it."""
    surface = Surface(0.05, (0.2, 0.1), (-0.2, -0.3))
    shots = series(surface)
    good = measure_focus(shots, SIZE)
    for tile in shots[8].tiles:
        alter(
            tile,
            sagittal=tile.sagittal.scaled(0.875, "cy/px"),
            tangential=tile.tangential.scaled(0.875, "cy/px"),
        )
    focus = measure_focus(shots, SIZE)
    assert "t_08.dng is 1" in focus.notes[0]
    assert "t_08.dng" not in focus.shots
    assert focus.centre_rail_mm.value == pytest.approx(good.centre_rail_mm.value, abs=0.01)
    assert good.notes == []


def test_a_misread_rail_is_no_shake():
    """A reading that is off by half a step moves tiles in and out of focus: the shot stays."""
    reading = RAIL.copy()
    reading[8] += 0.05
    focus = measure_focus(series(Surface(0.05, (0.2, 0.1), (-0.2, -0.3)), reading=reading), SIZE)
    assert focus.notes == []
    assert len(focus.shots) == len(RAIL)


def test_one_shot_taken_twice_does_no_harm():
    double = series(Surface(0.1))
    focus = measure_focus([*double, double[5]], SIZE)
    assert focus.centre_rail_mm.value == pytest.approx(0.1, abs=0.01)


def test_curves_to_draw():
    focus = measure_focus(series(Surface(bow=(-0.2, -0.2))), SIZE)
    centre = next(line for line in focus.through if line.zone == "centre")
    assert len(centre.position_mm) == len(RAIL)
    assert centre.curve_mm[np.argmax(centre.curve_mtf50)] == pytest.approx(0.0, abs=0.03)
