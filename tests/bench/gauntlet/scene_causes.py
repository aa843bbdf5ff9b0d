"""What stands before the lens and isn't one flat, clean, evenly lit sheet, and the wrong sheet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lensbench.target.layout import layout_text, make_layout
from tests.bench.gauntlet.case import Cause
from tests.bench.gauntlet.draft import MAGNIFICATION, SENSOR_MM, SIZE, Draft
from tests.bench.gauntlet.exposure_causes import moved
from tests.outside.renderer import OutsideFrame

GLASS = frozenset({"double-image", "reflection", "left-out", "uneven-light"})


def mirrored(draft: Draft, turn_deg: float) -> None:
    """A print seen from its back, turned by so much."""
    draft.frame = OutsideFrame(replace(draft.lens, turn_deg=turn_deg), *SIZE)
    draft.tiles = [{**t, "corners_mm": [[-x, y] for x, y in t["corners_mm"]]} for t in draft.tiles]


def turned(draft: Draft, turn_deg: float) -> None:
    """The whole sheet turned."""
    draft.frame = OutsideFrame(replace(draft.lens, turn_deg=turn_deg), *SIZE)


def ghost(shift: tuple[float, float]):
    """Glass before the sheet: its reflection of the sheet, faint and displaced."""

    def spoil(draft: Draft, share: float) -> None:
        draft.planes = [p + np.float32(share) * moved(p, shift) for p in draft.planes]

    return spoil


def wrong_print(draft: Draft, factor: float) -> None:
    """The target.json of a sheet made for another magnification."""
    draft.layout_text = layout_text(make_layout(SENSOR_MM, MAGNIFICATION * factor, LAYOUT_LATTICE))


LAYOUT_LATTICE = "coarse"

SCENE_CAUSES = [
    Cause("mirrored", (-10.0, 0.0, 3.0, 178.0), "deg", mirrored, frozenset({"mirrored", "left-out"})),
    Cause("turned", (45.0, 90.0, 180.0, 270.0), "deg", turned, frozenset({"left-out", "tiles"})),
    Cause("glass-ghost", (0.003, 0.01, 0.03, 0.1), "share", ghost((41.0, 23.0)), GLASS),
]
