"""Flats whose light is no even one: lights drawn as `tests.bench.uneven_light` draws them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.bench import uneven_light as lights
from tests.bench.gauntlet.case import Cause
from tests.bench.gauntlet.draft import SIZE, Draft
from tests.bench.gauntlet.exposure_causes import FLICKER, flicker

UNEVEN = frozenset({"uneven-light", "dark-centre", "left-out", "falloff"})


def lit(draw: Callable) -> Callable[[Draft, float], None]:
    """A flat under a light drawn in closed form."""

    def spoil(draft: Draft, strength: float) -> None:
        light = draft.light * np.asarray(draw(draft.rng, SIZE, strength), np.float32)
        draft.light = light / max(float(light.max()), 1.0)

    return spoil


def _cause(name: str, strengths: tuple[float, ...], unit: str, draw: Callable) -> Cause:
    return Cause(name, strengths, unit, lit(draw), UNEVEN, "flat")


def hard_shadow(rng: np.random.Generator, size: tuple[int, int], depth: float) -> np.ndarray:
    """Everything beyond a slanted line is darker."""
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    across = (x - 0.6 * size[0]) + 0.3 * (y - 0.5 * size[1])
    return 1 - depth / (1 + np.exp(-across / 3))


def hot_middle(rng: np.random.Generator, size: tuple[int, int], stops: float) -> np.ndarray:
    """A lamp close behind the panel, in line with the lens: round, and so like falloff."""
    x, y = np.meshgrid(np.arange(size[0]) - (size[0] - 1) / 2, np.arange(size[1]) - (size[1] - 1) / 2)
    return 2.0 ** (-stops * (x**2 + y**2) / (np.hypot(*size) / 2) ** 2)


LIGHT_CAUSES = [
    _cause("flat-gradient", (0.1, 0.3, 1.0, 2.0), "stops", lights.gradient),
    _cause("flat-clouds", (0.003, 0.01, 0.03, 0.1), "", lights.clouds),
    _cause("flat-window-bars", (0.01, 0.03, 0.06, 0.15), "", lights.window_bars),
    _cause("flat-leak", (0.02, 0.06, 0.12, 0.3), "", lights.leak),
    _cause("flat-line", (0.01, 0.03, 0.06, 0.2), "", lights.line),
    _cause("flat-hard-shadow", (0.003, 0.01, 0.03, 0.2), "", hard_shadow),
    Cause("flat-flicker-80", (0.003, 0.01, 0.03, 0.1), "", flicker(80), FLICKER | UNEVEN, "flat"),
    Cause("flat-flicker-300", (0.003, 0.01, 0.03, 0.1), "", flicker(300), FLICKER | UNEVEN, "flat"),
    Cause("flat-flicker-500", (0.003, 0.01, 0.03, 0.1), "", flicker(500), FLICKER | UNEVEN, "flat"),
    Cause("flat-flicker-columns", (0.003, 0.01, 0.03, 0.1), "", flicker(260, upright=True), UNEVEN, "flat"),
]
