"""What a session file may say: its tables, every key, what each value must be, and where it goes."""

from __future__ import annotations

import msgspec

from lensbench.loaders.encoding import ENCODINGS
from lensbench.loaders.toml_checks import (
    Check,
    count,
    list_of_tiles,
    list_of_words,
    note,
    number,
    one_of,
    pair,
    words,
)

SHOWS = ("target", "flat", "dark", "blade")
"""What a shot can show."""


class CameraEntry(msgspec.Struct, frozen=True):
    """`[camera]` of the session file."""

    sensor_mm: tuple[float, float] | None = None


class LensEntry(msgspec.Struct, frozen=True):
    """`[lens]` of the session file."""

    pupil_ratio: float = 1.0
    flange_width_mm: float | None = None


class TargetEntry(msgspec.Struct, frozen=True):
    """`[target]` of the session file; `layout` is relative to the session's folder."""

    layout: str = "target.json"
    rulers_measured_mm: tuple[float, float] | None = None
    print_dpi: float | None = None
    ink_reflectance: float | None = None
    light_traps: list[tuple[int, int]] = []


class ShotEntry(msgspec.Struct, frozen=True):
    """One `[[shot]]` of the session file."""

    file: str
    shows: str
    f_number: float | None = None
    aperture: str | None = None
    setup: int = 1
    rail_mm: float | None = None
    lens_turn_deg: float = 0.0
    turned: str = "lens"
    panel: int = 1
    panel_turn_deg: float = 0.0
    panel_shift: tuple[float, float] | None = None
    encoding: str | None = None


TURNED = ("lens", "front group")
"""What was turned by `lens_turn_deg`: the whole lens in its mount, or its front group alone."""

SHOT_KEYS: dict[str, Check] = {
    "file": words("the name of the shot's file"),
    "shows": one_of(SHOWS),
    "f_number": number(0.3, 512, "the f-number marked on the lens, such as 5.6"),
    "aperture": words('a name for the aperture, such as "third click"'),
    "setup": count("1 for the first setup, 2 after remounting and refocusing, and so on"),
    "rail_mm": number(-10_000, 10_000, "the reading of the rail in millimetres, such as 12.5"),
    "lens_turn_deg": number(
        -360, 360, "the angle in degrees by which the lens was turned in its mount, such as 90"
    ),
    "turned": one_of(TURNED),
    "panel": count("1 for the light panel's first position, 2 for the next, and so on"),
    "panel_turn_deg": number(
        -360, 360, "the angle in degrees by which the light panel was turned anticlockwise as seen, such as 180"
    ),
    "panel_shift": pair(
        -2, 2, "how far the panel was moved, in widths of the picture to the right and in heights down: [0.3, 0]"
    ),
    "encoding": one_of(ENCODINGS),
}
"""The keys of a [[shot]]."""

TABLE_KEYS: dict[str, dict[str, Check]] = {
    "build": {
        "name": words("a name for this build of the lens"),
        "parts": list_of_words,
        "notes": note,
        "date": note,
    },
    "camera": {
        "sensor_mm": pair(2, 200, "the sensor's width and height in millimetres, such as [36.0, 24.0]"),
    },
    "lens": {
        "pupil_ratio": number(0.05, 20, "the exit pupil's width over the entrance pupil's, such as 1.0"),
        "flange_width_mm": number(
            5, 500, "the width of the lens's flange in millimetres, over which a shim would tilt it, such as 52"
        ),
    },
    "target": {
        "layout": words("the name of the target's file"),
        "rulers_measured_mm": pair(
            5, 5000, "the two ruler bars' lengths as measured, across and up, such as [149.8, 150.1]"
        ),
        "print_dpi": number(50, 50_000, "the printer's dots an inch, such as 600"),
        "ink_reflectance": number(0, 0.5, "the ink's light over the paper's, such as 0.04 (a density of 1.4)"),
        "light_traps": list_of_tiles("the tiles that are holes over black, such as [[7, 5], [0, 0]]"),
    },
}
"""The keys of the other tables."""
