"""Flats whose light is no even one: said, named, and no marks (drawn by tests/bench/uneven_light.py)."""

import numpy as np
import pytest

from lensbench.analysers.dust import find_marks
from lensbench.analysers.flat_light import flat_exposure
from lensbench.verdicts.dirt import flat_notices
from tests.analysers import flats
from tests.bench.uneven_light import CAUSES, SEED, flat_with, said_of

SIZE = (1536, 1024)
STRENGTHS = [
    (cause, strength, words) for cause, (_, strengths, words) in CAUSES.items() for strength in strengths[::3]
]


@pytest.mark.parametrize(("cause", "strength", "words"), STRENGTHS)
def test_what_the_light_is_is_said_and_is_no_dirt(cause, strength, words):
    notices, marks = said_of(flat_with(CAUSES[cause][0], strength, SEED + 900, SIZE))
    texts = [notice.text for notice in notices if notice.code == "uneven-light"]
    assert any(word in text for text in texts for word in words)
    assert marks <= 5


def test_clean_flats_are_not_accused():
    assert [said_of(flat_with(None, 0, SEED + 950 + n, (1200, 800)))[0] for n in range(8)] == [[]] * 8


def test_nor_are_flats_with_much_dirt():
    light = flats.cos4(SIZE, 0.8)
    flats.smear(light, 500, 400, 150, 200, 30, 0.03)
    flats.smear(light, 1100, 700, 130, 130, 0, 0.02)
    for x, y in ((300, 800), (900, 300), (1300, 200)):
        flats.disc(light, x, y, 40, 0.2, 5)
    notices, marks = said_of(flats.flat(light, seed=4))
    assert notices == []
    assert marks == 5


def test_bands_do_not_hide_dirt():
    """A fifth of a percent of flicker, 300 rows apart; the spot takes 5 %."""
    light = flats.cos4(SIZE, 0.8) * (1 + 0.002 * np.sin(np.arange(SIZE[1]) * 2 * np.pi / 300))[:, None]
    light = light.astype(np.float32)
    flats.disc(light, 700, 500, 20, 0.05, 2)
    dust = find_marks(flats.flat(light / light.max(), seed=5))
    assert [light.kind for light in dust.light] == ["bands"]
    assert dust.light[0].percent == pytest.approx(0.4, rel=0.15)
    assert dust.light[0].period_px == pytest.approx(300, rel=0.15)
    assert [(round(mark.x), round(mark.y)) for mark in dust.marks] == [(700, 500)]


def test_a_clipped_middle_is_said_and_makes_no_marks():
    light = flats.cos4(SIZE, 1.0)
    shot = flats.flat(light, seed=6, level=1.08)
    dust = find_marks(shot)
    notices = flat_notices(shot.name, flat_exposure(shot), dust.light)
    assert [notice.code for notice in notices] == ["clipped"]
    assert "Expose" in notices[0].text
    assert "less" in notices[0].text
    assert dust.marks == []


def test_a_dark_flat_is_said_with_how_much_more_it_needs():
    shot = flats.flat(flats.cos4(SIZE, 0.5), seed=7, level=0.05)
    (notice,) = flat_notices(shot.name, flat_exposure(shot), find_marks(shot).light)
    assert notice.code == "dark"
    assert "Expose 4 stops more" in notice.text


def test_a_gradient_is_measured_and_its_side_named():
    """A stop from left to right, in closed form."""
    x, _ = flats.grid(SIZE)
    light = flats.cos4(SIZE, 0.8) * 2.0 ** (-x / SIZE[0])
    exposure = flat_exposure(flats.flat((light / light.max()).astype(np.float32), seed=8))
    # Along the diagonal: from h = 1 to h = 1 it is longer than the frame is wide.
    assert exposure.gradient_stops == pytest.approx(np.hypot(*SIZE) / SIZE[0], rel=0.03)
    assert exposure.darker_at == pytest.approx((1, 0), abs=0.02)
    (notice,) = flat_notices("w.dng", exposure, [])
    assert "its right is" in notice.text
