"""A second renderer, sharing nothing with the package: filled outlines, Gaussian blur, DNG tags written by hand.

It reads `target.json` as the file format says and draws the sheet through a lens of its own: bent, turned,
fringed, dark in the corners, with a blur that differs by place, direction and colour. What it drew is known in
closed form.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy.fft
import tifffile
from scipy.optimize import brentq

FINER = 8
COLOURS = ("red", "green", "blue")
LEGS = {"along": (0, 1), "across": (0, 2), "slant": (1, 2)}


@dataclass(frozen=True)
class OutsideLens:
    """A lens in closed form. Radii r are h: distance from the frame's centre over the half-diagonal."""

    px_per_mm: float
    turn_deg: float = 5.0
    bend: tuple[float, float] = (-0.12, 0.03)  # picture radius = r (1 + a r² + b r⁴), r the ideal one
    fringe_px: tuple[float, float, float] = (6.0, 0.0, -4.0)  # at h = 1, growing with h³
    falloff_stops: float = 2.5  # at h = 1, growing with h²
    sigma_px: tuple[float, float] = (0.9, 1.6)  # around the circle, centre to corner
    stretch: float = 1.4  # of the blur along the radius, at the corner
    colour_blur: tuple[float, float, float] = (1.10, 1.0, 1.15)


class OutsideFrame:
    """Where and how blurred the lens draws things in a frame of width × height pixels."""

    def __init__(self, lens: OutsideLens, width: int, height: int):
        self.lens, self.width, self.height = lens, width, height
        self.centre = np.array([(width - 1) / 2, (height - 1) / 2])
        self.half = np.hypot(width, height) / 2

    def picture(self, mm: np.ndarray, colour: int) -> np.ndarray:
        """Sheet (x right, y down, mm) to pixels, for one colour."""
        turn = np.radians(self.lens.turn_deg)  # anticlockwise as seen, so with y down:
        rotate = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        ideal = mm @ rotate.T * self.lens.px_per_mm / self.half
        r = np.linalg.norm(ideal, axis=-1, keepdims=True)
        a, b = self.lens.bend
        bent = ideal * (1 + a * r**2 + b * r**4)
        h = np.linalg.norm(bent, axis=-1, keepdims=True)
        return self.centre + bent * self.half + bent * h**2 * self.lens.fringe_px[colour]

    def covariance(self, place: np.ndarray, colour: int) -> np.ndarray:
        """The blur's covariance in px² at a place in the picture."""
        out = place - self.centre
        h = np.linalg.norm(out) / self.half
        unit = out / max(np.linalg.norm(out), 1e-9)
        around = np.interp(self.growth(h), [0, 1], self.lens.sigma_px) * self.lens.colour_blur[colour]
        along = around * (1 + (self.lens.stretch - 1) * h**2)
        return around**2 * np.eye(2) + (along**2 - around**2) * np.outer(unit, unit)

    def growth(self, h: float) -> float:
        """How far the blur is from its size in the centre (0) towards that in the corner (1)."""
        return h

    def transfer(self, place: np.ndarray, colour: int, fx: np.ndarray, fy: np.ndarray) -> np.ndarray:
        """What blur at a place keeps of contrast, by the frequency in cycles a pixel."""
        a, b, c = (np.float32(v) for v in self.covariance(place, colour)[[0, 0, 1], [0, 1, 1]])
        form = a * fx**2 + 2 * b * fx * fy + c * fy**2
        return np.exp(form * np.float32(-2 * np.pi**2))

    def mtf50(self, corners: np.ndarray, leg: str, colour: int) -> float:
        """MTF50 across one edge of a tile: Gaussian and square pixel, in cycles a pixel."""
        p, q = (corners[i] for i in LEGS[leg])
        along = (q - p) / np.linalg.norm(q - p)
        normal = np.array([along[1], -along[0]])
        variance = normal @ self.covariance(corners.mean(axis=0), colour) @ normal

        def above_half(f):
            pixel = np.sinc(f * normal[0]) * np.sinc(f * normal[1])
            return np.exp(-2 * np.pi**2 * variance * f**2) * pixel - 0.5

        return brentq(above_half, 1e-4, 0.7)

    def fringe(self, mm: np.ndarray, colour: str) -> np.ndarray:
        """How far a colour lies from green at the place equally far from a tile's sides: (dx, dy) in pixels."""
        facing = np.linalg.norm(mm[[1, 2, 0]] - mm[[2, 0, 1]], axis=1)
        place = facing @ mm / facing.sum()
        return self.picture(place, COLOURS.index(colour)) - self.picture(place, 1)

    def light(self) -> np.ndarray:
        """Light over the frame, 1 at the centre."""
        y, x = np.mgrid[0 : self.height, 0 : self.width]
        h2 = ((x - self.centre[0]) ** 2 + (y - self.centre[1]) ** 2) / self.half**2
        return (2.0 ** (-self.lens.falloff_stops * h2)).astype(np.float32)


class SmoothFrame(OutsideFrame):
    """The same with a blur that grows with h², as lenses' does: no cusp in the middle of the frame."""

    def growth(self, h: float) -> float:
        return h**2


def draw_sheet(
    frame: OutsideFrame, tiles: list[dict], colour: int, ink: float = 0.04, finer: int = FINER
) -> np.ndarray:
    """The sheet in one colour's light, every pixel, paper being 1; pixels are divided into `finer` by `finer`."""
    sheet = np.ones((frame.height, frame.width), np.float32)
    for tile in tiles:
        corners = frame.picture(np.array(tile["corners_mm"]), colour)
        reach = 8 * np.sqrt(np.linalg.eigvalsh(frame.covariance(corners.mean(axis=0), colour)).max()) + 3
        low = np.floor(corners.min(axis=0) - reach).astype(int)
        # A little larger than needed, to sizes that transform fast.
        high = low + [scipy.fft.next_fast_len(int(n)) for n in np.ceil(corners.max(axis=0) + reach) - low]
        if (high <= 0).any() or (low >= (frame.width, frame.height)).any():
            continue
        patch = _tile_patch(frame, tile, colour, low, high, finer)
        x0, y0 = np.maximum(low, 0)
        x1, y1 = np.minimum(high, (frame.width, frame.height))
        sheet[y0:y1, x0:x1] -= (1 - ink) * patch[y0 - low[1] : y1 - low[1], x0 - low[0] : x1 - low[0]]
    return sheet


def _tile_patch(frame, tile, colour, low, high, finer):
    """One blurred tile over the pixels low ≤ (x, y) < high: drawn finer, blurred, averaged over each pixel."""
    mm = np.array(tile["corners_mm"])
    steps = np.linspace(0, 1, 24, endpoint=False)[:, None]
    outline = np.concatenate([mm[i] + steps * (mm[(i + 1) % 3] - mm[i]) for i in range(3)])
    points = (frame.picture(outline, colour) - low + 0.5) * finer - 0.5
    across, down = (high - low) * finer
    patch = _filled(points, down, across).astype(np.float32)
    fy = (np.fft.fftfreq(patch.shape[0]) * finer).astype(np.float32)[:, None]
    fx = (np.fft.rfftfreq(patch.shape[1]) * finer).astype(np.float32)[None, :]
    place = _middle_of_seen(frame, frame.picture(mm, colour), frame.picture(outline, colour))
    # Points so many to a pixel make less than the pixel's own blur: each stands for its part of the area.
    blur = frame.transfer(place, colour, fx, fy) * np.sinc(fx / finer) * np.sinc(fy / finer)
    patch = scipy.fft.irfft2(scipy.fft.rfft2(patch) * blur, patch.shape)
    return patch.reshape(high[1] - low[1], finer, high[0] - low[0], finer).mean(axis=(1, 3))


def _middle_of_seen(frame, corners, outline):
    """Whose blur a tile has all over: its middle's, or that of what the frame's border leaves of it."""
    seen = ((outline >= 0) & (outline <= (frame.width - 1, frame.height - 1))).all(axis=1)
    return corners.mean(axis=0) if seen.all() or not seen.any() else outline[seen].mean(axis=0)


def _filled(points, down, across):
    """Which pixel centres lie in an outline, row by row: libraries' fills round its points to whole rows."""
    changes = np.zeros((down, across), bool)
    for (x0, y0), (x1, y1) in zip(points, np.roll(points, -1, axis=0), strict=True):
        rows = np.arange(max(int(np.ceil(min(y0, y1))), 0), min(int(np.ceil(max(y0, y1))), down))
        if len(rows):
            columns = np.ceil(x0 + (rows - y0) * (x1 - x0) / (y1 - y0)).astype(int).clip(0, across - 1)
            changes[rows, columns] ^= True
    return np.logical_xor.accumulate(changes, axis=1)


def expose(rng: np.random.Generator, planes: list[np.ndarray], light: np.ndarray) -> np.ndarray:
    """A Bayer mosaic (red first) of three planes: 30,000 e⁻ full scale, white at 75 %, 3 e⁻ read noise, 14 bit."""
    mosaic = np.empty(light.shape, np.float32)
    for row, column, colour in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        where = np.s_[row::2, column::2]
        electrons = 0.75 * 30_000 * planes[colour][where] * light[where]
        noisy = rng.poisson(electrons) + 3 * rng.standard_normal(electrons.shape)
        mosaic[where] = noisy * (15_000 / 30_000) + 512
    return np.clip(np.round(mosaic), 0, 15_512).astype(np.uint16)


def write_mosaic(
    path: Path, mosaic: np.ndarray, black: int = 512, white: int = 15_512, pattern: bytes = bytes([0, 1, 1, 2])
) -> None:
    """An uncompressed CFA DNG, tags written one by one."""
    matrix = [(1, 1), (0, 1), (0, 1), (0, 1), (1, 1), (0, 1), (0, 1), (0, 1), (1, 1)]
    tags = [
        (33421, 3, 2, (2, 2), False),
        (33422, 1, 4, pattern, False),
        (50706, 1, 4, bytes([1, 4, 0, 0]), False),
        (50707, 1, 4, bytes([1, 1, 0, 0]), False),
        (50708, 2, 0, "Outside renderer", False),
        (50710, 1, 3, bytes([0, 1, 2]), False),
        (50714, 3, 1, black, False),
        (50717, 3, 1, white, False),
        (50721, 10, 9, tuple(n for pair in matrix for n in pair), False),
        (50728, 5, 3, (1, 1, 1, 1, 1, 1), False),
        (50778, 3, 1, 21, False),
    ]
    tifffile.imwrite(path, mosaic, photometric=32803, planarconfig=1, extratags=tags, metadata=None)


def write_outside_session(
    folder: Path,
    layout_file: Path,
    lens: OutsideLens,
    size: tuple[int, int],
    sensor_mm: tuple[float, float],
    seed=1,
    kind: type[OutsideFrame] = OutsideFrame,
) -> OutsideFrame:
    """A folder with one target shot and one flat, and its session file."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    layout = json.loads(layout_file.read_text())
    frame = kind(lens, *size)
    light = frame.light()
    planes = [draw_sheet(frame, layout["tiles"], colour) for colour in range(3)]
    write_mosaic(folder / "sheet.dng", expose(rng, planes, light))
    write_mosaic(folder / "even.dng", expose(rng, [np.ones_like(light)] * 3, light))
    (folder / "target.json").write_text(layout_file.read_text())
    across, up = layout["rulers_mm"]
    (folder / "session.toml").write_text(
        f'[build]\nname = "Outside build"\n[camera]\nsensor_mm = [{sensor_mm[0]}, {sensor_mm[1]}]\n'
        f'[target]\nlayout = "target.json"\nrulers_measured_mm = [{across}, {up}]\n'
        '[[shot]]\nfile = "sheet.dng"\nshows = "target"\nf_number = 5.6\n'
        '[[shot]]\nfile = "even.dng"\nshows = "flat"\nf_number = 5.6\n'
    )
    return frame


def true_figures(frame: OutsideFrame, layout_file: Path) -> dict[tuple[int, int], dict]:
    """By (column, row) of every tile wholly in the frame: MTF50 by (leg, colour), fringing (dx, dy) by colour."""
    truth = {}
    for tile in json.loads(layout_file.read_text())["tiles"]:
        mm = np.array(tile["corners_mm"])
        corners = {c: frame.picture(mm, i) for i, c in enumerate(COLOURS)}
        green = corners["green"]
        if (green < 0).any() or (green > (frame.width - 1, frame.height - 1)).any():
            continue
        truth[tile["column"], tile["row"]] = {
            "mtf50": {(leg, c): frame.mtf50(corners[c], leg, i) for i, c in enumerate(COLOURS) for leg in LEGS},
            "fringe": {c: frame.fringe(mm, c) for c in ("red", "blue")},
            "corners": green,
        }
    return truth
