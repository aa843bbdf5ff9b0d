"""Dirt: shadows on the light, and what is true of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lensbench.frame import centre_of, half_diagonal
from lensbench.shot import Shot
from lensbench.simulator.camera import Camera
from lensbench.simulator.circles import common_area
from lensbench.simulator.lens import Dirt, turned
from lensbench.simulator.panel import Panel
from lensbench.simulator.projection import Projection
from lensbench.simulator.rendering import Patch, blurred_polygon, channel_parts, patch_around
from lensbench.simulator.response import Response, Surround

MARGIN_PX = 12.0
"""A window reaches this far beyond a shadow."""

SEGMENT_PX = 160.0
"""Long fibres are drawn in pieces of about this length."""


@dataclass(frozen=True)
class MarkTruth:
    """What is true of one mark in one shot.

    Attributes
    ----------
    x, y : float
        The middle of its shadow in pixels.
    kind, place : str
        ``spot``, ``fibre`` or ``patch``; and what it lies on, in words.
    width_px : float
        Across its shadow at half of its depth, before the pixels' own blur.
    length_px : float
        Along it, for spots and patches the width.
    depth_percent : float
        Of the light around, in the shadow's middle before the pixels' own blur; positive is darker.
    signal_to_noise : float
        Of the filter matched to the shadow in this shot.
    """

    x: float
    y: float
    kind: str
    place: str
    width_px: float
    length_px: float
    depth_percent: float
    signal_to_noise: float


def dirt_in_picture(projection: Projection, panel: Panel | None = None) -> list[Dirt]:
    """All marks as they lie in this shot: the lens' turned with it, the panel's moved with that."""
    marks = list(projection.camera.dirt)
    degrees = projection.scene.lens_turn_deg
    for mark in projection.lens.dirt:
        x, y = turned((mark.x_mm, mark.y_mm), degrees)
        marks.append(replace(mark, x_mm=float(x), y_mm=float(y), angle_deg=mark.angle_deg + degrees))
    if panel is not None:
        reach = half_diagonal(projection.camera.size) * projection.camera.pitch_mm
        for mark in panel.dirt:
            x, y = mark.x_mm + panel.shift[0] * reach, mark.y_mm + panel.shift[1] * reach
            marks.append(replace(mark, x_mm=x, y_mm=y))
    return marks


def add_dirt(canvas: Shot, marks: list[Dirt], camera: Camera, effective: float) -> list[MarkTruth]:
    """Add the shadows of marks to the light.

    Parameters
    ----------
    canvas : Shot
        Light on the samples over what clips the most sensitive channel; changed.
    marks : list of Dirt
        As they lie in this shot.
    camera : Camera
    effective : float
        Effective f-number.
    """
    return [truth for mark in marks if (truth := _Shadow(mark, camera, effective).fall_on(canvas)) is not None]


@dataclass(frozen=True)
class _Shadow:
    """One mark's shadow, in pixels."""

    mark: Dirt
    camera: Camera
    effective: float

    @property
    def centre(self) -> NDArray[np.float64]:
        """Its middle in the picture."""
        return self._pixels(self.mark.x_mm, self.mark.y_mm)

    def _pixels(self, x_mm: float, y_mm: float) -> NDArray[np.float64]:
        return np.array([x_mm, y_mm]) / self.camera.pitch_mm + np.array(centre_of(self.camera.size))

    @property
    def mark_px(self) -> float:
        """Width of the mark itself."""
        return self.mark.width_mm / self.camera.pitch_mm

    @property
    def blur_px(self) -> float:
        """Diameter of the disc that its shadow is blurred over."""
        return self.mark.distance_mm / self.effective / self.camera.pitch_mm

    @property
    def length_px(self) -> float:
        """Length of a fibre itself."""
        return self.mark.length_mm / self.camera.pitch_mm

    def across(self, t: float) -> float:
        """Depth at a distance from the middle (of a fibre: from its middle line), as a part of the light."""
        radius, blur = self.mark_px / 2, self.blur_px / 2
        if self.mark.kind == "patch":
            sigma = np.hypot(self.mark_px / 2.3548, blur / 2)  # a disc's deviation is half its radius
            return self.mark.opacity * (self.mark_px / 2.3548 / sigma) ** 2 * np.exp(-(t**2) / (2 * sigma**2))
        if blur == 0:
            return self.mark.opacity * (abs(t) <= radius)
        if self.mark.kind == "spot":
            return self.mark.opacity * float(common_area(radius, blur, abs(t))) / (np.pi * blur**2)
        ends = np.clip(np.array([t - radius, t + radius]) / blur, -1, 1)
        return self.mark.opacity * float(np.diff(ends * np.sqrt(1 - ends**2) + np.arcsin(ends))[0]) / np.pi

    def width_px(self) -> float:
        """Width at half depth."""
        depth = self.across(0.0)
        if self.blur_px == 0 and self.mark.kind != "patch":
            return self.mark_px
        reach = 2 * (self.mark_px + self.blur_px)
        return 2 * brentq(lambda t: (self.across(t) / depth) - 0.5, 0, reach)

    def fall_on(self, canvas: Shot) -> MarkTruth | None:
        """Darken the light, and say what is true; None where the shadow misses the frame."""
        patch, image = self._image()
        squared = 0.0
        for channel in canvas.channels:
            for samples, taken in channel_parts(canvas, channel, patch):
                squared += self._signal(samples, image[taken], channel)
                samples *= 1 - image[taken]
        if squared == 0:
            return None
        width = self.width_px()
        length = self.length_px if self.mark.kind == "fibre" else width
        depth = 100 * float(self.across(0.0))
        return MarkTruth(
            float(self.centre[0]),
            float(self.centre[1]),
            self.mark.kind,
            self.mark.place,
            width,
            length,
            depth,
            float(np.sqrt(squared)),
        )

    def _signal(self, light: NDArray, depth: NDArray, channel: str) -> float:
        """What some samples add to the squared signal to noise of the matched filter."""
        camera = self.camera
        electrons = light.astype(np.float64) * camera.sensitivity[channel] * camera.full_well
        noise = electrons + camera.read_noise**2 + (camera.pixel_gain * electrons) ** 2
        return float(np.sum((depth * electrons) ** 2 / noise))

    def _image(self) -> tuple[Patch, NDArray[np.float32]]:
        """The shadow's depth on a patch of the frame."""
        if self.mark.kind == "patch":
            return self._soft_image()
        response = Response(Surround(None, disc_px=self.blur_px, fill=self.camera.fill), None)
        outlines = [self._disc()] if self.mark.kind == "spot" else self._band()
        margin = int(np.ceil(MARGIN_PX + self.blur_px / 2))
        patches = [patch_around(outline, margin, self.camera.size) for outline in outlines]
        whole = _around([patch for patch in patches if patch is not None])
        image = np.zeros((whole.height, whole.width), np.float32)
        for outline, patch in zip(outlines, patches, strict=True):
            if patch is not None:
                top, left = patch.top - whole.top, patch.left - whole.left
                image[top : top + patch.height, left : left + patch.width] += blurred_polygon(
                    outline, patch, response
                )
        return whole, image * np.float32(self.mark.opacity)

    def _soft_image(self) -> tuple[Patch, NDArray[np.float32]]:
        sigma = np.hypot(self.mark_px / 2.3548, self.blur_px / 4)
        low, high = np.floor(self.centre + np.array([[-1], [1]]) * 5 * sigma).astype(int)
        x, y = np.arange(low[0], high[0]), np.arange(low[1], high[1])
        across, down = (np.exp(-((a - c) ** 2) / (2 * sigma**2)) for a, c in zip((x, y), self.centre, strict=True))
        image = (self.across(0.0) * down[:, None] * across).astype(np.float32)
        return Patch(int(low[0]), int(low[1]), len(x), len(y)), image

    def _disc(self) -> NDArray[np.float64]:
        around = np.linspace(0, 2 * np.pi, 97)[:-1]
        # Chords cut a little off; the radius makes up for it.
        radius = self.mark_px / 2 * np.sqrt(around[1] / np.sin(around[1]))
        return self.centre + radius * np.stack([np.cos(around), np.sin(around)], axis=-1)

    def _band(self) -> list[NDArray[np.float64]]:
        """Pieces of a curved band, end to end."""
        count = max(int(np.ceil(self.length_px / SEGMENT_PX)), 1)
        s = np.linspace(-0.5, 0.5, 24 * count + 1)
        direction = np.radians(self.mark.angle_deg) + self.mark.bend * s
        line = self.length_px * _bow(s, direction, self.mark.bend)
        aside = self.mark_px / 2 * np.stack([np.sin(direction), np.cos(direction)], axis=-1)
        one, other = self.centre + line + aside, self.centre + line - aside
        cuts = range(0, 24 * count, 24)
        return [np.concatenate([one[i : i + 25], other[i : i + 25][::-1]]) for i in cuts]


def _bow(s: NDArray, direction: NDArray, bend: float) -> NDArray[np.float64]:
    """Points of an arc of unit length about its middle, y down."""
    middle = np.interp(0.0, s, direction)
    if abs(bend) < 1e-9:
        return s[:, None] * np.array([np.cos(middle), -np.sin(middle)])
    return np.stack([np.sin(direction) - np.sin(middle), np.cos(direction) - np.cos(middle)], axis=-1) / bend


def _around(patches: list[Patch]) -> Patch:
    """The patch that holds all of several; an empty one where there are none."""
    if not patches:
        return Patch(0, 0, 0, 0)
    left, top = min(p.left for p in patches), min(p.top for p in patches)
    right, bottom = max(p.left + p.width for p in patches), max(p.top + p.height for p in patches)
    return Patch(left, top, right - left, bottom - top)
