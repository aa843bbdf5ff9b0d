"""Haze and veiling glare: how much light lies in the dark tiles of the target, against the white around them.

After ISO 9358: the glare index is the light in the picture of a black spot, over that of the white field around
it. The ink is not black: its own reflectance is taken off where it is known, or where some tiles are holes over
black.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses
from lensbench.analysers.flat_light import dark_level
from lensbench.findings import NORMAL_95, Figure, Glare, TileGlare, ZoneGlare
from lensbench.frame import ZONES, h_of, zone_index
from lensbench.robust import robust_sigma
from lensbench.shot import Shot
from lensbench.target.finder import FoundTiles

MARGIN_SHARE = 0.35
"""Share of a tile's inner radius, next to its edges, that is left out at least (chosen by experience)."""

MARGIN_RISES = 1.5
"""Rises (10 to 90 %) of its edges that are left out at least: beyond 1.5 of a Gaussian edge's, under 10⁻⁴ of the
white is left."""

FEWEST_SAMPLES = 12
"""Samples below which a tile is not read (our own choice)."""

OUTLIER = 5.0
"""Samples further than this from the tile's median, in standard deviations, are hot or dead (common practice)."""

NEIGHBOURS = 6
"""Tiles around a light trap that its light is compared with (our own choice)."""

INK_ERROR = 0.1
"""Half of the interval of an ink's reflectance given in the session file, as a share of it (our own choice)."""

TRAP_REFLECTANCE = 0.001
"""Reflectance that a hole over a black box may have, over the paper's (our own choice)."""

BLACK_ERROR = 1.0
"""Stored numbers by which the black level may be off where no dark frames were given (our own choice)."""


@dataclass(frozen=True, eq=False)
class TileLight:
    """Light in the dark tiles of one shot, one row a tile.

    Attributes
    ----------
    shot : str
        The shot's name.
    column, row : ndarray of int
        Lattice indices.
    x, y : ndarray
        The tiles' incentres in pixels.
    share, sigma : ndarray
        Light in the tile over the white around, and its standard deviation.
    black_error : float
        By how much all shares may be off alike because of the black level.
    """

    shot: str
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    share: NDArray[np.float64]
    sigma: NDArray[np.float64]
    black_error: float


@dataclass(frozen=True)
class Ink:
    """What is known of the target's black: its light over the paper's, and which tiles are holes over black."""

    reflectance: float | None = None
    light_traps: tuple[tuple[int, int], ...] = ()


def read_dark_tiles(
    shot: Shot, found: FoundTiles, response: EdgeResponses, darks: Sequence[Shot] = ()
) -> TileLight:
    """Read the light within the tiles of a shot, away from their edges, on the raw samples.

    Parameters
    ----------
    shot : Shot
        Of the target.
    found : FoundTiles
        Its tiles.
    response : EdgeResponses
        The reference channel's three edges of every tile, in the tiles' order; they give the white around.
    darks : sequence of Shot
        Frames taken with the lens covered, exposed as the shot.
    """
    channel = shot.reference
    level = _Level(shot, channel, darks)
    rows = []
    for tile, corners in enumerate(np.asarray(found.corners_px, float)):
        edges = slice(3 * tile, 3 * tile + 3)
        centre, radius = _incircle(corners)
        white = _white_at(centre, response, edges)
        if white is None:
            continue
        rise = np.nanmax(np.append(response.rise_px[edges], 0.0))
        reach = radius - max(MARGIN_SHARE * radius, MARGIN_RISES * float(rise))
        dark = level.within(centre, reach)
        if dark is None:
            continue
        share = dark[0] / white
        # The white is a fit to hundreds of samples beside each of three edges.
        white_sigma = share / np.nanmedian(response.contrast_to_noise[edges]) / 20
        rows.append((found.column[tile], found.row[tile], *centre, share, np.hypot(dark[1] / white, white_sigma)))
    column, row, x, y, shares, sigmas = np.array(rows, float).reshape(-1, 6).T
    median_white = float(np.nanmedian(response.white)) if np.isfinite(response.white).any() else np.inf
    error = 0.0 if darks else BLACK_ERROR / median_white
    return TileLight(shot.name, column.astype(int), row.astype(int), x, y, shares, sigmas, error)


def _incircle(corners: NDArray) -> tuple[NDArray, float]:
    """The incentre and the inner radius of a triangle."""
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - np.roll(corners, 1, axis=0)).T)
    first, second = corners[1] - corners[0], corners[2] - corners[0]
    area = abs(first[0] * second[1] - first[1] * second[0]) / 2
    return sides @ corners / sides.sum(), float(2 * area / sides.sum())


def _white_at(centre: NDArray, response: EdgeResponses, edges: slice) -> float | None:
    """The white around a tile as it would be in its middle: from that beside its three edges."""
    white = response.white[edges]
    known = np.isfinite(white)
    if known.sum() < 2:
        return None
    if not known.all():
        return float(white[known].mean())
    positions = np.stack([response.x[edges], response.y[edges], np.ones(3)])
    if abs(np.linalg.det(positions)) < 1:
        return float(white.mean())
    return float(np.linalg.solve(positions, np.append(centre, 1.0)) @ white)


class _Level:
    """Reads mean light within a circle, dark frames taken off."""

    def __init__(self, shot: Shot, channel: str, darks: Sequence[Shot]) -> None:
        self._shot, self._channel = shot, channel
        self._dark = float(np.median(dark_level(darks, shot, channel)))

    def within(self, centre: NDArray, reach: float) -> tuple[float, float] | None:
        """Mean and its standard deviation; None where there is too little to read."""
        if reach < 1:
            return None
        left, top = np.floor(centre - reach).astype(int)
        right, bottom = np.ceil(centre + reach).astype(int) + 1
        samples = self._shot.window(self._channel, left, top, right, bottom)
        inside = np.hypot(samples.x - centre[0], samples.y - centre[1]) <= reach
        light = samples.light[inside & ~samples.clipped].astype(float)
        if len(light) < FEWEST_SAMPLES:
            return None
        deviation = np.abs(light - np.median(light))
        light = light[deviation <= OUTLIER * robust_sigma(light) + 1.0]
        return float(light.mean()) - self._dark, float(light.std() / np.sqrt(len(light)))


def measure_glare(shots: Sequence[TileLight], size: tuple[int, int], channel: str, ink: Ink) -> Glare | None:
    """Join the dark tiles of one setting's shots into figures by zone.

    Parameters
    ----------
    shots : sequence of TileLight
        Of shots taken alike.
    size : (int, int)
        Width and height of the frame in pixels.
    channel : str
        Which was read.
    ink : Ink
        What is known of the target.

    Returns
    -------
    Glare or None
        None where no tile could be read. Without knowledge of the ink the glare itself is None: what is seen in
        the dark tiles is then its upper bound.
    """
    if not sum(len(shot.share) for shot in shots):
        return None
    joined = [np.concatenate([getattr(shot, name) for shot in shots]) for name in ("column", "row", "x", "y")]
    column, row, x, y = joined
    share, sigma = (np.concatenate([getattr(shot, name) for shot in shots]) for name in ("share", "sigma"))
    trap = np.array([(int(c), int(r)) in ink.light_traps for c, r in zip(column, row, strict=True)])
    black = max(shot.black_error for shot in shots)
    reflectance, source, error, notes = _ink(ink, x, y, share, sigma, trap)
    names = [shot.shot for shot in shots for _ in shot.share]
    h = h_of(x, y, size)
    tiles = [
        TileGlare(
            int(column[i]), int(row[i]), float(x[i]), float(y[i]), float(h[i]),
            Figure.of(100 * share[i], 100 * NORMAL_95 * sigma[i], "%"), bool(trap[i]), names[i],
        )
        for i in range(len(share))
    ]  # fmt: skip
    known = reflectance.value / 100 if reflectance else None
    return Glare(
        channel=channel,
        zones=_zones(x, y, share, sigma, trap, size, known),
        tiles=tiles,
        ink_percent=reflectance,
        ink_from=source,
        systematic_percent=None if reflectance is None else float(100 * np.hypot(error, black)),
        notes=notes,
    )


def _ink(
    ink: Ink, x: NDArray, y: NDArray, share: NDArray, sigma: NDArray, trap: NDArray
) -> tuple[Figure | None, str, float, list[str]]:
    """The ink's reflectance in percent, where it comes from, by how much it may be off, and what to say."""
    if trap.any() and not trap.all():
        found = np.array([_ink_beside(int(i), x, y, share, trap) for i in np.flatnonzero(trap)])
        noise = np.sqrt(np.mean(sigma[trap] ** 2) / trap.sum() + np.mean(sigma[~trap] ** 2) / NEIGHBOURS)
        spread = (
            found.std(ddof=1) / np.sqrt(len(found))
            if len(found) > 1
            else _scatter_of_neighbours(share[~trap]) / np.sqrt(6)
        )
        half = NORMAL_95 * float(np.hypot(noise, spread))
        return (
            Figure.of(100 * found.mean(), 100 * half, "%"),
            "light trap",
            float(np.hypot(half, TRAP_REFLECTANCE)),
            [],
        )
    notes = []
    if ink.light_traps:
        notes.append("None of the light traps named in session.toml is among the tiles that could be read.")
    if ink.reflectance is not None:
        error = INK_ERROR * ink.reflectance
        return Figure.of(100 * ink.reflectance, 100 * error, "%"), "session file", error, notes
    notes.append(
        "The ink sends back light of its own, as yet unknown, so the glare is no more than what is seen in the "
        "dark tiles. Cut out a few tiles, back them with a black box and name them in session.toml under [target] "
        "(light_traps = [[column, row], …]), or give ink_reflectance."
    )
    return None, "not known", 0.0, notes


def _ink_beside(number: int, x: NDArray, y: NDArray, share: NDArray, trap: NDArray) -> float:
    """The ink's reflectance from a light trap and the tiles around it."""
    others = np.flatnonzero(~trap)
    near = others[np.argsort(np.hypot(x[others] - x[number], y[others] - y[number]))[:NEIGHBOURS]]
    return float((np.median(share[near]) - share[number]) / (1 - share[number]))


def _scatter_of_neighbours(share: NDArray) -> float:
    """Standard deviation of neighbouring tiles' shares, which a smooth veil doesn't explain."""
    return robust_sigma(np.diff(share), about=0.0) / np.sqrt(2) if len(share) > 1 else 0.0


def _zones(
    x: NDArray,
    y: NDArray,
    share: NDArray,
    sigma: NDArray,
    trap: NDArray,
    size: tuple[int, int],
    ink: float | None,
) -> list[ZoneGlare]:
    index = zone_index(x, y, size)
    scatter = _scatter_of_neighbours(share[~trap])
    found = []
    for number, zone in enumerate(ZONES):
        inside = (index == number) & ~trap
        count = int(inside.sum())
        if not count:
            continue
        seen = share[inside]
        spread = seen.std(ddof=1) if count > 3 else scatter
        half = NORMAL_95 * float(np.hypot(spread, np.sqrt(np.mean(sigma[inside] ** 2))) / np.sqrt(count))
        dark = Figure.of(100 * seen.mean(), 100 * half, "%")
        glare = None
        if ink is not None:
            glare = Figure.of(100 * (seen.mean() - ink) / (1 - ink), 100 * half / (1 - ink), "%")
        found.append(ZoneGlare(zone, dark, glare, count))
    return found
