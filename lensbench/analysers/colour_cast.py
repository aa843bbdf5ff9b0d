"""Colour cast: how much redder or bluer an even light is drawn away from the middle of the frame."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.blocks import nearest_blocks
from lensbench.analysers.light_map import REFERENCE_H, FlatLight, read_flats
from lensbench.analysers.surface import fit_clean_surface
from lensbench.errors import BenchError
from lensbench.findings import NORMAL_95, Figure, ZoneCast
from lensbench.frame import ZONES, h_of, zone_index
from lensbench.shot import Shot

SPLINES = (12, 16)
"""Splines down and across: casts change slowly."""

POINTS = 240
"""Points each way over which a zone's mean is taken."""

MAP_PERCENT = 0.05
"""What the smooth map of a cast leaves open, in percent."""


def colour_cast(
    flats: Sequence[Shot], darks: Sequence[Shot], greens: Sequence[FlatLight], rough: NDArray[np.bool_]
) -> list[ZoneCast]:
    """Measure red and blue over green by zone, against the middle.

    Parameters
    ----------
    flats, darks : sequence of Shot
        As for the falloff.
    greens : sequence of FlatLight
        What each flat shows in its reference channel.
    rough : ndarray of bool, shape (y, x)
        Blocks that a hard edge cuts.

    Returns
    -------
    list of ZoneCast
        Empty for a camera without colours. The light's own colour is taken to be the same all over the panel.
    """
    casts = {colour: _cast(flats, darks, greens, rough, colour) for colour in ("red", "blue")}
    return [
        ZoneCast(zone, *(casts[colour].get(zone) for colour in ("red", "blue")))
        for zone in ZONES
        if any(zone in cast for cast in casts.values())
    ]


def _cast(
    flats: Sequence[Shot],
    darks: Sequence[Shot],
    greens: Sequence[FlatLight],
    rough: NDArray[np.bool_],
    colour: str,
) -> dict[str, Figure]:
    """One colour over green in percent, by zone; nothing where it can't be read."""
    first = flats[0]
    if colour not in first.channels or first.reference != "green":
        return {}
    try:
        lights = read_flats(flats, colour, darks)
    except BenchError:
        return {}
    more = np.array([green.stops - light.stops for green, light in zip(greens, lights, strict=True)])
    good = np.array([green.readable & light.readable for green, light in zip(greens, lights, strict=True)])
    weight = good.sum(axis=0) * ~rough
    mean = np.where(weight > 0, (more * good).sum(axis=0) / np.maximum(good.sum(axis=0), 1), 0.0)
    x, y, size = greens[0].x, greens[0].y, first.size
    surface, trust = fit_clean_surface(mean, weight, x, y, size, least=1e-3, splines=SPLINES)
    smooth = surface.on_grid(x, y)
    kept = (weight > 0) & (trust > 0.5)
    spread = 1.4826 * float(np.median(np.abs((mean - smooth)[kept])))
    middle = (h_of(x[None, :], y[:, None], size) < REFERENCE_H) & (weight > 0)
    if not middle.any():
        return {}
    reference = smooth[middle].mean()
    fine = [(np.arange(POINTS) + 0.5) * length / POINTS - 0.5 for length in size]
    index = zone_index(fine[0][None, :], fine[1][:, None], size)
    known = (weight > 0)[np.ix_(nearest_blocks(y, fine[1]), nearest_blocks(x, fine[0]))]
    stops = surface.on_grid(*fine) - reference
    found = {}
    for number, zone in enumerate(ZONES):
        inside = (index == number) & known
        if inside.sum() > 0.5 * (index == number).sum():
            percent = 100 * (2 ** stops[inside].mean() - 1)
            blocks = inside.sum() / POINTS**2 * weight.size
            noise = 100 * np.log(2) * spread * np.sqrt(1 / blocks + 1 / middle.sum())
            found[zone] = Figure.of(percent, np.hypot(NORMAL_95 * noise, MAP_PERCENT), "%")
    return found
