"""A complete report of an invented build, made up from formulas: what the reporter's tests draw and write.

The lens is sharpest a little right of the middle, softer towards the sides across the radius than along it, has
blue magnified more than red, and carries a few marks, so that every part of the reporter has something to show.
"""

from __future__ import annotations

import numpy as np

from lensbench import frame
from lensbench.findings import (
    Alignment,
    Assembly,
    Build,
    Camera,
    ContrastCurve,
    Displacement,
    Distortion,
    DistortionStep,
    Dust,
    EdgeSharpness,
    Falloff,
    FalloffGrid,
    Figure,
    Fringing,
    Geometry,
    Mark,
    Notice,
    OpticalCentre,
    Position,
    Reason,
    Report,
    Setting,
    Sharpness,
    TileFringing,
    Verdict,
    WorstFringing,
    ZoneFalloff,
    ZoneFringing,
    ZoneSharpness,
)
from lensbench.verdicts.aperture import judge_aperture
from tests.findings.alter import alter

SIZE = (4272, 2848)
PITCH_UM = 8.427


def invented_report(f_numbers=(2.8, 5.6), size=SIZE, clean=False) -> Report:
    """A report with a setting an f-number; `clean` leaves the marks and warnings out."""
    settings = [_setting(f_number, size, clean) for f_number in f_numbers]
    warnings = [] if clean else [
        Notice("clipped", "t_28.dng", "t_28.dng: 34 of 1476 edges are clipped (white at 100 %). Expose less."),
        Notice("left-out", "t_8.dng", "t_8.dng: is cut short (12 of 24 MB). Copy it from the card again."),
        Notice("tilt", None, "The target leans 1.8° to the left. Square it up with a mirror laid on it."),
    ]  # fmt: skip
    return Report(
        build=Build(
            name="Porthole 38, third spacing",
            parts=["front doublet of a broken 8×30 field glass", "projector triplet, rear half", "M42 helicoid"],
            notes="0.4 mm more air behind the stop than last time.",
            date="2024-11-02",
        ),
        camera=Camera(size, (36.0, 24.0), 36000 / size[0], "Invented 12"),
        warnings=warnings,
        settings=settings,
        geometry=Geometry(
            magnification=Figure.of(0.4987, 0.0011, "×"),
            distortion_percent=Figure.of(-1.342, 0.012, "%"),
            target_turn_deg=Figure.of(0.43, 0.02, "°"),
            target_tilt_deg=Figure.of(1.81, 0.09, "°"),
            shot="t_28.dng",
            covers_mm=(Figure.of(72.2, 0.2, "mm"), Figure.of(48.1, 0.2, "mm")),
            distortion=_distortion(size),
            alignment=Alignment(
                wider_left_percent=Figure.of(0.9, 0.02, "%"),
                wider_top_percent=Figure.of(0.004, 0.02, "%"),
                right_away_deg=Figure.of(1.81, 0.09, "°"),
                bottom_away_deg=Figure.of(0.01, 0.09, "°"),
                distinguished_from_decentring=False,
            ),
            notes=["The ruler bars were not measured, so sizes are only as true as the printer."],
        ),
        verdict=Verdict(judge_aperture(settings, size), _assembly()),
        made_by="lensbench",
        session="bench-november",
    )


def _assembly() -> Assembly:
    centres = [
        OpticalCentre("distortion", Figure.of(0.21, 0.05, "mm"), Figure.of(-0.08, 0.05, "mm")),
        OpticalCentre("fringing", Figure.of(1.34, 0.09, "mm"), Figure.of(-0.41, 0.11, "mm")),
        OpticalCentre("falloff", Figure.of(0.32, 0.2, "mm"), Figure.of(0.12, 0.2, "mm")),
    ]
    text = "The centre of fringing lies 1.2 mm right of the centre of distortion: something is off its axis."
    return Assembly("off-centre", centres, [], text)


def _distortion(size) -> Distortion:
    """Barrel of 1.342 % at the corner: h is ideal h (1 - 0.01342 h²), nearly."""
    steps = [
        DistortionStep(h, Figure.of(-1.342 * h**2, 0.012, "%"), Figure.of(-4.026 * h**2, 0.03, "%"))
        for h in (0.25, 0.5, 0.75, 1.0)
    ]
    return Distortion(
        shape="barrel",
        curve=steps,
        bow_percent=Figure.of(-0.41, 0.01, "%"),
        centre_px=Position(Figure.of(size[0] * 0.505, 3, "px"), Figure.of(size[1] * 0.497, 3, "px")),
        about_px=(size[0] * 0.505, size[1] * 0.497),
        terms=[Figure.of(0.0136, 0.0001, "")],
        residual_px=Figure.of(0.03, 0.002, "px"),
    )


def _curve(mtf50: float) -> ContrastCurve:
    """A Gaussian's contrast that is a half at `mtf50`."""
    frequency = np.linspace(0, 0.6, 61)
    contrast = 0.5 ** ((frequency / mtf50) ** 2)
    low, high = contrast - 0.012, contrast + 0.012
    return ContrastCurve(*(values.tolist() for values in (frequency, contrast, low, high)))


def _mtf50(x, y, direction, channel, f_number, size):
    """A smooth invention: best right of the middle, tangential falling faster, better stopped down."""
    cx, cy = frame.centre_of(size)
    off = np.hypot(x - cx - 0.06 * size[0], y - cy) / frame.half_diagonal(size)
    best = {2.8: 0.24, 5.6: 0.33}.get(f_number, 0.38 * (4 / f_number) ** 0.2)
    drop = {"sagittal": 0.55, "tangential": 1.15}.get(direction, 0.85) * (2.8 / f_number) ** 0.6
    colour = {"red": 0.94, "blue": 0.9}.get(channel, 1.0)
    return best * colour / (1 + drop * off**2)


def lone_direction(setting: Setting, zone: str, direction: str) -> None:
    """Leave a zone only its figures of one direction, as where a single cut tile lies in it."""
    rows = [row for row in setting.sharpness.zones if row.zone != zone or row.direction == direction]
    alter(setting.sharpness, zones=rows)


def _setting(f_number, size, clean) -> Setting:
    grid_x, grid_y = np.meshgrid(np.linspace(0.02, 0.98, 15) * size[0], np.linspace(0.03, 0.97, 11) * size[1])
    tiles = [(i % 15, i // 15, x, y) for i, (x, y) in enumerate(zip(grid_x.ravel(), grid_y.ravel(), strict=True))]
    name = f"{f_number:g}".replace(".", "")
    return Setting(
        f_number=f_number,
        shots=[f"t_{name}.dng", f"flat_{name}.dng"],
        magnification=Figure.of(0.4987, 0.0011, "×"),
        sharpness=_sharpness(tiles, f_number, size),
        fringing=_fringing(tiles, size),
        falloff=_falloff(f_number, size),
        dust=Dust([] if clean else _marks(size)),
    )


def _sharpness(tiles, f_number, size) -> Sharpness:
    edges = []
    for column, row, x, y in tiles:
        for leg, direction in (("along", "sagittal"), ("across", "tangential"), ("slant", "oblique")):
            for channel in ("red", "green", "blue"):
                value = _mtf50(x, y, direction, channel, f_number, size)
                used = (column, row, leg) != (3, 4, "across")
                edges.append(
                    EdgeSharpness(
                        column, row, leg, direction, channel, float(x), float(y), float(frame.h_of(x, y, size)),
                        37.0, Figure.of(value, 0.012 * value, "cy/px"), used,
                        Reason.NONE if used else Reason.SOFTER, f"t_{f_number}.dng",
                        deviation_percent=None if used else -41,
                    )
                )  # fmt: skip
    return Sharpness(edges, _zone_sharpness(edges, size))


def _zone_sharpness(edges, size) -> list[ZoneSharpness]:
    zones = []
    for zone in frame.ZONES:
        for channel in ("red", "green", "blue"):
            inside = [e for e in edges if e.channel == channel and frame.zone_of(e.x, e.y, size) == zone]
            for direction in ("sagittal", "tangential", "mean"):
                chosen = [e.mtf50.value for e in inside if e.direction == direction or direction == "mean"]
                figure = Figure.of(np.mean(chosen), 0.02 * np.mean(chosen) / len(chosen) ** 0.5, "cy/px")
                per_mm = 1000 / (36000 / size[0])
                in_mm = Figure(figure.value * per_mm, figure.low * per_mm, figure.high * per_mm, "lp/mm")
                curve = _curve(figure.value)
                zones.append(ZoneSharpness(zone, channel, direction, figure, in_mm, len(chosen), curve=curve))
    return zones


def _fringing(tiles, size) -> Fringing:
    rows = []
    for column, row, x, y in tiles:
        red, blue = _displacement(x, y, -1.4, size), _displacement(x, y, 2.6, size)
        rows.append(TileFringing(column, row, float(x), float(y), float(frame.h_of(x, y, size)), red, blue))
    zones = []
    for zone in frame.ZONES:
        inside = [t for t in rows if frame.zone_of(t.x, t.y, size) == zone]
        for channel in ("red", "blue"):
            outward = np.mean([getattr(t, channel).radial_px.value for t in inside])
            around = np.mean([getattr(t, channel).around_px.value for t in inside])
            zones.append(
                ZoneFringing(zone, channel, Figure.of(outward, 0.008, "px"), Figure.of(around, 0.008, "px"))
            )
    worst = WorstFringing(
        "corner top-right", ("red", "blue"), Figure.of(3.6, 0.02, "px"), Figure.of(5.1, 0.1, "px"), None
    )
    return Fringing(rows, zones, worst=worst)


def _displacement(x, y, at_corner, size) -> Displacement:
    outward, around = frame.radial_axes(x, y, size)
    h = float(frame.h_of(x, y, size))
    # A little of it is a sideways shift, as of a decentred element.
    shift = outward * at_corner * h**1.5 + np.array([0.12, -0.05]) * np.sign(at_corner)
    return Displacement(
        Figure.of(shift[0], 0.015, "px"), Figure.of(shift[1], 0.015, "px"),
        Figure.of(shift @ outward, 0.015, "px"), Figure.of(shift @ around, 0.015, "px"),
    )  # fmt: skip


def _falloff(f_number, size) -> Falloff:
    x, y = np.linspace(0, size[0] - 1, 49), np.linspace(0, size[1] - 1, 33)
    grid_x, grid_y = np.meshgrid(x, y)
    stops = _stops(grid_x, grid_y, f_number, size)
    zones = [
        ZoneFalloff(zone, Figure.of(stops[frame.zone_index(grid_x, grid_y, size) == i].mean(), 0.006, "stops"))
        for i, zone in enumerate(frame.ZONES)
    ]
    centre = Position(Figure.of(size[0] * 0.515, 6, "px"), Figure.of(size[1] * 0.49, 6, "px"))
    return Falloff(zones, FalloffGrid(x.tolist(), y.tolist(), stops.tolist()), centre, True)


def _stops(x, y, f_number, size):
    off = np.hypot(x - 0.515 * size[0], y - 0.49 * size[1]) / frame.half_diagonal(size)
    return (0.9 + 2.4 / f_number) * off**2 + (1.6 / f_number) * off**6


def _marks(size) -> list[Mark]:
    places = [
        (0.31, 0.22, "spot", 21, 23, 4.1),
        (0.72, 0.64, "fibre", 7, 410, 2.2),
        (0.86, 0.18, "patch", 240, 330, 1.4),
        (0.12, 0.81, "spot", 9, 10, 0.8),
        (0.55, 0.44, "spot", 14, 14, -0.9),
    ]
    return [
        Mark(
            x=across * size[0],
            y=down * size[1],
            kind=kind,
            width_px=Figure.of(width, 1.5, "px"),
            length_px=Figure.of(length, 2.0, "px"),
            depth_percent=Figure.of(depth, 0.1, "%"),
            signal_to_noise=12.0 + 10 * abs(depth),
            zone=frame.zone_of(across * size[0], down * size[1], size),
        )
        for across, down, kind, width, length, depth in places
    ]
