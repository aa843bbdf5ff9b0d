"""How sheet, lens and camera are arranged in one shot, how the sheet was printed and how it is lit."""

from __future__ import annotations

from dataclasses import dataclass, field

from lensbench.simulator.lens import Pair


@dataclass(frozen=True)
class Print:
    """The sheet as the printer made it.

    Attributes
    ----------
    scale : (float, float)
        Printed over designed size, across and up.
    ink_spread_mm : float
        How far every edge moved outwards into the white.
    raggedness_mm, dot_mm : float
        Standard deviation of the edge about its line, and the length over which it is correlated.
    black : float
        Light of the ink over that of the paper.
    light_traps : tuple of (int, int)
        Columns and rows of tiles that are holes over black, and send back no light.
    """

    scale: Pair = (1.0, 1.0)
    ink_spread_mm: float = 0.0
    raggedness_mm: float = 0.0
    dot_mm: float = 0.04
    black: float = 0.04
    light_traps: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class Scene:
    """One shot's set-up.

    Attributes
    ----------
    magnification : float
        At which the lens is focused (on the axis, before any rail move).
    rail_mm : float
        How much farther than that the sheet is, the focus untouched.
    defocus_mm : float
        How far beyond the focus the sensor is; a refocusing error.
    turn_deg : float
        The sheet turned anticlockwise as seen in the picture.
    tilt_deg : (float, float)
        The sheet leaning away: positive where its right side (its lower side) is farther away.
    shift_mm : (float, float)
        The sheet's centre from the axis, x right, y down, on the sheet.
    mirrored : bool
        The sheet seen from its back.
    lens_turn_deg : float
        The lens turned in its mount, anticlockwise as seen in the picture (clockwise looking into the lens).
    white : float
        Light of the paper on the axis in the most sensitive channel, over the clipping point.
    light_slope : (float, float)
        Part by which the light grows from the frame's centre to its right (lower) border.
    motion_px : (float, float)
        Shake: how far the picture moved, evenly, during the exposure.
    shutter_s, iso : float
        What the camera writes down.
    """

    magnification: float = 0.1
    rail_mm: float = 0.0
    defocus_mm: float = 0.0
    turn_deg: float = 0.0
    tilt_deg: Pair = (0.0, 0.0)
    shift_mm: Pair = (0.0, 0.0)
    mirrored: bool = False
    lens_turn_deg: float = 0.0
    white: float = 0.75
    light_slope: Pair = (0.0, 0.0)
    motion_px: Pair = (0.0, 0.0)
    shutter_s: float = 0.25
    iso: float = 100.0
    print: Print = field(default_factory=Print)
