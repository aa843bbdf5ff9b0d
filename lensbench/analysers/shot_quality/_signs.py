"""All signs of one target shot together, and the thresholds from which each one counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from lensbench.analysers.edge import EdgePlaces, EdgeResponses, rough_line_spreads, trace_edges
from lensbench.analysers.shot_quality._asymmetry import EdgeAsymmetry, measure_asymmetry
from lensbench.analysers.shot_quality._bands import LightBands, find_bands
from lensbench.analysers.shot_quality._directional_blur import DirectionalBlur, find_directional_blur
from lensbench.analysers.shot_quality._double_image import FAR_PX, DoubleImage, find_double_image
from lensbench.analysers.shot_quality._lit_black import LitBlack, find_lit_black
from lensbench.analysers.shot_quality._noise_pattern import NoiseLevel, NoisePattern, measure_noise_pattern
from lensbench.analysers.shot_quality._raggedness import measure_raggedness
from lensbench.findings import Figure
from lensbench.shot import Shot

MAX_OVERSHOOT = 0.01
"""Light adds up, so an edge drawn by a lens rises monotonically; a median overshoot above this is sharpening
(share of the contrast; checked with `tests.bench.warnings`)."""

MAX_ASYMMETRY = 0.015
"""Edges whose common asymmetry exceeds this passed a tone curve (checked with `tests.bench.warnings`)."""

MAX_READ_NOISE_ELECTRONS = 25.0
"""Read noise that no camera exceeds (common practice: 1 to 15 electrons). Where black is noisier than that beside
the photon noise of white, the stored numbers aren't proportional to the light ..."""

MIN_SIGNAL_TO_NOISE = 60.0
"""... if white's signal to noise is at least this; else photon noise is too uncertain (chosen by experience)."""

MAX_NOISE_CORRELATION = 0.1
"""Correlation between neighbours of one colour above which the noise isn't the sensor's own (checked with
`tests.bench.warnings`)."""

MAX_BLACK_CORRELATION = 0.12
"""Correlation between neighbours in the black from which edges' tails or ink's texture show in its variance."""

MAX_FULL_WELL_ELECTRONS = 500_000.0
"""No camera's pixel holds more electrons at full scale (common practice); noise that implies more was reduced."""


@dataclass(frozen=True)
class ShotSigns:
    """What of a target shot is not the lens's doing.

    Attributes
    ----------
    motion : DirectionalBlur or None
        Blur in one direction, uniform over the frame, without the asymmetry of coma.
    overshoot : float
        Median over the edges, as a share of the contrast.
    asymmetry : EdgeAsymmetry or None
        Of the edges' profiles; None where there are too few edges.
    noise : NoisePattern
        Of the reference channel.
    full_scale : float
        The light at which that channel clips, stored units.
    raggedness_px : Figure or None
        How far the printed edges deviate from their lines.
    double_image : DoubleImage or None
        A second image of the sheet beside the first.
    bands : LightBands or None
        Bands of light, as of a flickering lamp.
    lit_black : LitBlack or None
        Light over the sheet's black in part of the frame.
    size : (int, int)
        Width and height of the frame in pixels.
    """

    motion: DirectionalBlur | None
    overshoot: float
    asymmetry: EdgeAsymmetry | None
    noise: NoisePattern
    full_scale: float
    raggedness_px: Figure | None
    double_image: DoubleImage | None
    bands: LightBands | None
    lit_black: LitBlack | None
    size: tuple[int, int]

    @property
    def sharpened(self) -> bool:
        """Whether edges overshoot as only sharpening makes them."""
        return self.overshoot > MAX_OVERSHOOT

    @property
    def black_too_noisy(self) -> bool:
        """Whether black is noisier, beside white, than any camera's read noise makes it."""
        return self.read_noise_electrons > MAX_READ_NOISE_ELECTRONS

    @property
    def tone_curved(self) -> bool:
        """Whether the stored numbers are not proportional to the light."""
        by_edges = self.asymmetry is not None and abs(self.asymmetry.common) > MAX_ASYMMETRY
        return by_edges or self.black_too_noisy

    @property
    def noise_correlated(self) -> bool:
        """Whether neighbouring samples share their noise, as raw samples do not."""
        return self.noise_correlation > MAX_NOISE_CORRELATION

    @property
    def noise_too_low(self) -> bool:
        """Whether white is less noisy than photons let it be."""
        return self.full_well_electrons > MAX_FULL_WELL_ELECTRONS

    @property
    def read_noise_electrons(self) -> float:
        """Noise of black in electrons, its photons' own subtracted; 0 where unknown."""
        black, white = self.noise.black, self.noise.white
        if black is None or white is None or black.neighbour_correlation > MAX_BLACK_CORRELATION:
            return 0.0
        if white.light < MIN_SIGNAL_TO_NOISE * np.sqrt(white.variance):
            return 0.0
        electrons = white.light / max(white.variance, 1e-12)
        return float(np.sqrt(max(black.variance * electrons**2 - black.light * electrons, 0.0)))

    @property
    def noise_correlation(self) -> float:
        """Correlation of the noise between neighbours: the lesser of black's and white's, 0 where unknown.

        The texture of the paper shows in the white alone.
        """
        levels = [level for level in (self.noise.black, self.noise.white) if level is not None]
        return min((abs(level.neighbour_correlation) for level in levels), default=0.0)

    @property
    def full_well_electrons(self) -> float:
        """Electrons at full scale, if all of white's noise were photon noise; 0 where unknown."""
        white = self.noise.white
        return _electrons_at(self.full_scale, white) if white is not None else 0.0


def _electrons_at(full_scale: float, level: NoiseLevel) -> float:
    return full_scale * level.light / max(level.variance, 1e-9 * full_scale * level.light)


def find_motion(shot: Shot, places: EdgePlaces, reference: EdgeResponses) -> DirectionalBlur | None:
    """Look only for blur in one direction that isn't coma's.

    Parameters
    ----------
    shot : Shot
        The shot.
    places : EdgePlaces
        Its tiles' edges, edge 3 i + k being leg k of tile i.
    reference : EdgeResponses
        What was measured there in the shot's reference channel.

    Returns
    -------
    DirectionalBlur or None
    """
    motion = find_directional_blur(reference, shot.size)
    if motion is None:
        return None
    return _unless_coma(motion, measure_asymmetry(trace_edges(shot, shot.reference, places, reference), shot.size))


def _unless_coma(motion: DirectionalBlur | None, asymmetry: EdgeAsymmetry | None) -> DirectionalBlur | None:
    """Motion blurs symmetrically, so blur that comes with coma's asymmetry is coma."""
    return None if motion and asymmetry and motion.is_coma(asymmetry.directional) else motion


def assess_shot(shot: Shot, places: EdgePlaces, responses: Mapping[str, EdgeResponses]) -> ShotSigns:
    """Assess a measured target shot for what is not the lens's doing.

    Parameters
    ----------
    shot : Shot
        The shot.
    places : EdgePlaces
        Its tiles' edges, edge 3 i + k being leg k of tile i.
    responses : mapping of str to EdgeResponses
        What was measured there, by channel.

    Returns
    -------
    ShotSigns
    """
    reference = responses[shot.reference]
    traces = trace_edges(shot, shot.reference, places, reference)
    asymmetry = measure_asymmetry(traces, shot.size)
    overshoot = reference.overshoot[reference.measured]
    return ShotSigns(
        motion=_unless_coma(find_directional_blur(reference, shot.size), asymmetry),
        overshoot=float(np.median(overshoot)) if len(overshoot) else 0.0,
        asymmetry=asymmetry,
        noise=measure_noise_pattern(shot, shot.reference),
        full_scale=shot.full_scale(shot.reference),
        raggedness_px=measure_raggedness(traces),
        double_image=find_double_image(rough_line_spreads(shot, shot.reference, places, FAR_PX), shot.size),
        bands=find_bands(shot, shot.reference),
        lit_black=find_lit_black(reference),
        size=shot.size,
    )
