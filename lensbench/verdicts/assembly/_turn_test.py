"""What of an asymmetry stays while the lens is turned in its mount, and what turns with it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np
from msgspec import structs
from numpy.typing import NDArray

from lensbench.findings import NORMAL_95, Camera, Figure, Setting, TurnTest
from lensbench.frame import half_diagonal
from lensbench.verdicts.assembly._centres import centre_positions, from_frame_centre, together_within
from lensbench.verdicts.assembly._softer_side import NOT_CHANCE, SOFTER, Arrow, sharpness_arrow

ASYMMETRIC = {"sharpness": SOFTER, "keystone": 0.2}
"""Percent for one half-diagonal from which a lens's share in these counts against it (chosen by experience)."""


def turn_tests(settings: Sequence[Setting], camera: Camera) -> list[TurnTest]:
    """Split every asymmetry that was measured at two turns of the lens, or more, at one aperture.

    An arrow that stays while the lens turns belongs to the target or the camera; one that turns along with the
    lens belongs to the lens.
    """
    tests: dict[tuple[str, str], TurnTest] = {}
    labels = dict.fromkeys(setting.label for setting in settings)
    for label, part in product(labels, ("lens", "front group")):
        alike = [s for s in settings if s.label == label and (s.turned == part or not s.lens_turn_deg)]
        arrows: dict[str, list[tuple[float, Arrow]]] = {}
        for setting in alike:
            for of, arrow in _arrows(setting, camera):
                arrows.setdefault(of, []).append((setting.lens_turn_deg, arrow))
        for of, turned in arrows.items():
            if (of, part) not in tests and len({turn % 360 for turn, _ in turned}) >= 2:
                tests[of, part] = structs.replace(split_by_turn(of, turned), turned=part)
    return list(tests.values())


def split_by_turn(of: str, turned: Sequence[tuple[float, Arrow]]) -> TurnTest:
    """Split one arrow, seen at several turns of the lens, into what stays and what turns.

    Parameters
    ----------
    of : str
        What is asymmetric.
    turned : sequence of (float, Arrow)
        The lens's turn in degrees, anticlockwise as seen in the picture, and the arrow seen then.
    """
    rows, values, weights = [], [], []
    for turn, arrow in turned:
        cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        rows.append([[1, 0, cos, sin], [0, 1, -sin, cos]])
        values.append(arrow.vector)
        weights.append(1 / arrow.spread)
    weight = np.concatenate(weights)
    columns = np.concatenate(rows) * weight[:, None]
    covariance = np.linalg.pinv(columns.T @ columns, hermitian=True)
    parts = covariance @ columns.T @ (np.concatenate(values) * weight)
    spread = np.sqrt(np.diagonal(covariance))
    unit = turned[0][1].unit
    figures = [Figure.of(v, NORMAL_95 * s, unit) for v, s in zip(parts, spread, strict=True)]
    stays, turns = (
        bool(parts[part] @ np.linalg.pinv(covariance[part, part], hermitian=True) @ parts[part] > NOT_CHANCE)
        for part in (slice(0, 2), slice(2, 4))
    )
    cause = {(True, True): "both", (True, False): "target or camera", (False, True): "lens"}.get(
        (stays, turns), "neither"
    )
    return TurnTest(of, (figures[0], figures[1]), (figures[2], figures[3]), cause)


def _arrows(setting: Setting, camera: Camera) -> Iterator[tuple[str, Arrow]]:
    """Every asymmetry of one setting, each with its name."""
    sharpness = sharpness_arrow(setting, camera)
    if sharpness is not None:
        yield "sharpness", sharpness
    if setting.geometry and setting.geometry.alignment:
        alignment = setting.geometry.alignment
        # Both for one half-diagonal, so that the arrow turns as an arrow does.
        reach = half_diagonal(camera.size_px) / np.asarray(camera.size_px)
        parts = alignment.wider_left_percent, alignment.wider_top_percent
        yield "keystone", _arrow(parts, reach)
    for of, position in centre_positions(setting):
        yield f"centre of {of}", _arrow(from_frame_centre(position, camera), np.ones(2))


def keystone_says(settings: Sequence[Setting], camera: Camera) -> str:
    """Whose a softness is that stays when the lens is turned: the target's where the keystone shows its lean."""
    for setting in settings:
        for of, arrow in _arrows(setting, camera):
            if of == "keystone":
                length = float(np.hypot(*arrow.vector))
                unsure = NORMAL_95 * float(np.max(arrow.spread))
                if length - unsure > ASYMMETRIC["keystone"]:
                    return "target"
                return "mount or sensor" if length + unsure < ASYMMETRIC["keystone"] else "target or camera"
    return "target or camera"


def _arrow(parts: tuple[Figure, Figure], scale: NDArray) -> Arrow:
    values = np.array([part.value for part in parts])
    spread = np.array([part.half_width for part in parts]) / NORMAL_95
    return Arrow(values * scale, np.maximum(spread * scale, 1e-9), parts[0].unit)


def matters(test: TurnTest, camera: Camera) -> bool:
    """Whether the lens's share is larger than a well-made lens's would be."""
    least = ASYMMETRIC.get(test.of, together_within(camera))
    x, y = test.turns
    return float(np.hypot(x.value, y.value)) > least


def turn_test_in_words(test: TurnTest, camera: Camera) -> str:
    part = test.turned
    rest = "the target or the camera" if part == "lens" else "the rest of the lens, the target or the camera"
    words = {
        "lens": f"turned with the {part}: it belongs to the {part}",
        "target or camera": f"stayed when the {part} was turned: it belongs to {rest}",
        "both": f"partly turned with the {part} and partly stayed: both have a share",
    }
    if test.cause not in words:
        return f"The {test.of} is the same on all sides, within chance."
    small = "" if test.cause == "target or camera" or matters(test, camera) else ", though too little to matter"
    return f"The asymmetry of the {test.of} {words[test.cause]}{small}."
