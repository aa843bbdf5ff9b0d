"""Flats with the panel moved, and at two apertures, from the session file to the report."""

import numpy as np

from lensbench.dng import write_dng
from lensbench.loaders.session import load_session
from lensbench.run import measure_session
from tests.analysers import flats

SIZE = (900, 600)
HALF = np.hypot(*SIZE) / 2


def light(turned=False, spot=0.0):
    """A lens of one stop, a panel that is darker to the right (to the left when turned), and a spot."""
    x, y = flats.grid(SIZE)
    slope = 2.0 ** (-0.2 * (-x if turned else x) / HALF)
    bright = 1 + spot * np.exp(-(x**2 + y**2) / (2 * (0.15 * HALF) ** 2))
    return (0.8 * flats.cos4(SIZE, 1.0) * slope * bright).astype(np.float32)


def test_panels_apertures_and_lengths_reach_the_report(tmp_path):
    shots = {
        "w_040.dng": (4, False, 0.005, "panel = 1"),
        "w_040_turned.dng": (4, True, 0.005, "panel = 2\npanel_turn_deg = 180"),
        "w_160.dng": (16, False, 0.08, "panel = 1"),
        "w_160_turned.dng": (16, True, 0.08, "panel = 2\npanel_turn_deg = 180"),
    }
    text = "[camera]\nsensor_mm = [18.0, 12.0]\n"
    for seed, (name, (f_number, turned, spot, panel)) in enumerate(shots.items()):
        write_dng(tmp_path / name, flats.flat(light(turned, spot), seed=seed, name=name))
        text += f'[[shot]]\nfile = "{name}"\nshows = "flat"\nf_number = {f_number}\n{panel}\n'
    (tmp_path / "session.toml").write_text(text)
    wide, small = measure_session(load_session(tmp_path), workers=1).settings
    for setting in (wide, small):
        falloff = setting.falloff
        assert [(place.panel, place.turn_deg) for place in falloff.panel.positions] == [(1, 0.0), (2, 180.0)]
        # The panel's slope is taken off, so nothing is darker to one side; the pixel is 20 µm wide.
        assert falloff.gradient.size_stops.value < 0.01
        assert falloff.coverage.usable[0].radius_px is None
        corner = [zone.stops.value for zone in falloff.zones if zone.zone.startswith("corner")]
        assert max(corner) - min(corner) < 0.01
    assert small.falloff.hot_spot.percent.value > 7
    assert wide.falloff.hot_spot is None or wide.falloff.hot_spot.percent.value < 0.7
    assert abs(small.falloff.worst_corner.stops.value - wide.falloff.worst_corner.stops.value) < 0.01
