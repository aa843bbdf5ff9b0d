"""Clean straight edges found anywhere, and only these."""

import numpy as np
import pytest
import skimage.data
from skimage.draw import disk

from lensbench.analysers.free_edges._finding import find_straight_edges
from lensbench.findings import Reason
from lensbench.shot import Shot
from tests.drawn_blades import Blade, blades_shot
from tests.known_edges import MONO

SIZE = (640, 480)


def sides_of(blade):
    """Middles and outward normals of a blade's four sides, by hand: long, long, short, short."""
    turn = np.radians(blade.angle_deg)
    along, across = np.array([np.cos(turn), -np.sin(turn)]), np.array([np.sin(turn), np.cos(turn)])
    ways = np.array([across, -across, along, -along])
    half = np.repeat(blade.size[::-1], 2)[:, None] / 2
    return np.array(blade.middle) + ways * half, ways


def assert_sides_found(found, blade):
    """Every side is found, to a pixel, with bright at the right hand."""
    assert len(found)
    middle = found.ends_px.mean(axis=1)
    for place, way in zip(*sides_of(blade), strict=True):
        off = np.abs((middle - place) @ way)
        mine = (found.towards_bright @ way > 0.999) & (off < 1.0)
        assert mine.any(), (place, way)


@pytest.mark.parametrize("angle_deg", [5.0, 33.0, 62.0, 118.0, 171.0])
@pytest.mark.parametrize("blur", [0.6, 4.0])
def test_all_sides_of_a_blade_are_found(angle_deg, blur):
    blade = Blade((310.3, 245.8), angle_deg, (260.0, 180.0))
    found = find_straight_edges(blades_shot([blade], SIZE, blur=blur))
    assert_sides_found(found, blade)
    assert not found.refused


def test_blades_near_each_other_limit_how_far_sides_are_even():
    """A slit of 60 px: the bright side is even for most of its width, not beyond."""
    pair = [Blade((200.0, 240.0), 93.0, (300.0, 120.0)), Blade((380.0, 240.0), 93.0, (300.0, 120.0))]
    found = find_straight_edges(blades_shot(pair, SIZE, blur=1.0))
    inside = np.abs(found.ends_px.mean(axis=1)[:, 0] - 290) < 40
    assert inside.sum() >= 2
    assert np.all((found.reach_px[inside, 1] > 40) & (found.reach_px[inside, 1] < 62))
    assert np.all(found.reach_px[inside, 0] > 60)


@pytest.mark.parametrize("gap", [4.0, 9.0])
def test_double_edges_are_refused_with_the_side(gap):
    pair = [
        Blade((200.0 - gap / 2, 240.0), 93.0, (300.0, 180.0)),
        Blade((380.0 + gap / 2, 240.0), 93.0, (300.0, 180.0)),
    ]
    found = find_straight_edges(blades_shot(pair, SIZE, blur=1.0))
    assert not (np.abs(found.ends_px.mean(axis=1)[:, 0] - 290) < 40).any()
    assert any(line.reason is Reason.BRIGHT_SIDE and line.even_px > 0 for line in found.refused)


def test_a_long_edge_is_divided():
    blade = Blade((600.0, 500.0), 4.0, (2000.0, 500.0))
    found = find_straight_edges(blades_shot([blade], (1200, 480), blur=1.0))
    length = np.hypot(*(found.ends_px[:, 1] - found.ends_px[:, 0]).T)
    assert len(found) >= 7
    assert length.max() < 180
    middles = np.sort(found.ends_px.mean(axis=1)[:, 0])
    assert np.diff(middles).min() > 100


def test_a_rough_side_is_refused_and_the_ground_one_kept():
    rng = np.random.default_rng(5)
    blade = Blade((320.0, 240.0), 6.0, (400.0, 160.0))
    teeth = [
        Blade((320.0 + s + 80 * np.sin(0.105), 240.0 - 0.105 * s + 80), 6.0, (10.0, rng.uniform(2, 16)))
        for s in np.arange(-195, 195, 10.0)
    ]
    found = find_straight_edges(blades_shot([blade, *teeth], SIZE, blur=1.0, colour=False))
    upper = found.towards_bright[:, 1] < -0.9
    lower = found.towards_bright[:, 1] > 0.9
    assert upper.sum() >= 2
    assert not lower.any()


def test_a_coin_is_no_straight_edge():
    grey = np.full((480, 640), 9000.0, np.float32)
    grey[disk((240, 320), 180)] = 700
    found = find_straight_edges(Shot("coin", grey, MONO, ("grey",), np.zeros(1), 12000.0, np.ones(1)))
    assert len(found) == 0


def test_an_even_light_and_darkness_have_none():
    for white in (0.75, 0.0):
        found = find_straight_edges(blades_shot([Blade((1e5, 1e5), 5, (9, 9))], SIZE, white=white))
        assert len(found) == 0
        assert not found.refused


@pytest.mark.parametrize("name", ["astronaut", "coffee", "rocket", "page", "clock", "horse"])
def test_photographs_give_clean_edges_or_none(name):
    """Whatever is found on scikit-image's photographs is even on both sides, by the picture itself."""
    picture = getattr(skimage.data, name)()
    grey = (picture[..., :3].mean(axis=2) if picture.ndim == 3 else picture).astype(np.float32)
    light = 60000 * (grey / (grey.max() or 1)) ** 2.2
    found = find_straight_edges(Shot(name, light, MONO, ("grey",), np.zeros(1), 65535.0, np.ones(1)))
    for ends, way, reach in zip(found.ends_px, found.towards_bright, found.reach_px, strict=True):
        assert reach.min() >= 9
        x, y = (ends.mean(axis=0)[:, None] + way[:, None] * np.array([-8.0, 8.0])).round().astype(int)
        inside = np.clip(y, 0, len(light) - 1), np.clip(x, 0, light.shape[1] - 1)
        dark, bright = light[inside]
        assert bright > 1.4 * dark
