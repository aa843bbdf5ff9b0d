"""Towards which side a picture grows softer: an arrow of sharpness over the frame, and the side in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import NORMAL_95, UNTOLD, Camera, Figure, Setting, SofterSide, TurnTest
from lensbench.frame import centre_of, half_diagonal
from lensbench.robust import robust_sigma

NOT_CHANCE = 9.21
"""Squared length over its covariance that noise makes an arrow pass once in a hundred times (χ², 2 degrees)."""

SOFTER = 10.0
"""Percent of MTF50 for one half-diagonal from which an asymmetric picture counts (chosen by experience)."""

LEAST_EDGES = 40
"""Edges below which the asymmetry of sharpness is not looked for (chosen by experience)."""

OUTLIER = 4.0
"""Standard deviations beyond which an edge's sharpness is rejected from the fit (common practice)."""


class Arrow(NamedTuple):
    """A measured vector (x right, y down) with the standard deviations of its parts, and its unit."""

    vector: NDArray[np.float64]
    spread: NDArray[np.float64]
    unit: str


def softer_side(settings: Sequence[Setting], camera: Camera, tests: Sequence[TurnTest]) -> SofterSide | None:
    """Which side is softer than the one across from it, in the setting that shows it most.

    Parameters
    ----------
    settings : sequence of Setting
        With their sharpness; only those with the lens turned as in the first one count.
    camera : Camera
        For the frame's size.
    tests : sequence of TurnTest
        The turn tests made, whose answer is taken over; without one a series along the rail may tell.

    Returns
    -------
    SofterSide or None
        None where the picture is about as sharp on all sides.
    """
    plain = [setting for setting in settings if setting.lens_turn_deg == settings[0].lens_turn_deg]
    arrows = [(sharpness_arrow(setting, camera), setting) for setting in plain]
    asymmetric = [(arrow, setting) for arrow, setting in arrows if arrow is not None and _counts(arrow)]
    if not asymmetric:
        return None
    arrow, setting = max(asymmetric, key=lambda pair: float(np.hypot(*pair[0].vector)))
    cause = _cause(settings, tests)
    return SofterSide(side_in_words(-arrow.vector), _across_frame(arrow, camera), setting.label, cause)


def _cause(settings: Sequence[Setting], tests: Sequence[TurnTest]) -> str:
    """What makes a side softer: by the turn test, or else by a rail series that knows how the target leaned."""
    for test in tests:
        if test.of == "sharpness":
            return test.turned if test.cause == "lens" else test.cause
    for setting in settings:
        lean = setting.focus.lean if setting.focus else None
        if lean and lean.sensor_deg:
            leans = any(not figure.low <= 0 <= figure.high for figure in lean.sensor_deg)
            return "lens or mount" if leans else "target"
    return UNTOLD


def _counts(arrow: Arrow) -> bool:
    sure = float(np.square(arrow.vector / arrow.spread).sum()) > NOT_CHANCE
    return sure and float(np.hypot(*arrow.vector)) > SOFTER


def _across_frame(arrow: Arrow, camera: Camera) -> Figure:
    """How much softer the border is at the arrow's tail than at its head, in percent."""
    way = arrow.vector / np.hypot(*arrow.vector)
    half = np.asarray(camera.size_px) / 2 / half_diagonal(camera.size_px)
    reach = 2 * float(np.min(half / np.maximum(np.abs(way), 1e-9)))
    length = reach * float(np.hypot(*arrow.vector)) / 100
    unsure = NORMAL_95 * reach * float(np.hypot(*(way * arrow.spread))) / 100
    value, low, high = (100 * -np.expm1(-part) for part in (length, length - unsure, length + unsure))
    return Figure(float(value), float(low), float(high), "%")


def side_in_words(vector: NDArray) -> str:
    """The side of the picture that a vector (x right, y down) points to: ``right``, ``top left`` and so on."""
    x, y = vector
    sideways, upright = ("left" if x < 0 else "right"), ("top" if y < 0 else "bottom")
    # A way counts as plainly sideways or upright when one part is less than 0.4 of the other (22°).
    if abs(y) < 0.4 * abs(x):
        return sideways
    return upright if abs(x) < 0.4 * abs(y) else f"{upright} {sideways}"


def sharpness_arrow(setting: Setting, camera: Camera) -> Arrow | None:
    """Towards which side the setting grows sharper: percent of MTF50 for one half-diagonal.

    From all used edges of the reference channel; what falls off evenly to all sides, and otherwise for edges along
    and across the radius, is subtracted first.
    """
    edges = [e for e in (setting.sharpness.edges if setting.sharpness else []) if e.used and e.mtf50]
    channel = next((c for c in ("green", "grey") if any(e.channel == c for e in edges)), None)
    edges = [e for e in edges if e.channel == channel]
    if len(edges) < LEAST_EDGES:
        return None
    cx, cy = centre_of(camera.size_px)
    x, y = (np.array([(e.x - cx, e.y - cy) for e in edges]) / half_diagonal(camera.size_px)).T
    square = x * x + y * y
    across = np.array([{"tangential": 1.0, "sagittal": -1.0}.get(e.direction, 0.0) for e in edges])
    level = np.log([e.mtf50.value for e in edges if e.mtf50])
    columns = np.stack(
        [x, y, np.ones_like(x), square, square**2, across, across * square, across * square**2], axis=1
    )
    keep = np.ones(len(edges), bool)
    for _ in range(4):
        terms = np.linalg.lstsq(columns[keep], level[keep], rcond=None)[0]
        residual = level - columns @ terms
        keep = np.abs(residual) <= OUTLIER * max(robust_sigma(residual[keep], about=0.0), 1e-9)
    variance = float(np.square(residual[keep]).sum()) / max(int(keep.sum()) - columns.shape[1], 1)
    covariance = variance * np.linalg.pinv(columns[keep].T @ columns[keep], hermitian=True)
    return Arrow(100 * terms[:2], np.maximum(100 * np.sqrt(np.diagonal(covariance)[:2]), 1e-9), "%")
