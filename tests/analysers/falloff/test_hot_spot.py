"""A bright spot that grows as the iris closes, on flats made by hand, with rims that cut the open iris's light."""

from __future__ import annotations

import numpy as np
import pytest

from lensbench.analysers.falloff import describe_falloff, read_light
from lensbench.simulator.circles import common_area
from tests.analysers import flats

SIZE = (1200, 800)
HALF = np.hypot(*SIZE) / 2
F_NUMBERS = (4.0, 8.0, 16.0)


def light_at(f_number, strength, width=0.18, rim=1.3, walk=0.7):
    """cos⁴, a rim that eases as the iris closes, and a spot whose part of the light grows with its square."""
    x, y = flats.grid(SIZE)
    r = np.hypot(x, y) / HALF
    iris = 2.8 / f_number
    lens = flats.cos4(SIZE, 1.0) * common_area(iris, rim * 2.8 / 4, walk * r) / (np.pi * iris**2)
    return lens, lens * (1 + strength * (f_number / 16) ** 2 * np.exp(-(r**2) / (2 * width**2)))


def measured(strength, **changes):
    lights = []
    for number, f_number in enumerate(F_NUMBERS):
        light = light_at(f_number, strength, **changes)[1].astype(np.float32)
        lights.append(read_light([flats.flat(light, seed=50 + number, level=0.6)]))
    return describe_falloff(lights, F_NUMBERS)


@pytest.fixture(scope="module")
def spotted():
    return measured(0.08)


def test_the_spot_is_named_with_its_strength_and_size(spotted):
    assert spotted[0].hot_spot is None or spotted[0].hot_spot.percent.value < 0.8
    for falloff, f_number in zip(spotted[1:], F_NUMBERS[1:], strict=True):
        spot = falloff.hot_spot
        true = 8.0 * (f_number / 16) ** 2
        assert spot.percent.value == pytest.approx(true, rel=0.06)
        assert spot.percent.low <= true * 1.02
        assert spot.percent.high >= true * 0.98
        # Half of a Gaussian's height lies at 1.1774 standard deviations.
        assert spot.radius_px.value == pytest.approx(1.1774 * 0.18 * HALF, rel=0.05)
        assert spot.centre_px.x.value == pytest.approx((SIZE[0] - 1) / 2, abs=10)
        assert "grows as the iris closes" in spot.note


def test_the_spot_is_left_out_of_the_stops(spotted):
    for falloff, f_number in zip(spotted, F_NUMBERS, strict=True):
        lens, both = light_at(f_number, 0.08)
        assert flats.misfit(falloff, lens) < 0.01
        if f_number == 16:
            assert flats.misfit(falloff, both) > 0.05


@pytest.mark.parametrize("rim", [{}, {"rim": 1.45, "walk": 1.1}], ids=["gentle rim", "strong rim"])
def test_a_lens_without_reflections_has_no_spot(rim):
    assert [falloff.hot_spot for falloff in measured(0.0, **rim)] == [None, None, None]
