"""What is wrong with a target shot, in words: what, where, how much, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from lensbench.analysers.edge import EdgePlaces, EdgeResponses, trace_edges
from lensbench.analysers.shot_quality import (
    LopsidedEdges,
    NoiseLevel,
    NoisePattern,
    OneWayBlur,
    find_lopsided_edges,
    find_one_way_blur,
    look_at_noise,
    measure_raggedness,
)
from lensbench.findings import Figure, Notice, Reason
from lensbench.shot import Shot

GOOD_WHITE = 0.75
"""How much of the full scale the target's white should take."""

DARK_WHITE = 0.12
"""Less white than this share of the full scale is worth a warning."""

OVERSHOOT = 0.01
"""Light adds up, so a lens's edge rises from dark to white and never passes either; a median over this is none."""

LOPSIDED = 0.015
"""Edges that are lighter (darker) than even ones by more than this, whichever way they face, had a tone curve."""

MOST_READING = 25.0
"""Electrons of reading noise that no camera has left. Where black is noisier than even that makes it beside the
photons that white's noise tells of, the numbers aren't in proportion to the light ..."""

PLAIN_SIGNAL = 60.0
"""... as far as white stands so many times above its noise: less would not tell."""

SHARED_NOISE = 0.1
"""Correlation between neighbours of one colour from which on the noise isn't the sensor's own."""

MOST_ELECTRONS = 500_000.0
"""No pixel of a camera holds more electrons than this at full scale; noise that asks for more was taken out."""


@dataclass(frozen=True)
class ShotSigns:
    """What of a target shot is not the lens's doing.

    Attributes
    ----------
    motion : OneWayBlur or None
        Blur one way alike over the frame, without the flare of coma.
    overshoot : float
        Median over the edges, as a share of the contrast.
    lopsided : LopsidedEdges or None
        How lopsided edges are; None where there are too few.
    noise : NoisePattern
        Of the reference channel.
    full_scale : float
        The light at which that channel clips, stored units.
    raggedness_px : Figure or None
        How far the printed edges stray from their lines.
    """

    motion: OneWayBlur | None
    overshoot: float
    lopsided: LopsidedEdges | None
    noise: NoisePattern
    full_scale: float
    raggedness_px: Figure | None

    @property
    def sharpened(self) -> bool:
        """Whether edges overshoot as only sharpening makes them."""
        return self.overshoot > OVERSHOOT

    @property
    def tone_curved(self) -> bool:
        """Whether the stored numbers are not in proportion to the light."""
        by_edges = self.lopsided is not None and abs(self.lopsided.alike) > LOPSIDED
        return by_edges or self.reading_electrons > MOST_READING

    @property
    def reading_electrons(self) -> float:
        """Reading noise, in electrons, that black shows besides the photons' own; 0 where unknown."""
        black, white = self.noise.black, self.noise.white
        if black is None or white is None or white.light < PLAIN_SIGNAL * np.sqrt(white.variance):
            return 0.0
        electrons = white.light / max(white.variance, 1e-12)
        return float(np.sqrt(max(black.variance * electrons**2 - black.light * electrons, 0.0)))

    @property
    def shared_noise(self) -> float:
        """Correlation of the noise between neighbours: the lesser of black's and white's, 0 where unknown.

        What a paper's own roughness adds shows in the white alone.
        """
        levels = [level for level in (self.noise.black, self.noise.white) if level is not None]
        return min((abs(level.between_neighbours) for level in levels), default=0.0)

    @property
    def electrons(self) -> float:
        """How many electrons full scale would be, by the noise in the white; 0 where unknown."""
        white = self.noise.white
        return electrons_at_full_scale(white, self.full_scale) if white is not None else 0.0

    @property
    def caveats(self) -> list[str]:
        """A few words each on what sets or spoils the shot's sharpness."""
        words = []
        if self.motion is not None:
            words.append(f"motion of about {self.motion.length_px:.1f} px")
        if self.sharpened:
            words.append("sharpening")
        if self.tone_curved:
            words.append("a tone curve")
        if self.shared_noise > SHARED_NOISE or self.electrons > MOST_ELECTRONS:
            words.append("noise reduction or resampling")
        return words


def electrons_at_full_scale(level: NoiseLevel, full_scale: float) -> float:
    """Electrons that full scale would hold if all of the noise were photons'."""
    return full_scale * level.light / max(level.variance, 1e-9 * full_scale * level.light)


def look_for_signs(shot: Shot, places: EdgePlaces, responses: Mapping[str, EdgeResponses]) -> ShotSigns:
    """Look at a measured target shot for what is not the lens's doing.

    Parameters
    ----------
    shot : Shot
        The shot.
    places : EdgePlaces
        Its tiles' edges, edge 3 i + k being leg k of tile i.
    responses : mapping of str to EdgeResponses
        What was measured there, by channel.
    """
    reference = responses[shot.reference]
    traces = trace_edges(shot, shot.reference, places, reference)
    lopsided = find_lopsided_edges(traces, shot.size)
    motion = find_one_way_blur(reference, shot.size)
    if motion is not None and lopsided is not None and motion.is_coma(lopsided.one_way):
        motion = None
    overshoot = reference.overshoot[reference.measured]
    return ShotSigns(
        motion=motion,
        overshoot=float(np.median(overshoot)) if len(overshoot) else 0.0,
        lopsided=lopsided,
        noise=look_at_noise(shot, shot.reference),
        full_scale=shot.full_scale(shot.reference),
        raggedness_px=measure_raggedness(traces),
    )


# -- in words -------------------------------------------------------------------------------------------------


def exposure_notices(shot: Shot, name: str, responses: Mapping[str, EdgeResponses]) -> Iterator[Notice]:
    """Clipped edges and too little light, with numbers and how much to change the exposure."""
    clipped = sum(int((response.why == Reason.CLIPPED).sum()) for response in responses.values())
    edges = sum(len(response) for response in responses.values())
    if clipped:
        less = "2/3 stop" if clipped < edges / 4 else "a full stop"
        text = f"{name}: {clipped} of {edges} edges are clipped (white at 100 %). Expose {less} less."
        yield Notice("clipped", name, text)
    response = responses[shot.reference]
    white = response.white[response.measured]
    if len(white) and not clipped:
        share = float(np.median(white)) / shot.full_scale(shot.reference)
        if 0 < share < DARK_WHITE:
            stops = max(round(np.log2(GOOD_WHITE / share)), 1)
            text = f"{name}: is dark (white at {100 * share:.0f} %), so its figures are noisier than necessary."
            yield Notice("dark", name, f"{text} Expose {stops} stops more.")


def sign_notices(signs: ShotSigns, name: str) -> Iterator[Notice]:
    """What is not the lens's doing, with numbers and what to do."""
    if signs.motion is not None:
        yield Notice("motion", name, f"{name}: {_motion(signs.motion)}")
    if signs.sharpened:
        yield Notice("sharpened", name, f"{name}: {_sharpened(signs.overshoot)}")
    if signs.tone_curved:
        yield Notice("tone-curve", name, f"{name}: {_tone_curved(signs)}")
    if signs.shared_noise > SHARED_NOISE:
        yield Notice("noise-reduced", name, f"{name}: {_shared_noise(signs)}")
    elif signs.electrons > MOST_ELECTRONS:
        yield Notice("noise-reduced", name, f"{name}: {_quiet(signs)}")


def _motion(motion: OneWayBlur) -> str:
    return (
        f"all {motion.places} tiles are blurred alike {way_in_words(motion.angle_deg)} ({motion.angle_deg:.0f}°), "
        f"as by a motion of about {motion.length_px:.1f} px; it costs about {motion.lost_percent:.0f} % of the "
        "sharpness in that direction. Steady the tripod, release with a delay or light it with a flash, and shoot "
        "again. If the same comes back, it is not motion: an element is tilted or strained."
    )


def way_in_words(angle_deg: float) -> str:
    """A way in the picture as a bench worker would call it; anticlockwise as seen from x right, 0 to 180."""
    words = ("sideways", "from bottom left to top right", "up and down", "from top left to bottom right")
    return words[int((angle_deg + 22.5) // 45) % 4]


def _sharpened(overshoot: float) -> str:
    return (
        f"edges overshoot their own black and white by {100 * overshoot:.0f} % of the contrast, which no lens "
        "does: the picture was sharpened, and its sharpness reads too high. Measure the raw file, or a TIFF "
        "developed without sharpening."
    )


def _tone_curved(signs: ShotSigns) -> str:
    if signs.reading_electrons > MOST_READING or signs.lopsided is None:
        seen = (
            f"black is as noisy, compared with white, as if read noise were {signs.reading_electrons:.0f} "
            "electrons, where cameras have 1 to 15"
        )
    else:
        way = "lighter" if signs.lopsided.alike > 0 else "darker"
        seen = (
            f"edges in all directions are {abs(100 * signs.lopsided.alike):.1f} % {way} than symmetric blur makes "
            f"them, where a lens leaves less than {100 * LOPSIDED:.1f} %"
        )
    return (
        f"{seen}: a tone curve was applied, and sharpness, fringing and falloff come out wrong. Measure "
        'the raw file; for a TIFF with the usual curve of screens write encoding = "srgb" under its [[shot]].'
    )


def _shared_noise(signs: ShotSigns) -> str:
    return (
        f"neighbouring samples of one colour share their noise (correlation {signs.shared_noise:.2f}; raw "
        "samples have 0): noise reduction, demosaicing or resampling was applied. Edges may come out softer or "
        "sharper than they are, and the intervals too narrow. Measure the raw file, with the camera's noise "
        "reduction off."
    )


def _quiet(signs: ShotSigns) -> str:
    return (
        f"white is so free of noise that a pixel would have to hold {signs.electrons / 1000:,.0f} thousand "
        f"electrons; no camera's holds more than {MOST_ELECTRONS / 1000:.0f}. Noise reduction was applied, or it "
        "is an average of many shots. Averages are fine; otherwise measure the raw file."
    )
