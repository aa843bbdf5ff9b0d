"""Builds with planted faults, and the findings that their shots would give, by the simulated lens's own pupil.

Nothing is rendered: contrast at every tile comes from the response of the lens there, with the noise of measured
edges put on; keystone and centres are true ones with theirs. What `measure_focus` makes of a series is measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from lensbench.analysers.focus import FocusShot, Sheet, measure_focus
from lensbench.findings import (
    NORMAL_95,
    Camera,
    EdgeSharpness,
    Figure,
    Focus,
    Fringing,
    Geometry,
    Position,
    Setting,
    Sharpness,
    TileSharpness,
)
from lensbench.frame import centre_of, h_of, half_diagonal, radial_axes
from lensbench.optics import effective_f_number, quarter_wave_focus
from lensbench.simulator import camera as simulated
from lensbench.simulator.lens import Lens, turned
from lensbench.simulator.local_optics import LocalOptics
from lensbench.simulator.outlines import incentres
from lensbench.simulator.projection import Projection
from lensbench.simulator.response import mtf50_along
from lensbench.simulator.scene import Scene
from lensbench.target.layout import make_layout
from tests.invented_centres import falloff_about, fringing_about, geometry_about

SENSOR = simulated.Camera()
CAMERA = Camera(SENSOR.size, SENSOR.sensor_mm, 1000 * SENSOR.pitch_mm)
MAGNIFICATION = 0.2
LAYOUT = make_layout(SENSOR.sensor_mm, MAGNIFICATION, "coarse")
NOISE = 0.008
"""Relative noise of an MTF50: spread of green edges and what the tile's place in a zone adds."""

KEYSTONE_PERCENT, CENTRE_MM = 0.008, (0.03, 0.12, 0.12, 0.2)
"""Standard deviations: of the keystone, and of the centres of distortion, red and blue fringing, and falloff."""


@dataclass(frozen=True)
class Build:
    """A build: its lens, what of it leans or lies off, and how well the target stood.

    `lean_deg` is the lens's, `camera_deg` that of sensor or mount, `front_deg` that of the front group; `off_mm`
    is how far the whole lens lies off, `part_off_mm` one part of it (its lateral colour) against the rest.
    `marked` is what the iris says where it sticks.
    """

    lens: Lens
    f_number: float
    lean_deg: tuple[float, float] = (0.0, 0.0)
    camera_deg: tuple[float, float] = (0.0, 0.0)
    front_deg: tuple[float, float] = (0.0, 0.0)
    off_mm: tuple[float, float] = (0.0, 0.0)
    part_off_mm: tuple[float, float] = (0.0, 0.0)
    sheet_deg: tuple[float, float] = (0.0, 0.0)
    marked: float | None = None
    seed: int = 0
    rng: np.random.Generator = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "rng", np.random.default_rng(self.seed))

    def depths(self, lean_deg: tuple[float, float]) -> float:
        """By how many quarter-wave depths a lean defocuses a corner."""
        reach = half_diagonal(SENSOR.size) * SENSOR.pitch_mm * np.tan(np.radians(np.hypot(*lean_deg)))
        return float(reach / quarter_wave_focus(effective_f_number(self.f_number, MAGNIFICATION), 0.00055))

    def projection(self, turn_deg: float, part: str, defocus_mm: float, rail_mm: float = 0.0) -> Projection:
        """Sheet to picture with the lens (or its front group) turned."""
        whole = turn_deg if part == "lens" else 0.0
        front = turned(self.front_deg, turn_deg)
        lean = turned(self.lean_deg, whole) + front + np.asarray(self.camera_deg)
        off = turned(self.off_mm, whole)
        lens = replace(self.lens, lean_deg=tuple(lean), decentre_mm=tuple(off))
        scene = Scene(magnification=MAGNIFICATION, tilt_deg=self.sheet_deg, defocus_mm=defocus_mm, rail_mm=rail_mm)
        return Projection(lens, SENSOR, scene)

    def tiles(self, projection: Projection, every: int = 2) -> list[TileSharpness]:
        """Sagittal and tangential MTF50 of every other tile in the frame, with noise."""
        places = incentres(LAYOUT.corners_mm)
        at = projection.to_picture(places, "green")
        inside = np.flatnonzero(((at > 120) & (at < np.array(SENSOR.size) - 121)).all(axis=1))
        inside = inside[(LAYOUT.column[inside] + LAYOUT.row[inside]) % every == 0]
        optics, rows = LocalOptics(projection, self.f_number), []
        for tile in inside:
            x, y = (float(v) for v in at[tile])
            outward, around = radial_axes(x, y, SENSOR.size)
            true = mtf50_along(optics.response("green", places[tile]), np.stack([around, outward]))[0]
            seen = true * (1 + NOISE * self.rng.standard_normal(2))
            figures = [Figure.of(float(v), NORMAL_95 * NOISE * float(v), "cy/px") for v in seen]
            h, column, row = float(h_of(x, y, SENSOR.size)), int(LAYOUT.column[tile]), int(LAYOUT.row[tile])
            rows.append(TileSharpness(column, row, "green", x, y, h, *figures, True))
        return rows

    def setting(
        self, turn_deg: float = 0.0, part: str = "lens", focus: Focus | None = None, tiles=None
    ) -> Setting:
        """What one target shot and one flat show, focused by hand."""
        depth = float(quarter_wave_focus(effective_f_number(self.f_number, MAGNIFICATION), 0.00055))
        if tiles is None:
            tiles = self.tiles(self.projection(turn_deg, part, float(self.rng.normal(0, 0.4 * depth))))
        return Setting(
            f_number=self.marked or self.f_number,
            lens_turn_deg=turn_deg,
            turned=part if turn_deg else "lens",
            magnification=Figure.of(MAGNIFICATION, 1e-4, "×"),
            sharpness=Sharpness(edges=_edges(tiles)),
            geometry=self._geometry(turn_deg if part == "lens" else 0.0),
            fringing=self._fringing(turn_deg if part == "lens" else 0.0),
            falloff=falloff_about(self._centre(self._off(turn_deg, part), 3)),
            focus=focus,
        )

    def series(self, turn_deg: float = 0.0, part: str = "lens", shots: int = 7) -> Setting:
        """What a series along the rail shows, from ends well beyond where the field's curvature and lean reach."""
        depth = float(quarter_wave_focus(effective_f_number(self.f_number, MAGNIFICATION), 0.00055))
        lean = turned(self.lean_deg, turn_deg) + np.asarray(self.camera_deg) + turned(self.front_deg, turn_deg)
        deep = 2.0 * depth + half_diagonal(SENSOR.size) * SENSOR.pitch_mm * np.tan(np.radians(np.hypot(*lean)))
        # Curved by a positive W, the field is sharp at nearer things outside, by W / (λ / 4) depths.
        bow = -self.lens.curvature_um / (0.55 / 4) * depth
        low, high = min(bow, 0.0) - deep, max(bow, 0.0) + deep
        rail = np.linspace(low, high, max(shots, round((high - low) / depth))) / MAGNIFICATION**2
        rows = [self.tiles(self.projection(turn_deg, part, 0.0, float(r))) for r in rail]
        shot = [
            FocusShot(f"r{k}.dng", float(r), tiles) for k, (r, tiles) in enumerate(zip(rail, rows, strict=True))
        ]
        sheet = tuple(
            Figure.of(angle + 0.01 * self.rng.standard_normal(), NORMAL_95 * 0.01, "°") for angle in self.sheet_deg
        )
        scale = MAGNIFICATION / SENSOR.pitch_mm
        focus = measure_focus(shot, SENSOR.size, 1000 * SENSOR.pitch_mm, Sheet(scale, MAGNIFICATION, sheet))
        return self.setting(turn_deg, part, focus, rows[int(np.argmin(np.abs(rail)))])

    def _off(self, turn_deg: float, part: str) -> np.ndarray:
        return turned(self.off_mm, turn_deg if part == "lens" else 0.0)

    def _centre(self, off_mm: np.ndarray, of: int) -> Position:
        sigma = CENTRE_MM[of] / SENSOR.pitch_mm
        at = np.asarray(off_mm) / SENSOR.pitch_mm + centre_of(SENSOR.size) + sigma * self.rng.standard_normal(2)
        x, y = (Figure.of(float(v), NORMAL_95 * sigma, "px") for v in at)
        return Position(x, y)

    def _geometry(self, turn_deg: float) -> Geometry:
        centre = self._centre(self._off(turn_deg, "lens"), 0)
        distance = Projection(self.lens, SENSOR, Scene(magnification=MAGNIFICATION)).object_distance_mm
        seen = np.asarray(SENSOR.sensor_mm) / MAGNIFICATION
        true = 100 * seen * np.tan(np.radians(self.sheet_deg)) / distance
        parts = [
            Figure.of(float(v + KEYSTONE_PERCENT * self.rng.standard_normal()), NORMAL_95 * KEYSTONE_PERCENT, "%")
            for v in true
        ]
        return geometry_about(centre, centre_of(SENSOR.size), parts[0], parts[1])

    def _fringing(self, turn_deg: float) -> Fringing:
        off = self._off(turn_deg, "lens") + turned(self.part_off_mm, turn_deg)
        centres = {name: self._centre(off, of) for of, name in ((1, "red"), (2, "blue"))}
        return fringing_about(centres, centre_of(SENSOR.size))


def _edges(tiles: Sequence[TileSharpness]) -> list[EdgeSharpness]:
    return [
        EdgeSharpness(t.column, t.row, leg, direction, t.channel, t.x, t.y, t.h, 0.0, getattr(t, direction), True)
        for t in tiles
        for leg, direction in (("along", "sagittal"), ("across", "tangential"))
    ]
