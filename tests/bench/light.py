"""Accuracy of falloff, panel, bright spot, coverage, colour cast and glare against the simulator's truth.

python -m tests.bench.light [--panels | --lenses | --edges | --glare]

About three minutes of one core. Stops in parentheses are the bar: falloff 0.01 stop rms over the frame.
"""

from __future__ import annotations

import itertools
import sys
import time
from dataclasses import replace

import numpy as np
from scipy.interpolate import RectBivariateSpline

from lensbench.analysers.edge import measure_edges, tile_edges
from lensbench.analysers.falloff import PanelGiven, describe_falloff, measure_falloff, read_light
from lensbench.analysers.glare._measure import Ink, measure_glare, read_dark_tiles
from lensbench.findings import Falloff
from lensbench.frame import ZONES, zone_index
from lensbench.simulator.camera import Camera
from lensbench.simulator.flat_shot import FlatTruth, flat_shot
from lensbench.simulator.lens import Colour, Lens, Reflection, Rim
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Print, Scene
from lensbench.simulator.target_shot import target_light, target_shot
from lensbench.simulator.zones import falloff_by_zone
from lensbench.target.finder import find_tiles
from lensbench.target.layout import make_layout
from tests.analysers import flats

CAMERA = Camera(size=(2100, 1400), sensor_mm=(36.0, 24.0), hot=60, dead=10, green_imbalance=0.004)
FLAT = Scene(magnification=0.1, white=0.7)
COLOURS = {
    "red": Colour((0.61,), falloff_stops=-0.06),
    "green": Colour((0.54,)),
    "blue": Colour((0.46,), falloff_stops=0.1),
}
PLAIN = Lens(focal_mm=35, open_f_number=2.8, colours=COLOURS, decentre_mm=(0.6, -0.4))
UNEVEN = Panel(slope=(0.08, -0.05), bulge=0.15, ripple=0.015, ripple_length=0.93)
SHIFTS = [(0.0, 0.0), (0.5, 0.05), (-0.1, 0.42)]
"""Moves of the panel in half-diagonals; a quarter of the frame is 0.42 across and 0.28 down."""


def misfit(found: Falloff, truth: FlatTruth) -> tuple[float, float]:
    """Root mean square of the map against the truth, with and without the even slope that only a turn tells."""
    stops = np.array(found.grid.stops, float)
    true = RectBivariateSpline(truth.y, truth.x, np.clip(truth.stops["green"], -1, 12))(found.grid.y, found.grid.x)
    good = np.isfinite(stops) & (true < 3)
    off = (stops - true)[good]
    x, y = np.meshgrid(found.grid.x, found.grid.y)
    plane = np.stack([x[good], y[good], np.ones(good.sum())], axis=1)
    level = off - plane @ np.linalg.lstsq(plane, off, rcond=None)[0]
    return float(np.sqrt(np.mean(off**2))), float(np.sqrt(np.mean(level**2)))


def moved_panels() -> None:
    """Lens and panel together, by what the flats show of the panel."""
    print("panel                            rms    without slope  left   moves off, %   CPU s")
    cases = {
        "one place": (UNEVEN, SHIFTS[:1], [0]),
        "three places": (UNEVEN, SHIFTS, [0, 0, 0]),
        "three places and half a turn": (UNEVEN, [*SHIFTS, (0.0, 0.0)], [0, 0, 0, 180]),
        "a mere bulge, three places": (replace(UNEVEN, ripple=0.0), SHIFTS, [0, 0, 0]),
        "the same, moves said": (replace(UNEVEN, ripple=0.0), SHIFTS, [0, 0, 0]),
        "fades aslant, three places": (replace(UNEVEN, fade=0.1), SHIFTS, [0, 0, 0]),
    }
    extent = np.array(CAMERA.size) / (np.hypot(*CAMERA.size) / 2)
    for name, (panel, shifts, turns) in cases.items():
        shots, given = [], []
        for number, (shift, turn) in enumerate(zip(shifts, turns, strict=True)):
            placed = replace(panel, shift=shift)
            if turn == 180:
                placed = _TurnedPanel(**vars(placed))
            shot, truth = flat_shot(PLAIN, CAMERA, placed, FLAT, 5.6, seed=10 + number)
            shots.append(shot)
            said = tuple(np.array(shift) / extent) if "said" in name and number else None
            given.append(PanelGiven(number + 1, float(turn), said))
        start = time.process_time()
        found = measure_falloff(shots, (), given)
        seconds = time.process_time() - start
        rms, level = misfit(found, truth)
        left = found.panel.residual_stops
        print(
            f"{name:31s} {rms:6.4f}   {level:6.4f}     {'  –  ' if left is None else f'{left:6.4f}'}"
            f"   {_moves_off(found, shifts, extent):>8s}      {seconds:5.1f}   "
            f"{'taken off' if found.panel.removed else 'not taken off'}"
        )


class _TurnedPanel(Panel):
    """A panel turned half round about the middle of the picture."""

    def stops(self, u, v):
        return super().stops(-u, -v)


def _moves_off(found: Falloff, shifts, extent) -> str:
    off = [
        abs(figure.value - 100 * part / side)
        for place, shift in zip(found.panel.positions, shifts, strict=True)
        if place.shift_percent
        for figure, part, side in zip(place.shift_percent, shift, extent, strict=True)
    ]
    return f"{max(off):.2f}" if len(off) > 2 else "–"


def lenses() -> None:
    """Falloff, cast, spot and coverage of several builds at three apertures."""
    print(
        "\nlens, aperture      rms       zones off   held   cast off, %   spot (true), %   1 stop, mm   edge, mm"
    )
    cases = {
        "plain": PLAIN,
        "rim": replace(PLAIN, rim=Rim(1.0, 0.8)),
        "wide": replace(PLAIN, focal_mm=18),
        "reflections": replace(PLAIN, reflection=Reflection(0.08, 4.0)),
        "veiled": replace(PLAIN, glare=0.03),
    }
    f_numbers = (4.0, 8.0, 16.0)
    for name, lens in cases.items():
        taken = [flat_shot(lens, CAMERA, Panel(), FLAT, n, seed=int(n)) for n in f_numbers]
        pitch = 1000 * CAMERA.pitch_mm
        found = describe_falloff([read_light([shot], (), None, pitch) for shot, _ in taken], f_numbers)
        for n, falloff, (_, truth) in zip(f_numbers, found, taken, strict=True):
            print(f"{name:12s} f/{n:<4g}   " + _lens_row(lens, n, falloff, truth))


def _lens_row(lens: Lens, f_number: float, falloff: Falloff, truth: FlatTruth) -> str:
    true = falloff_by_zone(truth, "green", CAMERA.size)
    zones = [(zone.stops, true[zone.zone]) for zone in falloff.zones if true[zone.zone] < 3]
    off = max(abs(figure.value - value) for figure, value in zones)
    held = np.mean([figure.low <= value <= figure.high for figure, value in zones])
    cast = max(_cast_off(falloff, truth, colour) for colour in ("red", "blue"))
    spot = "–" if falloff.hot_spot is None else f"{falloff.hot_spot.percent.value:.2f}"
    planted = 100 * lens.reflection.strength * (f_number / 16) ** 2 if lens.reflection else 0.0
    stop = falloff.coverage.usable[0].radius_mm
    edge = falloff.coverage.image_circle
    return (
        f"{misfit(falloff, truth)[0]:7.4f}   {off:7.4f}   {100 * held:4.0f} %    {cast:6.3f}      "
        f"{spot:>5s} ({planted:.2f})    {'beyond' if stop is None else f'{stop.value:.2f}':>8s}      "
        f"{'–' if edge is None or edge.radius_mm is None else f'{edge.radius_mm.value:.2f}'}"
    )


def _cast_off(falloff: Falloff, truth: FlatTruth, colour: str) -> float:
    green, other = (falloff_by_zone(truth, channel, CAMERA.size) for channel in ("green", colour))
    return max(
        abs(getattr(zone, f"{colour}_percent").value - 100 * (2 ** (green[zone.zone] - other[zone.zone]) - 1))
        for zone in falloff.cast
        if green[zone.zone] < 3
    )


def edges() -> None:
    """Hard edges drawn at every pixel: by how wide they are, over many radii and places."""
    print(
        "\nhard edge    zones < 3 stops off: rms   worst   held     darker: held    radius off, px: median   held"
    )
    size = CAMERA.size
    half = np.hypot(*size) / 2
    radii = (0.69, 0.78, 0.85, 0.88, 0.92, 0.96)
    centres = ((0.0, 0.0), (-60.0, 30.0), (120.0, -85.0))
    for softness in (2.0, 6.0, 23.0, 60.0):
        zones, circles = [], []
        for seed, (radius, centre) in enumerate(itertools.product(radii, centres)):
            light = flats.barrel(size, radius * half, centre, softness)
            true = flats.zones_of(light)
            found = measure_falloff([flats.flat(light, seed=seed + round(softness))])
            zones += [(z.stops.value - true[z.zone], z.stops.half_width, true[z.zone]) for z in found.zones]
            edge = found.coverage.image_circle
            if edge is not None and edge.radius_px is not None:
                circles.append((edge.radius_px.value - radius * half, edge.radius_px.half_width))
        print(f"{softness:4.0f} px wide  " + _edges_row(np.array(zones), np.array(circles)))


def _edges_row(zones: np.ndarray, circles: np.ndarray) -> str:
    off, half, true = zones.T
    lit, held = true < 3, np.abs(off) <= half
    away, doubt = circles.T
    rms, worst = np.sqrt(np.mean(off[lit] ** 2)), np.abs(off[lit]).max()
    share, darker = 100 * held[lit].mean(), 100 * held[~lit].mean()
    return (
        f"             {rms:8.5f}   {worst:7.5f}   {share:4.1f} %       {darker:4.0f} %"
        f"          {np.median(np.abs(away)):7.2f}              {100 * np.mean(np.abs(away) <= doubt):4.0f} %"
    )


def glare() -> None:
    """Glare from dark tiles, against the veil laid over the picture, of a lens that has no halo of its own."""
    print("\nglare, ink        ink found, %     zones off, points   worst interval   systematic")
    camera = Camera(size=(1500, 1000), sensor_mm=(9.0, 6.0), hot=30, dead=10)
    layout = make_layout(camera.sensor_mm, 0.1, "coarse")
    middle = int(np.median(layout.column)), int(np.median(layout.row))
    traps = (middle, (middle[0] + 2, middle[1] - 1))
    colours = {name: Colour((0.55,), gaussian_px=1.2) for name in ("red", "green", "blue")}
    plain = Lens(focal_mm=20, image_radius_mm=5.4, diffraction=False, colours=colours)
    for veil, ink in ((0.0, 0.04), (0.02, 0.04), (0.05, 0.03)):
        lens = replace(plain, glare=veil)
        scene = Scene(magnification=0.1, print=Print(black=ink, light_traps=traps))
        shot, _ = target_shot(lens, camera, layout, scene, 4.0, seed=3)
        found = find_tiles(shot, layout)
        response = measure_edges(shot, tile_edges(found))[shot.reference]
        tiles = read_dark_tiles(shot, found, response)
        result = measure_glare([tiles], shot.size, "green", Ink(None, traps))
        true = _true_glare(plain, camera, layout, scene, veil, tiles)
        index, trap = zone_index(tiles.x, tiles.y, shot.size), np.array([t.light_trap for t in result.tiles])
        off = [
            z.glare_percent.value - 100 * true[(index == ZONES.index(z.zone)) & ~trap].mean() for z in result.zones
        ]
        widest = max(z.glare_percent.half_width for z in result.zones)
        print(
            f"{100 * veil:4.1f} %, {100 * ink:3.1f} %    {result.ink_percent.value:6.3f}           "
            f"{np.abs(off).max():6.3f}              {widest:6.3f}         {result.systematic_percent:6.3f}"
        )


def _true_glare(lens: Lens, camera: Camera, layout, scene: Scene, veil: float, tiles) -> np.ndarray:
    """Veil over veil and white, where the tiles are."""
    sheet, _ = target_light(lens, camera, layout, scene, 4.0, seed=3)
    paper, _ = target_light(lens, camera, layout, replace(scene, print=Print(black=1 - 1e-9)), 4.0, seed=3)
    mean = veil * (sheet[0::2, 1::2].mean() + sheet[1::2, 0::2].mean()) / 2
    x, y = (
        np.clip(np.rint(v).astype(int), 0, n - 1) for v, n in zip((tiles.x, tiles.y), camera.size, strict=True)
    )
    return mean / ((1 - veil) * paper[y, x] + mean)


if __name__ == "__main__":
    parts = {"--panels": moved_panels, "--lenses": lenses, "--edges": edges, "--glare": glare}
    chosen = [part for flag, part in parts.items() if flag in sys.argv] or list(parts.values())
    for part in chosen:
        part()
