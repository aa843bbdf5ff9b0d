"""The invented build's shots as a camera would have taken them."""

import pytest

from lensbench.demo import demo_takes


def test_exposures_ask_for_what_the_aperture_takes():
    """Light goes by time over the f-number's square (APEX; memory): shots of one kind are equally bright."""
    for shows in ("target", "flat"):
        takes = [take for take in demo_takes() if take.shows == shows]
        assert len({take.f_number for take in takes}) > 1
        light = [take.scene.shutter_s * take.scene.iso / take.f_number**2 / take.scene.white for take in takes]
        assert light == pytest.approx([light[0]] * len(light), rel=1e-6)
