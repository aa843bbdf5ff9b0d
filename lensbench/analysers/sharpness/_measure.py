"""Sharpness by edge, place and zone from measured edges: exact directions, odd edges left out, curves, units."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lensbench import frame
from lensbench.analysers.sharpness._edges import EdgeTable, ShotEdges, edge_table, with_odd_ones_named
from lensbench.analysers.sharpness._tiles import Places, find_places
from lensbench.analysers.sharpness._zones import add_zone, colour_differences
from lensbench.findings import EdgeSharpness, Figure, Sharpness, TileSharpness

__all__ = ["ShotEdges", "measure_sharpness"]


def measure_sharpness(
    shots: Sequence[ShotEdges], size: tuple[int, int], pixel_pitch_um: float | None = None
) -> Sharpness:
    """Sharpness of one setting from the measured edges of its shots.

    Every tile's edges give the ellipse of its blur, 1 / MTF50² along a normal n being n·S·n, and so the exact
    sagittal and tangential figures of the place. A zone's figure is the mean over its places; its interval is the
    shots' noise alone. Edges far off their neighbours are left out and say so.

    Parameters
    ----------
    shots : sequence of ShotEdges
        One or more shots taken alike.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float, optional
        Distance of the pixels on the sensor; gives the figures in lp/mm.

    Returns
    -------
    Sharpness
    """
    channels = list(dict.fromkeys(channel for part in shots for channel in part.responses))
    result = Sharpness([], [], [], [], [])
    means: dict[tuple[str, str], tuple[float, float]] = {}
    for channel in channels:
        table = with_odd_ones_named(edge_table(shots, channel, size))
        places = find_places(table, size)
        result.edges.extend(_edge_rows(table, channel, size))
        result.tiles.extend(_tile_rows(table, places, channel, size))
        zone = frame.zone_index(places.x, places.y, size)
        for k, name in enumerate(frame.ZONES):
            add_zone(result, means, places, zone == k, name, channel, size, pixel_pitch_um)
    result.colours.extend(colour_differences(means, channels))
    return result


def _edge_rows(table: EdgeTable, channel: str, size: tuple[int, int]) -> list[EdgeSharpness]:
    h = frame.h_of(table.x, table.y, size)
    return [
        EdgeSharpness(
            column=int(table.column[i]),
            row=int(table.row[i]),
            leg=str(table.leg[i]),
            direction=str(table.direction[i]),
            channel=channel,
            x=float(table.x[i]),
            y=float(table.y[i]),
            h=float(h[i]),
            angle_deg=float(table.angle_deg[i]),
            mtf50=Figure.if_known(table.mtf50[i], table.sigma[i], "cy/px"),
            used=bool(table.why[i] == ""),
            why=str(table.why[i]),
            shot=str(table.shot[i]),
            rise_px=_number(table.rise_px[i]),
            overshoot_percent=_number(100 * table.overshoot[i]),
            contrast_to_noise=_number(table.contrast_to_noise[i]),
        )
        for i in range(len(table.x))
    ]


def _tile_rows(table: EdgeTable, places: Places, channel: str, size: tuple[int, int]) -> list[TileSharpness]:
    h = frame.h_of(places.x, places.y, size)
    rows = []
    for i, e in enumerate(places.first_edge):
        both = [Figure.if_known(places.mtf50[i, k], places.unsure[i, k], "cy/px") for k in (0, 1)]
        rows.append(
            TileSharpness(
                int(table.column[e]),
                int(table.row[e]),
                channel,
                float(places.x[i]),
                float(places.y[i]),
                float(h[i]),
                both[0],
                both[1],
                any(both),
                str(table.shot[e]),
            )
        )
    return rows


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
