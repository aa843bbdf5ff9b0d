"""Clean shots by the outside renderer, each of another lens, light, paper and noise: how many are accused?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from tests.bench.gauntlet.case import FIRST_SEED, NAMES_A_CAUSE, Cause, Scored, score
from tests.bench.gauntlet.draft import LENS, SIZE, Draft, LensFrame
from tests.outside.renderer import OutsideLens

CLEAN_SEED = FIRST_SEED + 50_000


class AberratedFrame(LensFrame):
    """Besides its Gaussian core, blur has a tail to one side, outwards (coma) and a wide round glow."""

    def __init__(self, lens: OutsideLens, coma_px: float, glow: float) -> None:
        super().__init__(lens)
        self.coma_px, self.glow = coma_px, glow

    def transfer(self, place: NDArray, colour: int, fx: NDArray, fy: NDArray) -> NDArray:
        """The core, its tail a few times as wide and displaced, and the glow."""
        core = super().transfer(place, colour, fx, fy)
        out = (place - self.centre) / self.half
        tail = np.exp(-2 * np.pi**2 * (0.5 * self.coma_px) ** 2 * (fx**2 + fy**2) * (out @ out))
        shift = np.exp(-2j * np.pi * self.coma_px * (fx * out[0] + fy * out[1]))
        glow = np.exp(-2 * np.pi**2 * 12.0**2 * (fx**2 + fy**2))
        share = 0.3
        return core * ((1 - share - self.glow) + share * tail * shift + self.glow * glow)


def clean(draft: Draft, _: float) -> None:
    """An honest shot through a lens invented anew; its figures' truth is known where it is Gaussian."""
    rng = draft.rng
    wide = float(np.exp(rng.uniform(np.log(0.65), np.log(2.6))))
    lens = replace(
        LENS,
        turn_deg=rng.uniform(-6, 6),
        bend=(rng.uniform(-0.08, 0.05), rng.uniform(-0.01, 0.02)),
        fringe_px=(rng.normal(0, 1.5), 0.0, rng.normal(0, 1.5)),
        falloff_stops=rng.uniform(0.1, 2.0),
        sigma_px=(wide, wide * rng.uniform(1.0, 1.8)),
        stretch=rng.uniform(0.75, 1.5),
    )
    draft.lens, draft.frame = lens, LensFrame(lens)
    if rng.random() < 0.5:
        draft.frame = AberratedFrame(lens, rng.uniform(-3, 3), rng.uniform(0, 0.05))
        draft.gaussian = False
    if draft.shows == "target" and rng.random() < 0.6:
        paper = gaussian_filter(rng.standard_normal(SIZE[::-1]), rng.uniform(0.8, 6.0))
        texture = (1 + rng.uniform(0.001, 0.012) * paper / paper.std()).astype(np.float32)
        draft.planes = [plane * texture for plane in draft.planes]
    draft.light = draft.light * np.float32(rng.uniform(0.35, 1.15))


def accusations(number: int) -> Scored:
    """One clean shot; every fifth shows an even light. `named` are the codes that it should not carry."""
    shows = "flat" if number % 5 == 4 else "target"
    cause = Cause("clean", (0.0,), "", clean, NAMES_A_CAUSE, shows)
    return score(cause, 0.0, CLEAN_SEED + number)
