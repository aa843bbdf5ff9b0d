"""What a shot seems to show: drawn targets, even lights, darkness; none of them in other photographs."""

import numpy as np
import pytest
import skimage.data
from scipy import ndimage

from lensbench.loaders.guessing import guess_shows, why_no_even_light
from tests.invented_shots import BAYER, RGBG, SIX, drawn_target, falloff, mosaic_of, shot_of

WIDTH, HEIGHT = 900, 600


def bayer(light, **more):
    return shot_of(mosaic_of(light, **more), BAYER["RGGB"], RGBG)


@pytest.mark.parametrize("stops", [0, 1, 2.5, 4])
@pytest.mark.parametrize(("columns", "rows"), [(15, 10), (9, 6)])
@pytest.mark.parametrize("blur", [0, 4])
def test_targets(stops, columns, rows, blur):
    light = ndimage.gaussian_filter(drawn_target(WIDTH, HEIGHT, columns, rows, stops), blur)
    assert guess_shows(bayer(light)) == "target"


@pytest.mark.parametrize("turn", [-10, 7])
def test_a_turned_target_that_is_cut_by_the_border(turn):
    light = ndimage.rotate(drawn_target(2 * WIDTH, 2 * HEIGHT, 20, 14, 0), turn, reshape=False, order=1)
    light = light[HEIGHT // 2 : -HEIGHT // 2, WIDTH // 2 : -WIDTH // 2]
    assert guess_shows(bayer(light)) == "target"


@pytest.mark.parametrize("stops", [0, 1, 2.5, 4])
@pytest.mark.parametrize("level", [0.1, 0.75])
def test_flats_with_dirt(stops, level):
    light = falloff(WIDTH, HEIGHT, stops) / 0.75 * level
    random = np.random.default_rng(3)
    yy, xx = np.ogrid[:HEIGHT, :WIDTH]
    for width in [5, 10, 20, 40] * 3:
        x, y = random.uniform(0, WIDTH), random.uniform(0, HEIGHT)
        light *= 1 - 0.2 * np.exp(-((xx - x) ** 2 + (yy - y) ** 2) / (2 * (width / 2.35) ** 2))
    assert guess_shows(bayer(light)) == "flat"


@pytest.mark.parametrize("stops", [0, 4])
def test_an_even_light_need_not_reach_the_corners_nor_be_clean(stops):
    light = falloff(WIDTH, HEIGHT, stops)
    yy, xx = np.ogrid[:HEIGHT, :WIDTH]
    light[np.hypot(xx - WIDTH / 2, yy - HEIGHT / 2) > 0.85 * WIDTH / 2] = 0.002
    light[200:204, 100:700] *= 0.2
    assert why_no_even_light(bayer(light)) is None


def test_what_is_no_even_light_is_said():
    assert "target" in why_no_even_light(bayer(drawn_target(WIDTH, HEIGHT, 15, 10, 2.5)))
    photograph = skimage.data.astronaut().astype(float).mean(axis=2) / 255
    assert "detail" in why_no_even_light(bayer(photograph**2.2))


@pytest.mark.parametrize("level", [0, 0.0005, 0.003])
def test_darkness_with_hot_pixels(level):
    samples = mosaic_of(np.full((HEIGHT, WIDTH), level))
    samples.ravel()[::1733] = 15871
    assert guess_shows(shot_of(samples, BAYER["RGGB"], RGBG)) == "dark"


def test_a_blade_is_left_to_the_user():
    light = np.full((HEIGHT, WIDTH), 0.7)
    light[:, 500:] = 0.01
    assert guess_shows(bayer(light)) is None


@pytest.mark.parametrize("kind", ["6x6", "grey", "planes"])
def test_other_sensors(kind):
    light = drawn_target(WIDTH, HEIGHT)
    if kind == "planes":
        shot = shot_of(np.stack([mosaic_of(light)] * 3, axis=-1), None, RGBG[:3])
    else:
        pattern, colours = (SIX, RGBG[:3]) if kind == "6x6" else ([[0]], ("grey",))
        shot = shot_of(mosaic_of(light), pattern, colours)
    assert guess_shows(shot) == "target"


PHOTOGRAPHS = (
    *("astronaut", "camera", "coffee", "chelsea", "rocket", "brick", "grass", "gravel", "coins", "page", "clock"),
    *("text", "moon", "cell"),
)


@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_photographs_are_none_of_them(name):
    picture = getattr(skimage.data, name)()
    grey = picture if picture.ndim == 2 else picture[:, :, 1]
    light = ndimage.zoom((grey / 255.0) ** 2.2, 800 / grey.shape[0], order=1)
    assert guess_shows(bayer(np.clip(light, 0, 1))) is None


def test_frames_of_one_number():
    white = shot_of(np.full((100, 120), 15871, np.uint16), BAYER["RGGB"], RGBG)
    assert guess_shows(white) == "flat"
    assert guess_shows(shot_of(np.full((40, 40), 512, np.uint16), BAYER["RGGB"], RGBG)) == "dark"
