"""Free edges on photographs of everyday things: no figures that contradict each other, no doubtful edge.

The pictures are those that scikit-image ships (public domain or CC0, as `skimage/data/README.txt` says), made
linear by the sRGB curve (IEC 61966-2-1) and sampled as by a mosaic. Nothing is known of their true sharpness, but
for an edge of any ordinary blur the rise times MTF50 is near 0.48 (a Gaussian: 2.563 σ times 0.18739 / σ).
"""

from pathlib import Path

import imageio.v3 as iio
import numpy as np
import pytest
import skimage.data
from scipy.ndimage import zoom

from lensbench import Shot, measure_free_edges
from tests.known_edges import BAYER

FOLDER = Path(skimage.data.__file__).parent


def linear(name):
    """The light of a picture, 0 to 1."""
    stored = iio.imread(FOLDER / name)[..., :3] / 255
    return np.where(stored <= 0.04045, stored / 12.92, ((stored + 0.055) / 1.055) ** 2.4)


def mosaic_of(light):
    height, width = light.shape[:2]
    index = np.tile(BAYER, (height // 2 + 1, width // 2 + 1))[:height, :width]
    samples = np.take_along_axis(light, index[..., None], axis=2)[..., 0] * 16000
    names = ("red", "green", "blue")
    return Shot("picture", samples.astype(np.float32), BAYER, names, np.zeros(3), 15999.0, np.ones(3))


def consistent(edge):
    """Whether the colours of an edge have figures that go together and lie together."""
    shown = [colour for colour in edge.colours if colour.mtf50]
    products = [colour.mtf50.value * colour.rise_px.value for colour in shown if colour.rise_px]
    apart = [abs(colour.lateral_px.value) for colour in shown if colour.lateral_px]
    return all(0.38 < product < 0.6 for product in products) and max(apart, default=0.0) < 2


@pytest.mark.parametrize("name", ["astronaut.png", "coffee.png", "rocket.jpg"])
def test_small_pictures_have_no_contradictory_edges(name):
    found = measure_free_edges(mosaic_of(linear(name)), threads=1)
    assert all(consistent(edge) for edge in found.edges)
    assert len(found.refused) > 3


def test_edges_of_a_photographer_enlarged_are_as_soft_as_the_enlarging():
    """A dark coat before the sky, four times as large: the blur of the pixels that it was, a few pixels wide."""
    light = iio.imread(FOLDER / "camera.png")[60:260, 40:240] / 255
    light = np.clip(zoom(light**2.2, 4, order=3), 0, 0.99) * 16000
    noisy = np.random.default_rng(1).poisson(light).astype(np.float32)
    found = measure_free_edges(Shot.from_array(noisy, 0, 16000), threads=1)
    assert found.edges
    assert all(consistent(edge) for edge in found.edges)
    assert all(0.05 < edge.colours[0].mtf50.value < 0.2 for edge in found.edges)
