"""Falloff against maps in closed form, handbook values and another library's background, on flats by hand."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import numpy as np
import pytest
from photutils.background import Background2D, MedianBackground
from scipy.special import expit

from lensbench.analysers.falloff import measure_falloff, read_light
from lensbench.analysers.falloff._zones import zone_falloff
from lensbench.errors import BenchError
from lensbench.frame import ZONES, h_of
from tests.analysers import flats

SIZE = (1200, 800)


def wavy(size):
    """Light that no lens makes, smooth but neither round nor centred; within 1.2 stops."""
    x, y = flats.grid(size)
    u, v = 2 * x / size[0], 2 * y / size[1]
    return 2 ** -(0.5 + 0.2 * u - 0.15 * v + 0.3 * np.sin(2 * u) * np.cos(1.5 * v) - 0.2 * u * v**2).astype(
        np.float32
    )


# -- maps -----------------------------------------------------------------------------------------------------


def test_cos4_gives_the_handbook_stops_at_each_field_angle():
    """cos⁴ law: 0.3590 stop at 20°, 0.8301 at 30°, 1.5380 at 40° (Smith, Modern Optical Engineering; memory)."""
    corner = 45.0
    found = measure_falloff([flats.flat(flats.cos4(SIZE, 2.0))])
    x, y = np.meshgrid(found.grid.x, found.grid.y)
    angle = np.degrees(np.arctan(h_of(x, y, SIZE) * np.tan(np.radians(corner))))
    # The reference is the mean at h < 0.1 and not the middle itself: 1 + tan² of the field there, twice its log.
    reference = 2 * np.log2(1 + 0.1**2 / 2)
    stops = flats.map_of(found) + reference
    for degrees, handbook in ((20, 0.3590), (30, 0.8301), (40, 1.5380)):
        ring = np.abs(angle - degrees) < 0.5
        slope = 8 / np.log(2) * np.radians(1) * np.tan(np.radians(degrees)) / 2
        off = stops[ring] - slope * (angle[ring] - degrees)
        assert ring.sum() > 10
        assert off.mean() == pytest.approx(handbook, abs=0.005)
        assert np.abs(off - handbook).max() < 0.01


@pytest.mark.parametrize(
    "light",
    [flats.cos4(SIZE, 1.0), flats.cos4(SIZE, 4.0, (90, -60)), wavy(SIZE), np.ones(SIZE[::-1], np.float32)],
    ids=["one stop", "four stops off the middle", "wavy", "even"],
)
def test_map_is_true_to_a_hundredth_of_a_stop(light):
    assert flats.misfit(measure_falloff([flats.flat(light, seed=3)]), light) < 0.01


@pytest.mark.parametrize(
    "mosaic",
    [
        {"pattern": flats.SIX_BY_SIX, "colours": ("red", "green", "blue"), "strengths": (0.6, 1.0, 0.7)},
        {"pattern": np.zeros((1, 1), np.uint8), "colours": ("grey",), "strengths": (1.0,)},
        {
            "pattern": np.array([[1, 0], [2, 1]], np.uint8),
            "colours": ("red", "green", "blue"),
            "strengths": (0.6, 1, 0.7),
        },
    ],
    ids=["six by six", "without colours", "green first"],
)
def test_other_mosaics_give_the_same_map(mosaic):
    light = flats.cos4(SIZE, 1.5)
    assert flats.misfit(measure_falloff([flats.flat(light, seed=4, **mosaic)]), light) < 0.01


def test_a_white_balance_and_a_frame_of_odd_size_change_nothing():
    size = (1003, 701)
    light = flats.cos4(size, 1.5)
    shot = replace(flats.flat(light, seed=5), gain=np.array([2.0, 1.0, 1.0, 1.6]))
    assert flats.misfit(measure_falloff([shot]), light) < 0.01


def test_dirt_and_hot_pixels_do_not_dent_the_map():
    clean = flats.cos4(SIZE, 1.0)
    dirty = clean.copy()
    for x, y, diameter, depth in (
        (300, 200, 40, 0.4),
        (900, 600, 25, 0.8),
        (620, 390, 30, 0.5),
        (100, 700, 50, 0.3),
    ):
        flats.disc(dirty, x, y, diameter, depth, 3.0)
    flats.fibre(dirty, flats.curve(200, 600, 400, 30, 90), 4, 0.6)
    found = measure_falloff([flats.flat(dirty, seed=6, hot=1e-3)])
    assert flats.misfit(found, clean) < 0.01


@pytest.mark.parametrize("reach", [6.0, 15.0])
def test_light_that_leaks_in_at_a_border_does_not_bend_the_map(reach):
    """Half as bright again within a few pixels of the left border: no lens does that."""
    clean = flats.cos4(SIZE, 1.5)
    x, _ = flats.grid(SIZE)
    found = measure_falloff(
        [flats.flat(clean + np.float32(0.5) * np.exp(-((x + 600) ** 2) / reach**2), seed=6, level=0.5)]
    )
    assert flats.misfit(found, clean) < 0.01
    true = flats.zones_of(clean)
    assert all(abs(zone.stops.value - true[zone.zone]) < 0.01 for zone in found.zones)


def test_nearer_the_truth_than_a_general_background_estimate():
    """photutils' Background2D (clipped medians on a mesh, bicubic between) on the same green samples."""
    clean = flats.cos4(SIZE, 2.0)
    dirty = clean.copy()
    for x, y in ((150, 120), (620, 410), (1000, 650), (700, 100)):
        flats.disc(dirty, x, y, 60, 0.3, 6.0)
    shot = flats.flat(dirty, seed=7, hot=1e-3)
    green = (shot.samples[0::2, 1::2].astype(float) + shot.samples[1::2, 0::2]) / 2 - flats.BLACK
    background = Background2D(green, 25, filter_size=3, bkg_estimator=MedianBackground()).background
    theirs = flats.stops_of(background) - flats.stops_of(clean)[::2, ::2]
    ours = flats.misfit(measure_falloff([shot]), clean)
    assert ours < 0.01
    assert ours < float(np.sqrt(np.mean(theirs**2)))


# -- figures --------------------------------------------------------------------------------------------------


def test_zones_are_by_the_mean_light_over_their_areas_and_the_intervals_hold_them():
    light = flats.cos4(SIZE, 1.5, (70, 40))
    true = flats.zones_of(light)
    held = []
    for seed in range(12):
        reading = read_light([flats.flat(light, seed=20 + seed)])
        # Their noise alone; `measure_falloff` adds what one position of the light can't tell.
        zones = zone_falloff(reading.light_map, reading.fine)
        assert [zone.zone for zone in zones] == list(ZONES)
        for zone in zones:
            assert zone.stops.unit == "stops"
            assert zone.stops.half_width < 0.002
            assert zone.stops.value == pytest.approx(true[zone.zone], abs=0.002)
            held.append(zone.stops.low <= true[zone.zone] <= zone.stops.high)
    # All zones of a flat share its middle: what that is off by makes them miss together.
    assert 0.88 <= np.mean(held) < 1


def test_of_one_flat_lens_and_light_are_told_of_together_and_the_intervals_hold_the_lens():
    """A lamp to one side, a stop from left to right (in closed form), over a lens of one stop of cos⁴."""
    lens = flats.cos4(SIZE, 1.0)
    x, _ = flats.grid(SIZE)
    light = lens * 2.0 ** (-x / SIZE[0])
    found = measure_falloff([flats.flat((light / light.max()).astype(np.float32), seed=60)])
    assert found.source == "lens and light together"
    true = flats.zones_of(lens)
    off = {zone.zone: zone.stops.value - true[zone.zone] for zone in found.zones}
    assert max(abs(value) for value in off.values()) > 0.3
    assert all(zone.stops.low <= true[zone.zone] <= zone.stops.high for zone in found.zones)
    # No wider than it must be: a quarter more than the error, where that is large.
    for zone in found.zones:
        if abs(off[zone.zone]) > 0.1:
            assert zone.stops.half_width < 1.25 * abs(off[zone.zone])


@pytest.mark.parametrize("depth", [0.005, 0.01, 0.02])
def test_a_shadow_that_ends_in_the_centre_is_counted_by_its_interval(depth):
    """Everything beyond a slanted line is darker by one per cent or so, in closed form: too faint to be named."""
    lens = flats.cos4(SIZE, 1.0)
    x, y = flats.grid(SIZE)
    shaded = lens * (1 - depth * expit((x - 0.1 * SIZE[0] + 0.3 * y) / 3))
    found = measure_falloff([flats.flat((shaded / shaded.max()).astype(np.float32), seed=62)])
    true = flats.zones_of(lens)
    centre = next(zone.stops for zone in found.zones if zone.zone == "centre")
    assert centre.value - true["centre"] > 0.15 * depth
    assert all(zone.stops.low <= true[zone.zone] <= zone.stops.high for zone in found.zones)


def test_an_even_light_widens_nothing():
    found = measure_falloff([flats.flat(flats.cos4(SIZE, 1.0), seed=61)])
    assert all(zone.stops.half_width < 0.004 for zone in found.zones)
    assert min(zone.stops.half_width for zone in found.zones) < 0.0007
    # Findings are of plain numbers, which is all that a report's writer takes.
    assert b"centre" in msgspec.json.encode(found)


def test_darker_is_positive():
    light = np.ones(SIZE[::-1], np.float32)
    light[:, : SIZE[0] // 2] *= np.linspace(0.5, 1, SIZE[0] // 2, dtype=np.float32)
    zones = {zone.zone: zone.stops.value for zone in measure_falloff([flats.flat(light)]).zones}
    assert zones["outer top-left"] > 0.3 > 0.1 > zones["outer top-right"]


@pytest.mark.parametrize("shift", [(0, 0), (60, -40), (-110, 25)])
def test_the_lights_centre_is_found(shift):
    place = measure_falloff([flats.flat(flats.cos4(SIZE, 1.5, shift), seed=8)]).centre_px
    true = (SIZE[0] - 1) / 2 + shift[0], (SIZE[1] - 1) / 2 + shift[1]
    assert place.x.value == pytest.approx(true[0], abs=12)
    assert place.x.unit == "px"
    assert place.y.value == pytest.approx(true[1], abs=12)


def test_even_light_has_no_centre():
    assert measure_falloff([flats.flat(np.ones(SIZE[::-1], np.float32), seed=9)]).centre_px is None


def test_light_that_ends_before_the_corners_does_not_cover_the_frame():
    light = flats.cos4(SIZE, 1.0)
    assert measure_falloff([flats.flat(light)]).covers_frame
    x, y = flats.grid(SIZE)
    outside = np.hypot(x, y) > 0.9 * np.hypot(*SIZE) / 2
    found = measure_falloff([flats.flat(np.where(outside, np.float32(1e-4), light))])
    assert not found.covers_frame
    stops = flats.map_of(found)
    assert np.isnan(stops[0, 0])
    assert np.isfinite(stops[16, 24])
    assert found.grid.stops[0][0] is None


# -- several flats, darks -------------------------------------------------------------------------------------


def test_flats_of_other_exposures_average_to_one_map():
    light = flats.cos4(SIZE, 1.0)
    shots = [flats.flat(light, seed=30 + n, level=level) for n, level in enumerate((0.7, 0.35, 0.5))]
    assert flats.misfit(measure_falloff(shots), light) < 0.005


def test_dark_frames_take_off_what_is_not_light():
    """A level of its own and a glow in a corner, which a long exposure adds."""
    light = flats.cos4(SIZE, 1.0)
    x, y = flats.grid(SIZE)
    glow = 300 + 900 * np.exp(-((x + 600) ** 2 + (y + 400) ** 2) / 250**2)
    shot = flats.flat(light, seed=40, level=0.4)
    shot = replace(shot, samples=(shot.samples + glow).astype(np.uint16))
    darks = [flats.flat(0 * light, seed=41 + n) for n in range(2)]
    darks = [replace(dark, samples=(dark.samples + glow).astype(np.uint16)) for dark in darks]
    assert flats.misfit(measure_falloff([shot]), light) > 0.02
    assert flats.misfit(measure_falloff([shot], darks), light) < 0.01


# -- refusals -------------------------------------------------------------------------------------------------


def refusal(*arguments):
    with pytest.raises(BenchError) as caught:
        measure_falloff(*arguments)
    return str(caught.value)


def test_a_clipped_middle_is_refused():
    message = refusal([flats.flat(flats.cos4(SIZE, 1.0), level=1.2, name="w_080.dng")])
    assert "w_080.dng" in message
    assert "clipped" in message
    assert "stop less" in message


def test_a_black_flat_is_refused():
    message = refusal([flats.flat(flats.cos4(SIZE, 1.0), level=0.002, name="w_080.dng")])
    assert "w_080.dng" in message
    assert "black" in message
    assert "expose longer" in message


def test_other_sizes_are_refused_by_name():
    one, other = (
        flats.flat(flats.cos4(SIZE, 1.0), name="a.dng"),
        flats.flat(flats.cos4((600, 400), 1.0), name="b.dng"),
    )
    assert "b.dng" in refusal([one, other])
    assert "a.dng" in refusal([one, other])
    assert "b.dng" in refusal([one], [other])
