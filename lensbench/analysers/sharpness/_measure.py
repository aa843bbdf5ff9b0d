"""Sharpness by edge, tile and zone of one setting."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lensbench import frame
from lensbench.analysers.sharpness._edge_table import EdgeTable, ShotEdges, edge_table
from lensbench.analysers.sharpness._outlying_edges import with_outliers_rejected
from lensbench.analysers.sharpness._positions import Positions, find_positions
from lensbench.analysers.sharpness._zone_means import ZoneMeans, zone_means
from lensbench.analysers.sharpness._zones import Units, astigmatism_rows, colour_differences, zone_rows
from lensbench.findings import (
    EdgeSharpness,
    Figure,
    Reason,
    Sharpness,
    TileSharpness,
    ZoneDifference,
    ZoneSharpness,
)


def measure_sharpness(
    shots: Sequence[ShotEdges], size: tuple[int, int], pixel_pitch_um: float | None = None
) -> Sharpness:
    """Measure the sharpness of one setting from the measured edges of its shots.

    Every tile's edges give the ellipse of its blur, 1 / MTF50² along a normal n being n·S·n, and so the exact
    sagittal and tangential figures there. A zone's figure is the mean over its area; its interval counts which
    tiles there were and by how much the shots differ beyond noise, and is that of these shots alone. Edges that
    deviate far from their neighbours are rejected, with the reason beside them.

    Parameters
    ----------
    shots : sequence of ShotEdges
        One or more shots taken alike.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float, optional
        The pixel pitch; gives the figures in lp/mm.

    Returns
    -------
    Sharpness
    """
    channels = list(dict.fromkeys(channel for part in shots for channel in part.responses))
    edges: list[EdgeSharpness] = []
    tiles: list[TileSharpness] = []
    zones: list[ZoneSharpness] = []
    astigmatism: list[ZoneDifference] = []
    means: dict[tuple[str, str], ZoneMeans] = {}
    units = Units(size[1], pixel_pitch_um)
    for channel in channels:
        table = with_outliers_rejected(edge_table(shots, channel, size))
        positions = find_positions(table, size)
        edges += _edge_rows(table, channel, size)
        tiles += _tile_rows(table, positions, channel, size)
        for name, of_zone in zip(frame.ZONES, zone_means(positions, size), strict=True):
            means[name, channel] = of_zone
            zones += zone_rows(name, channel, of_zone, units)
            astigmatism += astigmatism_rows(name, channel, means[name, channel])
    return Sharpness(
        edges=edges, zones=zones, tiles=tiles, astigmatism=astigmatism, colours=colour_differences(means, channels)
    )


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
            used=bool(table.used[i]),
            reason=Reason(table.reason[i]),
            shot=str(table.shot[i]),
            rise_px=Figure.if_known(table.rise_px[i], table.rise_sigma_px[i], "px"),
            overshoot_percent=_number(100 * table.overshoot[i]),
            contrast_to_noise=_number(table.contrast_to_noise[i]),
            deviation_percent=_whole_percent(table.deviation_percent[i]),
            nearly_level=bool(table.nearly_level[i]),
        )
        for i in range(len(table.x))
    ]


def _tile_rows(table: EdgeTable, positions: Positions, channel: str, size: tuple[int, int]) -> list[TileSharpness]:
    h = frame.h_of(positions.x, positions.y, size)
    sigma = positions.sigma
    rows = []
    for i, edge in enumerate(positions.first_edge):
        sagittal, tangential = (Figure.if_known(positions.mtf50[i, k], sigma[i, k], "cy/px") for k in (0, 1))
        rows.append(
            TileSharpness(
                column=int(table.column[edge]),
                row=int(table.row[edge]),
                channel=channel,
                x=float(positions.x[i]),
                y=float(positions.y[i]),
                h=float(h[i]),
                sagittal=sagittal,
                tangential=tangential,
                used=sagittal is not None or tangential is not None,
                shot=str(table.shot[edge]),
            )
        )
    return rows


def _whole_percent(value: float) -> int | None:
    return round(float(value)) if np.isfinite(value) else None


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
