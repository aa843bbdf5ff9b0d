"""A thin lens before a leaning sheet on a rail, by the second renderer: conjugate distances, nothing else.

A point of the sheet at distance u before the lens is imaged at v = 1 / (1/f - 1/u) behind it, farther or nearer
where the field is curved; the sensor lies off that where it leans. A Gaussian of the disc's variance blurs it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.outside.renderer import OutsideFrame, OutsideLens, draw_sheet, expose, write_mosaic

SENSOR_MM, MAGNIFICATION = (3.6, 2.4), 0.25


@dataclass(frozen=True)
class Bench:
    """A lens of 20 mm at f/5.6 and a quarter of life size: u = 100 mm, v = 25 mm, effective f/7.

    Right and lower are as in the picture. `sheet_deg`: by how much the sheet's right and lower sides are turned
    away from the lens; `sensor_deg`: by how much the sensor's parts that take the picture's right and lower sides
    are farther from the lens; `bow_mm`: by how much farther from the lens than the middle h = 1 is imaged.
    """

    sheet_deg: tuple[float, float] = (0.0, 0.0)
    sensor_deg: tuple[float, float] = (0.0, 0.0)
    bow_mm: float = 0.0
    focal_mm: float = 20.0
    f_number: float = 5.6
    sheet_mm: float = 100.0
    sensor_at_mm: float = 25.0
    sigma_px: float = 0.8
    barrel: float = -0.03
    rail_mm: float = 0.0
    pixel_mm: float = 0.006

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the frame in pixels."""
        return round(SENSOR_MM[0] / self.pixel_mm), round(SENSOR_MM[1] / self.pixel_mm)


class RailFrame(OutsideFrame):
    """Where and how blurred the lens draws things with the sheet somewhere along the rail."""

    def __init__(self, bench: Bench):
        super().__init__(OutsideLens(px_per_mm=1.0), *bench.size)
        self.bench = bench

    def picture(self, mm: np.ndarray, colour: int) -> np.ndarray:
        """Sheet to pixels by the ray through the middle of the lens, and a little barrel distortion."""
        bench = self.bench
        right, lower = np.radians(bench.sheet_deg)
        x, y = mm[..., 0], mm[..., 1]
        # Turned about its upright, then about a level axis.
        across, away = x * np.cos(right), x * np.sin(right)
        down, away = y * np.cos(lower) - away * np.sin(lower), y * np.sin(lower) + away * np.cos(lower)
        distance = bench.sheet_mm + bench.rail_mm + away
        ideal = np.stack([across, down], axis=-1) * (bench.sensor_at_mm / bench.pixel_mm / distance)[..., None]
        square = (ideal**2).sum(axis=-1, keepdims=True) / self.half**2
        return self.centre + ideal * (1 + bench.barrel * square)

    def covariance(self, place: np.ndarray, colour: int) -> np.ndarray:
        """The blur's covariance in px²: the lens's own, and a disc as wide as the sensor is out of focus."""
        bench = self.bench
        out = (place - self.centre) * bench.pixel_mm
        on_sheet = out * (bench.sheet_mm + bench.rail_mm) / bench.sensor_at_mm
        u = bench.sheet_mm + bench.rail_mm + on_sheet @ np.tan(np.radians(bench.sheet_deg))
        h = np.hypot(*out) / (self.half * bench.pixel_mm)
        image = 1 / (1 / bench.focal_mm - 1 / u) + bench.bow_mm * h**2
        sensor = bench.sensor_at_mm + out @ np.tan(np.radians(bench.sensor_deg))
        disc_mm = (sensor - image) * (bench.focal_mm / bench.f_number) / bench.sensor_at_mm
        # The variance of an even disc along any axis is its radius squared over four.
        return (bench.sigma_px**2 + (disc_mm / bench.pixel_mm / 4) ** 2) * np.eye(2)


def write_rail_session(folder: Path, layout_file: Path, bench: Bench, rail_mm: np.ndarray, seed: int = 1) -> None:
    """A folder with a target shot for each position along the rail, and its session file."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    layout = json.loads(layout_file.read_text())
    even = np.ones(bench.size[::-1], np.float32)
    shots = ""
    for number, away in enumerate(rail_mm):
        plane = draw_sheet(RailFrame(replace(bench, rail_mm=float(away))), layout["tiles"], 1, finer=4)
        write_mosaic(folder / f"r{number}.dng", expose(rng, [plane] * 3, even))
        shots += f'[[shot]]\nfile = "r{number}.dng"\nshows = "target"\nf_number = {bench.f_number}\n'
        shots += f"rail_mm = {50 + away}\n"
    (folder / "target.json").write_text(layout_file.read_text())
    across, up = layout["rulers_mm"]
    (folder / "session.toml").write_text(
        f'[build]\nname = "Outside rail"\n[camera]\nsensor_mm = [{SENSOR_MM[0]}, {SENSOR_MM[1]}]\n'
        f'[target]\nlayout = "target.json"\nrulers_measured_mm = [{across}, {up}]\n{shots}'
    )
