"""Every lean that a session shows: of series along the rail, of the blur of single shots, of the target."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import NORMAL_95, Camera, FieldStep, Figure, Setting
from lensbench.frame import half_diagonal
from lensbench.optics import GREEN_NM, effective_f_number, quarter_wave_focus
from lensbench.verdicts.assembly._blur_lean import blur_lean
from lensbench.verdicts.assembly._field_centre import field_centre

LONGEST_IMAGE, SHORTEST_IMAGE = 2.0, 0.5
"""Image distances in diagonals between which a lens's is taken to lie where it isn't measured (28°, 90°)."""


class LeanSeen(NamedTuple):
    """A lean of best focus against the sensor, in quarter-wave depths a half-diagonal, right and lower side.

    Attributes
    ----------
    of : str
        ``series along the rail`` or ``blur``.
    vector, covariance : ndarray, shape (2,) and (2, 2)
        Positive where the sensor meets the focus of what is nearer, so that best focus lies farther from the lens
        than it should. What a curved field slopes whose middle lies off the frame's is subtracted.
    turn_deg, turned : float, str
        By how much what was turned.
    sheet_out : bool
        Whether the target's own lean is subtracted.
    bowl : float
        Curvature of field where that is sure, else 0; its sign goes with that of `vector`.
    signed : bool
        Whether the sign is known.
    degrees : float
        Degrees of one depth a half-diagonal.
    setting : str
        Where it was seen.
    off_middle : float
        How much of a lean the subtracted slope is, in degrees.
    """

    of: str
    vector: NDArray[np.float64]
    covariance: NDArray[np.float64]
    turn_deg: float
    turned: str
    sheet_out: bool
    bowl: float
    signed: bool
    degrees: float
    setting: str
    off_middle: float

    def negated(self) -> LeanSeen:
        """The same with the other sign."""
        return self._replace(vector=-self.vector, bowl=-self.bowl)


def leans_of_rails(settings: Sequence[Setting], camera: Camera, pupil_ratio: float) -> Iterator[LeanSeen]:
    """Leans of series along the rail, the target's own subtracted where it is known."""
    pitch = camera.pixel_pitch_um
    for setting in settings:
        lean = setting.focus.lean if setting.focus else None
        m = setting.magnification.value if setting.magnification else 0.0
        if lean is None or pitch is None or setting.focus is None or not (m or lean.sensor_deg):
            continue
        seen = lean.sensor_deg or (lean.right_away_deg, lean.bottom_away_deg)
        scale = 1.0 if lean.sensor_deg else m
        depth = _depth_mm(setting, pupil_ratio) or setting.focus.depth_mm.value * m**2
        degrees = _degrees_of_a_depth(depth, camera.size_px, pitch)
        value = scale * np.array([part.value for part in seen]) / degrees
        sigma = scale * np.array([part.half_width for part in seen]) / NORMAL_95 / degrees
        slope, unsure = field_centre(setting, settings, camera).slope(*_bowl(setting.focus.field, m**2 / depth))
        yield LeanSeen(
            "series along the rail", value - slope, np.diag(sigma**2) + unsure, setting.lens_turn_deg,
            setting.turned, lean.sensor_deg is not None, 0.0, True, degrees, setting.label,
            degrees * float(np.hypot(*slope)),
        )  # fmt: skip


def _bowl(field: Sequence[FieldStep], depths: float) -> tuple[float, float]:
    """What the outermost step of a field makes of its curvature at h = 1, and its sigma; `depths` a mm of rail."""
    if not field:
        return 0.0, 0.0
    step = field[-1]
    scale = depths / step.h**2
    half = np.hypot(step.sagittal_mm.half_width, step.tangential_mm.half_width) / 2
    return scale * (step.sagittal_mm.value + step.tangential_mm.value) / 2, scale * float(half) / NORMAL_95


def leans_of_blur(settings: Sequence[Setting], camera: Camera, pupil_ratio: float) -> Iterator[LeanSeen]:
    """Leans of the blur of single shots, at the widest aperture that was shot (at several turns, if at any)."""
    pitch = camera.pixel_pitch_um
    marked = [s for s in settings if s.f_number is not None and s.sharpness]
    turns = {
        f: len({(s.lens_turn_deg % 360, s.turned) for s in marked if s.f_number == f})
        for f in {s.f_number for s in marked}
    }
    if not turns or pitch is None:
        return
    widest = min(turns, key=lambda f: (turns[f] < 2, f))
    for setting in marked:
        fit = blur_lean(setting, camera, pupil_ratio) if setting.f_number == widest else None
        if fit is not None:
            sure = abs(fit.bowl) > 3 * fit.bowl_sigma
            degrees = _degrees_of_a_depth(fit.depth_mm, camera.size_px, pitch)
            slope, unsure = field_centre(setting, settings, camera).slope(fit.bowl, fit.bowl_sigma)
            yield LeanSeen(
                "blur", fit.lean - slope, fit.covariance + unsure, setting.lens_turn_deg, setting.turned, False,
                fit.bowl if sure else 0.0, False, degrees, setting.label, degrees * float(np.hypot(*slope)),
            )  # fmt: skip


class SheetLean(NamedTuple):
    """What the target's own lean adds, in depths a half-diagonal at one image distance (in diagonals).

    `nearest`, `farthest` are the image distances between which the lens's lies; `sigma` belongs to `vector`.
    """

    vector: NDArray[np.float64]
    sigma: NDArray[np.float64]
    nearest: float
    farthest: float

    @property
    def most(self) -> float:
        """The longest that it may be."""
        return self.farthest * float(np.hypot(*(np.abs(self.vector) + 2 * self.sigma)))

    @property
    def least(self) -> float:
        """The shortest that it may be."""
        return self.nearest * float(np.hypot(*np.maximum(np.abs(self.vector) - 2 * self.sigma, 0.0)))


def sheet_lean(settings: Sequence[Setting], camera: Camera, depth_degrees: float) -> SheetLean | None:
    """The target's lean from the keystone: what lies farther away by a share of the distance is drawn smaller.

    None where no shot shows it, or it can't be distinguished from decentring.
    """
    pitch = camera.pixel_pitch_um
    for setting in settings:
        alignment = setting.geometry.alignment if setting.geometry else None
        if alignment is None or setting.magnification is None or pitch is None:
            continue
        if setting.lens_turn_deg or not alignment.distinguished_from_decentring:
            continue
        parts = alignment.wider_left_percent, alignment.wider_top_percent
        reach = half_diagonal(camera.size_px) / np.asarray(camera.size_px) / 100
        share, sigma = _values(parts) * reach, _sigmas(parts) * reach
        diagonal_mm = 2 * half_diagonal(camera.size_px) * pitch / 1000
        depth_mm = np.tan(np.radians(depth_degrees)) * diagonal_mm / 2
        # What lies farther by a share of its distance is imaged nearer by m times it of the image distance.
        scale = setting.magnification.value * diagonal_mm / depth_mm
        view = setting.geometry.view if setting.geometry else None
        known = view.image_distance_mm.value / diagonal_mm if view and view.image_distance_mm else None
        return SheetLean(-share * scale, sigma * scale, known or SHORTEST_IMAGE, known or LONGEST_IMAGE)
    return None


def _values(parts: tuple[Figure, Figure]) -> NDArray[np.float64]:
    return np.array([part.value for part in parts])


def _sigmas(parts: tuple[Figure, Figure]) -> NDArray[np.float64]:
    return np.array([part.half_width for part in parts]) / NORMAL_95


def _depth_mm(setting: Setting, pupil_ratio: float) -> float | None:
    """A quarter-wave depth at the sensor; None where the f-number isn't known."""
    if setting.f_number is None:
        return None
    magnification = setting.magnification.value if setting.magnification else 0.0
    effective = effective_f_number(setting.f_number, magnification, pupil_ratio)
    return float(quarter_wave_focus(effective, GREEN_NM * 1e-6))


def _degrees_of_a_depth(depth_mm: float, size: tuple[int, int], pitch_um: float) -> float:
    return float(np.degrees(np.arctan(depth_mm / (half_diagonal(size) * pitch_um / 1000))))
