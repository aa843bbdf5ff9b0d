"""The shape of the light on flats in closed form: profile, lines, gradient, coverage, hard edges, cast."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lensbench.analysers.falloff import measure_falloff
from lensbench.findings import Figure
from lensbench.frame import ZONES, h_of, zone_index
from tests.analysers import flats

SIZE = (1200, 800)
HALF = np.hypot(*SIZE) / 2
PITCH_UM = 10.0
CORNER_STOPS = 2.0
TANGENT2 = 2 ** (CORNER_STOPS / 2) - 1
REFERENCE = 2 * np.log2(1 + TANGENT2 * 0.1**2 / 2)
"""Stops of the mean light at h < 0.1 below that in the very middle."""


def measured(light, seed=1, **changes):
    return measure_falloff([flats.flat(light.astype(np.float32), seed=seed, **changes)], pixel_pitch_um=PITCH_UM)


@pytest.fixture(scope="module")
def plain():
    return measured(flats.cos4(SIZE, CORNER_STOPS))


def barrel(radius, centre=(0.0, 0.0), softness=6.0):
    return flats.barrel(SIZE, radius, centre, softness)


# -- profile, cos⁴, lines -------------------------------------------------------------------------------------


def test_profile_is_the_closed_form_and_ends_in_the_corner(plain):
    assert [step.h for step in plain.profile] == pytest.approx(np.linspace(0, 1, 11))
    for step in plain.profile:
        true = 2 * np.log2(1 + TANGENT2 * step.h**2) - REFERENCE
        assert step.stops.value == pytest.approx(true, abs=0.005)
        assert step.stops.low - 0.003 <= true <= step.stops.high + 0.003
        assert step.lightest - 1e-9 <= step.stops.value <= step.darkest + 1e-9
    assert plain.worst_corner.zone.startswith("corner")
    assert plain.worst_corner.stops.value == max(z.stops.value for z in plain.zones)


def test_the_law_beside_it_has_the_handbooks_values():
    """cos⁴ law: 2 stops at 45° (Smith, Modern Optical Engineering; memory). The corner is seen at 45° here."""
    flat = flats.flat(flats.cos4(SIZE, CORNER_STOPS))
    found = measure_falloff([flat], image_distance_px=Figure.of(HALF, 0.02 * HALF, "px"))
    law = {step.h: step.cos4_stops for step in found.profile}
    reference = 2 * np.log2(1 + 0.1**2 / 2)
    assert law[1.0].value == pytest.approx(2.0 - reference, abs=1e-6)
    assert law[1.0].low < law[1.0].value < law[1.0].high
    # tan θ = 0.5 is 26.57°: 4 log2(1 / cos θ) = 2 log2(1.25).
    assert law[0.5].value == pytest.approx(2 * np.log2(1.25) - reference, abs=1e-6)
    assert abs(law[0.0].value + reference) < 1e-6


def test_lines_lie_at_thirds_of_a_stop(plain):
    assert [line.stops for line in plain.contours] == pytest.approx([1 / 3, 2 / 3, 1, 4 / 3, 5 / 3], abs=1e-3)
    x, y = flats.grid(SIZE)
    h = np.hypot(x, y) / HALF
    for contour in plain.contours:
        radius = np.sqrt((2 ** ((contour.stops + REFERENCE) / 2) - 1) / TANGENT2)
        for line in contour.lines:
            assert h_of(*np.array(line).T, SIZE) == pytest.approx(radius, abs=0.012)
        assert contour.darker_percent.value == pytest.approx(100 * np.mean(h > radius), abs=0.6)


# -- gradient ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("across", "down", "side"), [(0.3, 0.0, "right"), (0.0, -0.2, "top"), (-0.2, 0.2, "bottom left")]
)
def test_the_arrow_points_to_the_darker_side(across, down, side):
    x, y = flats.grid(SIZE)
    found = measured(flats.cos4(SIZE, 1.0) * 2.0 ** -((across * x + down * y) / HALF) * 0.8).gradient
    assert found.darker_at == side
    assert found.across_stops.value == pytest.approx(across, abs=0.01)
    assert found.down_stops.value == pytest.approx(down, abs=0.01)
    assert found.size_stops.low <= np.hypot(across, down) <= found.size_stops.high


def test_round_light_has_no_darker_side(plain):
    assert plain.gradient.size_stops.value < 0.01


# -- coverage -------------------------------------------------------------------------------------------------


def test_usable_radius_is_the_closed_form_and_beyond_the_frame_has_none(plain):
    usable = {found.stops: found for found in plain.coverage.usable}
    radius = HALF * np.sqrt((2 ** ((1 + REFERENCE) / 2) - 1) / TANGENT2)
    assert usable[1.0].radius_px.value == pytest.approx(radius, abs=2)
    assert usable[1.0].radius_mm.value == pytest.approx(radius * PITCH_UM / 1000, abs=0.02)
    assert usable[1.0].radius_mm.unit == "mm"
    assert usable[3.0].radius_px is None
    assert usable[3.0].radius_mm is None
    assert plain.covers_frame
    assert plain.coverage.image_circle is None


@pytest.mark.parametrize("corner_stops", [1.0, 4.0])
def test_steep_falloff_is_no_hard_edge(corner_stops):
    assert measured(flats.cos4(SIZE, corner_stops, (40, -30))).coverage.image_circle is None


def test_a_barrel_is_told_by_its_radius_its_centre_and_the_corner_it_cuts():
    light = barrel(640, (-60, 40))
    found = measured(light)
    edge = found.coverage.image_circle
    assert not found.covers_frame
    index = zone_index(np.arange(SIZE[0])[None, :], np.arange(SIZE[1])[:, None], SIZE)
    x, y = flats.grid(SIZE)
    beyond = np.hypot(x + 60, y - 40) > 640
    share = {zone: 100 * beyond[index == number].mean() for number, zone in enumerate(ZONES)}
    worst = max(edge.corners, key=lambda corner: corner.cut_percent.value)
    assert worst.zone == "corner top-right" == max(share, key=share.get)
    for corner in edge.corners:
        assert corner.cut_percent.low - 1 <= share[corner.zone] <= corner.cut_percent.high + 1
        assert corner.cut_percent.value == pytest.approx(share[corner.zone], abs=3)
    assert edge.radius_px.value == pytest.approx(640, abs=4)
    assert edge.radius_px.low <= 640 <= edge.radius_px.high
    assert edge.radius_mm.value == pytest.approx(edge.radius_px.value * PITCH_UM / 1000)
    assert edge.centre_px.x.value == pytest.approx((SIZE[0] - 1) / 2 - 60, abs=6)
    assert edge.centre_px.y.value == pytest.approx((SIZE[1] - 1) / 2 + 40, abs=6)


@pytest.mark.parametrize(
    ("radius", "centre", "softness"),
    [(560, (0, 0), 1.0), (613, (0, 0), 12.0), (640, (-60, 40), 6.0), (650, (60, 0), 2.0), (690, (-20, 20), 30.0)],
)
def test_zones_that_a_ring_cuts_have_the_stops_of_their_mean_light(radius, centre, softness):
    """Drawn pixel by pixel. With 613 px the edge runs along zones' borders, 690 px only just cut one corner."""
    light = barrel(radius, centre, softness)
    true = flats.zones_of(light)
    found = {zone.zone: zone.stops for zone in measured(light).zones}
    assert set(found) == {zone for zone in ZONES if true[zone] < 8}
    for zone, stops in found.items():
        assert true[zone] > 3 or stops.value == pytest.approx(true[zone], abs=0.01)
        assert 2.0**-stops.value == pytest.approx(2.0 ** -true[zone], abs=0.003)
        assert abs(stops.value - true[zone]) < 2 * stops.half_width


def test_a_circle_that_is_well_seen_is_known_to_a_pixel_or_two():
    """Blocks are 32 px wide; the edge lies at half of the light, and not where black begins."""
    for radius, softness in ((500, 0.5), (500, 20.0), (613, 5.0)):
        edge = measured(barrel(radius, (20, -30), softness)).coverage.image_circle
        assert edge.radius_px.value == pytest.approx(radius, abs=2)


def test_the_profile_holds_the_mean_around_at_a_hard_edge_or_says_nothing():
    """At h = 0.9 the edge of a barrel of 640 px off the middle is crossed at all angles."""
    light = barrel(640, (-60, 40), 20.0)
    x, y = flats.grid(SIZE)
    h = np.hypot(x, y) / HALF
    for step in measured(light).profile[1:-1]:
        around = light[np.abs(h - step.h) < 1 / HALF].mean() / light[h < 0.1].mean()
        assert step.stops.low - 0.003 <= -np.log2(around) <= step.stops.high + 0.003


def test_black_corners_have_no_figure_and_light_is_averaged_around():
    """Half of a circle black is one stop; a zone eight stops down is left out, and with it the worst corner."""
    light = np.ones(SIZE[::-1], np.float32)
    light[:, 900:] = 1e-5
    found = measured(light)
    assert {zone.zone for zone in found.zones}.isdisjoint({"corner top-right", "corner bottom-right"})
    assert found.worst_corner is None
    assert not found.covers_frame
    last = found.profile[-1]
    assert last.h == 1.0
    assert last.stops.value == pytest.approx(1.0, abs=0.01)
    assert last.darkest == 8.0


def test_the_map_stays_true_up_to_a_hard_edge():
    light = barrel(640)
    x, y = flats.grid(SIZE)
    assert flats.misfit(measured(light), np.maximum(light, 1e-9), within=np.hypot(x, y) < 600) < 0.01


def test_a_mark_in_a_corner_is_no_edge():
    light = flats.cos4(SIZE, 1.0)
    flats.disc(light, 1150, 760, 50, 0.9, 3.0)
    assert measured(light).coverage.image_circle is None


# -- colour ---------------------------------------------------------------------------------------------------


def test_colour_cast_is_red_and_blue_over_green_against_the_middle():
    light = flats.cos4(SIZE, 1.0)
    x, y = flats.grid(SIZE)
    h2 = (x**2 + y**2) / HALF**2
    shot, redder, bluer = (flats.flat(light * factor, seed=3) for factor in (1, 1 + 0.06 * h2, 1 - 0.04 * h2))
    samples = shot.samples.copy()
    samples[0::2, 0::2] = redder.samples[0::2, 0::2]
    samples[1::2, 1::2] = bluer.samples[1::2, 1::2]
    found = {zone.zone: zone for zone in measure_falloff([replace(shot, samples=samples)]).cast}
    assert list(found) == list(ZONES)
    index = zone_index(np.arange(SIZE[0])[None, :], np.arange(SIZE[1])[:, None], SIZE)
    middle = h2 < 0.01
    for number, zone in enumerate(ZONES):
        for figure, factor in (
            (found[zone].red_percent, 1 + 0.06 * h2),
            (found[zone].blue_percent, 1 - 0.04 * h2),
        ):
            true = 100 * (factor[index == number].mean() / factor[middle].mean() - 1)
            assert figure.value == pytest.approx(true, abs=0.15)
            assert figure.unit == "%"


def test_a_camera_without_colours_has_no_cast():
    grey = {"pattern": np.zeros((1, 1), np.uint8), "colours": ("grey",), "strengths": (1.0,)}
    assert measured(flats.cos4(SIZE, 1.0), **grey).cast == []
