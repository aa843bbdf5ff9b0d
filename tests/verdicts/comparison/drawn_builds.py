"""Reports of builds set up again and again, drawn at random with known truth; nothing is rendered.

Setting up anew changes focus (all zones alike), squareness (one side against the other) and a little of each zone
by itself, as it does on a bench.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench import frame
from lensbench.figure import Figure
from lensbench.findings import (
    Build,
    Camera,
    Falloff,
    FalloffGrid,
    Fringing,
    Report,
    Setting,
    Sharpness,
    ZoneFalloff,
    ZoneFringing,
    ZoneSharpness,
)

RING_MTF50 = {"centre": 60.0, "inner": 50.0, "outer": 40.0, "corner": 25.0}


@dataclass(frozen=True)
class Spread:
    """Standard deviations from setup to setup, in percent of MTF50: of all zones, of a slope, of each zone."""

    common: float = 3.0
    slope: float = 2.0
    own: float = 1.0
    noise: float = 0.3


def drawn_report(
    generator: np.random.Generator,
    setups: int,
    spread: Spread | None = None,
    sharper: float = 1.0,
    date: str = "",
    apertures: tuple[float, ...] = (5.6, 8.0),
) -> Report:
    """A build whose zones are `sharper` times `RING_MTF50`, shot in some setups at every aperture."""
    spread = spread or Spread()
    settings = [
        _setting(generator, f_number, setup, spread, sharper)
        for f_number in apertures
        for setup in range(1, setups + 1)
    ]
    return Report(Build("drawn", date=date), Camera((6000, 4000), (36.0, 24.0), 6.0), settings=settings)


def _setting(generator, f_number: float, setup: int, spread: Spread, sharper: float) -> Setting:
    common, across, down = generator.normal(0, [spread.common, spread.slope, spread.slope]) / 100
    zones, colours, dark = [], [], []
    for zone in frame.ZONES:
        x = ("right" in zone) - ("left" in zone)
        y = ("bottom" in zone) - ("top" in zone)
        own, noise = generator.normal(0, [spread.own, spread.noise]) / 100
        true = sharper * RING_MTF50[zone.split()[0]] * (1 + common + across * x + down * y + own)
        mtf50 = Figure.of(true * (1 + noise), 1.96 * true * spread.noise / 100, "lp/mm")
        pixels = Figure.of(mtf50.value * 0.006, mtf50.half_width * 0.006, "cy/px")
        zones.append(ZoneSharpness(zone, "green", "mean", pixels, mtf50, 20))
        for channel in ("red", "blue"):
            shift = 1.0 + generator.normal(0, 0.02)
            radial = Figure.of(shift, 0.01, "px")
            colours.append(ZoneFringing(zone, channel, radial, Figure.of(0.0, 0.01, "px")))
        dark.append(ZoneFalloff(zone, Figure.of(0.5 + generator.normal(0, 0.01), 0.001, "stops")))
    return Setting(
        f_number=f_number,
        setup=setup,
        sharpness=Sharpness(zones=zones),
        fringing=Fringing(zones=colours),
        falloff=Falloff(dark, FalloffGrid([], [], []), None, True),
    )
