"""All that the noise of one shot tells of its stored numbers, and the thresholds from which each sign counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.analysers.photon_transfer._correlation import SharedNoise, measure_shared_noise
from lensbench.analysers.photon_transfer._sheet import black_and_white
from lensbench.analysers.photon_transfer._signs import NoiseSigns
from lensbench.analysers.photon_transfer._single import fit_line, measure_misfit, sheet_levels
from lensbench.shot import Shot
from lensbench.uniform_blocks import UniformBlocks, read_uniform_blocks

COARSE_SHARE = 0.4
"""Share of the variance that rounding may make up."""

MOST_BELOW_BLACK = 0.01
"""Share of blocks that may be darker than black (dead pixels, marks) ..."""

BELOW_BLACK = 1e-3
"""... by more than this share of full scale."""

MAX_FULL_WELL_ELECTRONS = 500_000.0
"""No camera's pixel holds more electrons at full scale (common practice); noise that implies more was reduced."""

MOST_MISFIT = 0.015
"""Share by which a sensor's own noise may lie off its line (common practice: one or two per cent)."""

FEWEST_BLOCKS = 12
"""Blocks of white that its photons are counted in, or of any light whose noise is held against rounding."""


@dataclass(frozen=True)
class NoiseAssessment:
    """What the noise of one shot tells.

    Attributes
    ----------
    coarseness : float
        The share of the noise that rounding makes up, in the brighter half or a sheet's black, the larger one; 1
        where there is none.
    step : float
        Distance of the stored numbers that occur.
    below_black : float
        The share of blocks that are darker than black.
    line : NoiseSigns or None
        Of variance against light; None where numbers are too coarse, or too many below black, for one.
    misfit : float
        By what share the levels' variance lies off any line, root mean square.
    filtered : (str, SharedNoise) or None
        The colours, and the correlation of their neighbours, of samples that were filtered after the sensor.
    full_well_electrons : float
        Electrons at full scale, if all of white's noise were photon noise; 0 where unknown.
    black : float
        The stored number that the file states for no light.
    """

    coarseness: float
    step: float
    below_black: float
    line: NoiseSigns | None
    misfit: float
    filtered: tuple[str, SharedNoise] | None
    full_well_electrons: float
    black: float

    @property
    def coarse(self) -> bool:
        """Whether numbers come in steps coarser than the noise."""
        return self.coarseness > COARSE_SHARE

    @property
    def dark_below_black(self) -> bool:
        """Whether too much lies below the black level."""
        return self.below_black > MOST_BELOW_BLACK

    @property
    def too_quiet(self) -> bool:
        """Whether white is less noisy than photons let it be."""
        return self.full_well_electrons > MAX_FULL_WELL_ELECTRONS

    @property
    def off_the_line(self) -> bool:
        """Whether noise follows the light by no line, as where a curve bent it or parts of it were multiplied."""
        return self.misfit > MOST_MISFIT

    @property
    def curved(self) -> bool:
        """Whether the dark is too noisy, and for a wrong black level alone black had to lie below the number 0."""
        return self.line is not None and self.line.too_noisy and self.line.black_offset > self.black


def assess_noise(blocks: UniformBlocks, filtered: tuple[str, SharedNoise] | None = None) -> NoiseAssessment | None:
    """Assess what any shot's noise tells of its numbers, by the blocks of one channel.

    Parameters
    ----------
    blocks : UniformBlocks
        Of a target shot or a flat.
    filtered : (str, SharedNoise), optional
        From `find_filter`.

    Returns
    -------
    NoiseAssessment or None
        None without any uniform block.
    """
    if len(blocks) == 0:
        return None
    black, white = black_and_white(blocks)
    coarseness = _coarseness(blocks, black)
    below = float(np.mean(blocks.light < -BELOW_BLACK * blocks.full_scale))
    sound = coarseness <= COARSE_SHARE and below <= MOST_BELOW_BLACK
    levels = sheet_levels(black, white) if sound else None
    line, misfit = (None, 0.0) if levels is None else (fit_line(levels, blocks.full_scale), measure_misfit(levels))
    full_well = _full_well(white, blocks.full_scale)
    return NoiseAssessment(coarseness, blocks.step, below, line, misfit, filtered, full_well, blocks.black)


def find_filter(shot: Shot, reference: UniformBlocks) -> tuple[str, SharedNoise] | None:
    """Find samples that were filtered after the sensor, in one colour or all, too little to show otherwise.

    Parameters
    ----------
    shot : Shot
        Of a target.
    reference : UniformBlocks
        Those of its reference channel.

    Returns
    -------
    (str, SharedNoise) or None
        The colours and their correlation; None where neighbours' noise is their own.
    """
    found = {}
    for channel in shot.channels:
        blocks = reference if channel == shot.reference else read_uniform_blocks(shot, channel)
        shared = measure_shared_noise(blocks)
        if shared is not None:
            found[channel] = shared
    if found:
        found["all colours"] = SharedNoise.mean(list(found.values()))
    return next(((colours, shared) for colours, shared in found.items() if shared.processed), None)


def _coarseness(blocks: UniformBlocks, black: UniformBlocks) -> float:
    if blocks.step == 0:
        return 0.0
    parts = [blocks.taken(blocks.light >= np.median(blocks.light)), black]
    variances = [float(np.median(part.variance)) for part in parts if len(part) >= FEWEST_BLOCKS]
    return max(
        (min(blocks.rounding / variance, 1.0) if variance > 0 else 1.0 for variance in variances), default=0.0
    )


def _full_well(white: UniformBlocks, full_scale: float) -> float:
    if len(white) < FEWEST_BLOCKS:
        return 0.0
    light, variance = float(np.median(white.light)), float(np.median(white.variance))
    return full_scale * light / max(variance, 1e-9 * full_scale * light)
