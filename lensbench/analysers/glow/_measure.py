"""Glow: how much of an edge's light a lens throws far from it, besides what diffraction does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from lensbench.analysers.edge import EdgeResponses
from lensbench.analysers.glow._diffraction import any_diffraction_tails, diffraction_tails
from lensbench.analysers.glow._excess import Excess, common_reach, excess_of, narrowest_core, with_tails
from lensbench.analysers.glow._zones import zone_glows
from lensbench.findings import Glow
from lensbench.optics import channel_um

PAPER_SCATTERS_FROM = 0.15
"""Magnification from which light that wanders within the paper reaches pixels beside an edge: its mean path is
some 50 to 100 µm (common practice)."""


def measure_glow(
    shots: Sequence[Mapping[str, EdgeResponses]],
    size: tuple[int, int],
    pixel_pitch_um: float | None = None,
    effective_f_number: float | None = None,
    magnification: float | None = None,
) -> Glow | None:
    """Measure the glow of edges by zone and colour.

    Parameters
    ----------
    shots : sequence of mapping of str to EdgeResponses
        The edges of shots taken alike, by channel.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float, optional
        Distance of the pixels on the sensor.
    effective_f_number : float, optional
        As the sensor sees it. Without it or the pitch, diffraction may have put any share of the light far off
        that the edge's own width allows.
    magnification : float, optional
        Of the target, for a note on paper that scatters light.

    Returns
    -------
    Glow or None
        None where no edge shows its tails.
    """
    every = [response for shot in shots for response in shot.values()]
    reach = common_reach(every)
    if reach is None:
        return None
    f_number_px = effective_f_number / pixel_pitch_um if effective_f_number and pixel_pitch_um else None
    zones = []
    for channel in dict.fromkeys(name for shot in shots for name in shot):
        seen = [with_tails(shot[channel], reach) for shot in shots if channel in shot]
        quartile = np.concatenate([response.quartile_px for response in seen])
        if not len(quartile):
            continue
        widths = narrowest_core(quartile), float(quartile.max())
        diffraction = (
            diffraction_tails(channel_um(channel) * f_number_px, *widths)
            if f_number_px
            else any_diffraction_tails(*widths)
        )
        edges = [excess_of(response, diffraction, reach) for response in seen]
        zones += zone_glows(Excess.joined(edges), channel, size, pixel_pitch_um)
    if not zones:
        return None
    return Glow(
        reach_px=reach,
        reach_um=reach * pixel_pitch_um if pixel_pitch_um else None,
        diffraction_from="f-number" if f_number_px else "not known",
        zones=zones,
        notes=_notes(f_number_px is not None, magnification),
    )


def _notes(aperture_known: bool, magnification: float | None) -> list[str]:
    """What limits the glow's figures, in sentences."""
    notes = []
    if not aperture_known:
        notes.append(
            "How much of this light diffraction throws that far isn't known without the f-number, the "
            "magnification and the sensor's size: the intervals allow for any aperture. Name them in session.toml."
        )
    if magnification is not None and magnification >= PAPER_SCATTERS_FROM:
        notes.append(
            "So close up, light that wanders within the paper adds to the glow: compare with a target on film, "
            "lit from behind, before you blame the lens."
        )
    return notes
