"""Plain benches for the simulator's tests: a grey camera, a lens that does one thing, one blade on the axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.simulator.camera import Camera
from lensbench.simulator.drawing import Piece, draw
from lensbench.simulator.lens import Colour, Lens
from lensbench.simulator.local_optics import LocalOptics
from lensbench.simulator.projection import Projection
from lensbench.simulator.response import Response
from lensbench.simulator.scene import Print, Scene
from lensbench.target.layout import Layout, make_layout

PITCH_MM = 0.006


def grey_camera(size: tuple[int, int] = (200, 160), **changes) -> Camera:
    """A camera of 6 µm pixels without colours."""
    sensor = (size[0] * PITCH_MM, size[1] * PITCH_MM)
    return Camera(size, sensor, ((0,),), ("grey",), **{"hot": 0, "dead": 0} | changes)


def colour_camera(size: tuple[int, int] = (480, 320), **changes) -> Camera:
    """A Bayer camera of 6 µm pixels."""
    return Camera(size, (size[0] * PITCH_MM, size[1] * PITCH_MM), **changes)


def even_lens(**changes) -> Lens:
    """A lens that passes even light; everything else as given."""
    return Lens(**{"cos_power": 0.0, "colours": {"grey": Colour((0.55,))}} | changes)


def gaussian_lens(sigma_px: float, **changes) -> Lens:
    """A lens that blurs by a Gaussian and nothing else, in every colour alike."""
    names = ("red", "green", "blue", "grey")
    return even_lens(
        **{"diffraction": False, "colours": {name: Colour((0.55,), gaussian_px=sigma_px) for name in names}}
        | changes
    )


def far_scene(**changes) -> Scene:
    """A sheet so far away that marked and effective f-number agree to 1e-6; white is 1, ink is 0."""
    return Scene(**{"magnification": 1e-6, "white": 1.0, "print": Print(black=0.0)} | changes)


def blade_px(angle_deg: float, size_px: tuple[float, float], middle_px=(0.0, 0.0)) -> NDArray[np.float64]:
    """Corners of a blade in pixels from the frame's centre; its long side at an angle, anticlockwise as seen."""
    cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    along, across = np.array([cos, -sin]) * size_px[0] / 2, np.array([sin, cos]) * size_px[1] / 2
    return np.array(middle_px) + np.array([-along - across, along - across, along + across, across - along])


def drawn(lens: Lens, f_number: float, corners_px: NDArray, camera: Camera | None = None, **scene):
    """One blade without noise; light (white 1, blade 0) and the truth of its edges."""
    camera, stand = camera or grey_camera(), far_scene(**scene)
    # At 1e-6 × the sheet is a million times larger than its picture.
    corners = np.asarray(corners_px) * PITCH_MM / stand.magnification
    edges = tuple((i, (i + 1) % len(corners)) for i in range(len(corners)))
    piece = Piece(corners, edges, corners.mean(axis=0), 0)
    light, truth, _ = draw(LocalOptics(Projection(lens, camera, stand), f_number), [piece])
    return light, truth


def response_of(lens: Lens, f_number: float, channel: str = "grey", position_mm=(0.0, 0.0), **scene) -> Response:
    """The response at a place of the sensor."""
    stand = far_scene(**scene)
    optics = LocalOptics(Projection(lens, grey_camera(), stand), f_number)
    return optics.response(channel, np.asarray(position_mm) / stand.magnification)


def small_layout(camera: Camera, magnification: float = 0.1, share: float = 0.6) -> Layout:
    """A target of few tiles, which fills a share of the sheet that would be printed for a frame."""
    frame = tuple(side / share for side in camera.sensor_mm)
    whole = make_layout(frame, magnification, "coarse")
    near = np.abs(whole.corners_mm).max(axis=1) < np.array(camera.sensor_mm) / magnification / 2 * 1.02
    kept = near.all(axis=1)
    return Layout(
        whole.pitch_mm,
        whole.columns,
        whole.rows,
        whole.rulers_mm,
        whole.column[kept],
        whole.row[kept],
        whole.corners_mm[kept],
    )
