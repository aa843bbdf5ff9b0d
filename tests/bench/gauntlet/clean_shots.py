"""Clean shots by the outside renderer, of other lenses, lights, papers and noise: how many are accused?

Every ten of them share a lens, drawn once. Most are measured in one channel and asked for their warnings alone.
One of ten shows an even light, and one goes all the way through files and report: figures are held to the truth
there.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from msgspec.structs import replace as replaced
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from lensbench.analysers.edge import measure_edges, tile_edges
from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.analysers.photon_transfer import assess_noise, find_filter
from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.analysers.shot_quality import assess_shot
from lensbench.findings import Camera, Notice, Setting
from lensbench.run._noise_warnings import target_noise_notices
from lensbench.run._setting_warnings import setting_notices
from lensbench.run._shot_warnings import double_image_ruins, exposure_notices, sign_notices
from lensbench.shot import Shot
from lensbench.target.finder import find_tiles
from lensbench.uniform_blocks import read_uniform_blocks
from lensbench.verdicts.limits import judge_limits
from tests.bench.gauntlet.case import FIRST_SEED, NAMES_A_CAUSE, Cause, Scored, score
from tests.bench.gauntlet.draft import LAYOUT, LENS, PITCH_MM, SENSOR_MM, SIZE, Draft, LensFrame, draw, tiles_of
from tests.outside.renderer import OutsideLens

CLEAN_SEED = FIRST_SEED + 50_000
A_LENS = 10
FLAT, WHOLE = 4, 9
"""Which of the shots of a lens shows an even light, and which goes through files and report."""


class AberratedFrame(LensFrame):
    """Besides its Gaussian core, blur has a tail to one side, outwards (coma), and a wide round glow."""

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


@lru_cache(maxsize=1)
def _drawn(number: int) -> tuple[OutsideLens, bool, tuple[NDArray[np.float32], ...]]:
    """A lens invented anew, whether its blur is Gaussian, and its picture of the sheet in each colour."""
    rng = np.random.default_rng(CLEAN_SEED + number)
    wide = float(np.exp(rng.uniform(np.log(0.65), np.log(2.6))))
    lens = replace(
        LENS,
        turn_deg=rng.uniform(-6, 6),
        bend=(rng.uniform(-0.08, 0.05), rng.uniform(-0.01, 0.02)),
        fringe_px=(rng.normal(0, 1.5), 0.0, rng.normal(0, 1.5)),
        sigma_px=(wide, wide * rng.uniform(1.0, 1.8)),
        stretch=rng.uniform(0.75, 1.5),
    )
    gaussian = number % 2 == 0
    frame = LensFrame(lens) if gaussian else AberratedFrame(lens, rng.uniform(-3, 3), rng.uniform(0, 0.05))
    return lens, gaussian, draw(frame, tiles_of(LAYOUT))


def _make_clean(draft: Draft, number: int) -> None:
    """Put the lens into a draft, with an honest light and an honest paper of its own."""
    rng, (lens, draft.gaussian, planes) = draft.rng, _drawn(number // A_LENS)
    draft.lens = replace(lens, falloff_stops=rng.uniform(0.1, 2.0))
    draft.frame = LensFrame(draft.lens)
    if draft.shows == "target":
        draft.planes = list(planes)
        if rng.random() < 0.6:
            paper = gaussian_filter(rng.standard_normal(SIZE[::-1]), rng.uniform(0.8, 6.0))
            texture = (1 + rng.uniform(0.001, 0.012) * paper / paper.std()).astype(np.float32)
            draft.planes = [plane * texture for plane in planes]
        # Lenses that are vignetted darken faster than h²; of flats the truth is wanted.
        draft.light = draft.light * (2.0 ** (-rng.uniform(0, 1) * draft.light**-2 / 16)).astype(np.float32)
    draft.light = draft.light * np.float32(rng.uniform(0.35, 1.15))


def accusations(number: int) -> Scored:
    """One clean shot; `named` are the codes that it should not carry."""
    shows, seed = "flat" if number % A_LENS == FLAT else "target", CLEAN_SEED + 1000 + number
    if number % A_LENS in (FLAT, WHOLE):
        cause = Cause("clean", (0.0,), "", lambda draft, _: _make_clean(draft, number), NAMES_A_CAUSE, shows)
        return score(cause, 0.0, seed)
    draft = Draft(seed)
    _make_clean(draft, number)
    said = [n for n in warnings_of(Shot.from_array(draft.mosaic, 512, 15_512, "RGGB")) if n.code in NAMES_A_CAUSE]
    codes, texts = tuple(dict.fromkeys(n.code for n in said)), tuple(n.text for n in said)
    return Scored("warned" if said else "right", codes, (), None, 0, texts)


def warnings_of(shot: Shot) -> list[Notice]:
    """What a session would say of a target shot, from its reference channel alone."""
    name, channel = "shot.dng", shot.reference
    found = find_tiles(shot, LAYOUT)
    places = tile_edges(found)
    responses = measure_edges(shot, places, [channel], threads=1)
    signs = assess_shot(shot, places, responses)
    said = [Notice("tiles", name, note) for note in found.notes]
    said += [*exposure_notices(shot, name, responses), *sign_notices(signs, name)]
    blocks = read_uniform_blocks(shot)
    noise = assess_noise(blocks, find_filter(shot, blocks))
    said += target_noise_notices(noise, signs, name)
    if double_image_ruins(signs):
        said.append(Notice("left-out", name, "shows the sheet twice"))
    camera = Camera(SIZE, SENSOR_MM, 1000 * PITCH_MM)
    lines = Lines.measured(found, responses[channel], SIZE)
    shots = [TargetShot(name, lines, found.mirrored, None, float(np.nanmedian(responses[channel].mtf50)))]
    geometry = measure_geometry(shots, LAYOUT, SIZE, SENSOR_MM, LAYOUT.rulers_mm, 1.0)
    sharpness = measure_sharpness([ShotEdges(name, responses, found)], SIZE, 1000 * PITCH_MM)
    setting = Setting(11.0, sharpness=sharpness, geometry=geometry, magnification=geometry.magnification)
    limits = judge_limits(setting, SIZE, 1000 * PITCH_MM, 1.0, None, signs.raggedness_px)
    setting = replaced(setting, limits=limits)
    return said + setting_notices(setting, camera, channel, 1.0, signs.motion is not None)[0]
