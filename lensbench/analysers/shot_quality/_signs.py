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
from lensbench.analysers.shot_quality._raggedness import measure_raggedness
from lensbench.findings import Figure
from lensbench.shot import Shot

MAX_OVERSHOOT = 0.01
"""Light adds up, so an edge drawn by a lens rises monotonically; a median overshoot above this is sharpening
(share of the contrast; checked with `tests.bench.warnings`)."""

MAX_ASYMMETRY = 0.015
"""Edges whose common asymmetry exceeds this passed a tone curve (checked with `tests.bench.warnings`)."""


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
    def tone_curved(self) -> bool:
        """Whether edges in all directions are as asymmetric as only a tone curve makes them."""
        return self.asymmetry is not None and abs(self.asymmetry.common) > MAX_ASYMMETRY


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
        raggedness_px=measure_raggedness(traces),
        double_image=find_double_image(rough_line_spreads(shot, shot.reference, places, FAR_PX), shot.size),
        bands=find_bands(shot, shot.reference),
        lit_black=find_lit_black(reference),
        size=shot.size,
    )
