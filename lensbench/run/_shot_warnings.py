"""What is wrong with a target shot, in words: what, where, how much, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from lensbench.analysers.edge import EdgeResponses
from lensbench.analysers.shot_quality import (
    DARK_WHITE,
    GOOD_WHITE,
    MAX_ASYMMETRY,
    DirectionalBlur,
    DoubleImage,
    LightBands,
    LitBlack,
    ShotSigns,
    is_mosaic_displaced,
)
from lensbench.findings import Notice, Reason
from lensbench.frame import place_in_words
from lensbench.shot import Shot


def exposure_notices(shot: Shot, name: str, responses: Mapping[str, EdgeResponses]) -> Iterator[Notice]:
    """Clipped edges and too little light, with numbers and how much to change the exposure."""
    clipped = sum(int((response.reason == Reason.CLIPPED).sum()) for response in responses.values())
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


RUINED = 0.05
"""A second image with at least this share of the light leaves nothing to be measured."""


def double_image_ruins(signs: ShotSigns) -> bool:
    """Whether every edge is two, so that no figure of the shot means anything."""
    return signs.double_image is not None and signs.double_image.share > RUINED


def sign_notices(signs: ShotSigns, name: str) -> Iterator[Notice]:
    """What is not the lens's doing, with numbers and what to do."""
    if signs.motion is not None:
        yield Notice("motion", name, f"{name}: {_motion(signs.motion)}")
    elif signs.double_image is not None:
        yield Notice("double-image", name, f"{name}: {seen_twice(signs.double_image)}")
    if signs.bands is not None:
        yield Notice("uneven-light", name, f"{name}: {_banded(signs.bands)}")
    if signs.lit_black is not None:
        yield Notice("uneven-light", name, f"{name}: {_lit(signs.lit_black, signs.size)}")
    if signs.sharpened:
        yield Notice("sharpened", name, f"{name}: {_sharpened(signs.overshoot)}")
    if signs.tone_curved and signs.asymmetry is not None:
        yield Notice("tone-curve", name, f"{name}: {_tone_curved(signs.asymmetry.common)}")


def mosaic_notices(shot: Shot, name: str) -> Iterator[Notice]:
    """Colours that are not where the file says."""
    if is_mosaic_displaced(shot):
        text = (
            f"{name}: the two greens of its mosaic differ as red and blue do, so the file says wrongly where the "
            "mosaic begins (a crop or a turn by an odd number of pixels does that), and every colour's figures "
            "are wrong. Measure the camera's own raw file, uncropped and not turned."
        )
        yield Notice("mosaic", name, text)


def sign_caveats(signs: ShotSigns) -> list[str]:
    """A few words each on what limits or falsifies the shot's sharpness."""
    words = []
    if signs.motion is not None:
        words.append(f"motion of about {signs.motion.length_px:.1f} px")
    elif signs.double_image is not None:
        words.append("a second image")
    if signs.bands is not None:
        words.append("bands of light")
    if signs.lit_black is not None:
        words.append("light on the sheet's black")
    if signs.sharpened:
        words.append("sharpening")
    if signs.tone_curved:
        words.append("a tone curve")
    return words


def _motion(motion: DirectionalBlur) -> str:
    return (
        f"all {motion.tiles} tiles are blurred alike {way_in_words(motion.angle_deg)} ({motion.angle_deg:.0f}°), "
        f"as by a motion of about {motion.length_px:.1f} px; it costs about {motion.lost_percent:.0f} % of the "
        "sharpness in that direction. Steady the tripod, release with a delay or light it with a flash, and shoot "
        "again. If the same comes back, it is not motion: an element is tilted or strained."
    )


def seen_twice(double: DoubleImage) -> str:
    """What a second image is, in words."""
    where = f"turned by {double.turned_px:.0f} px at the corners"
    if not double.turned_px:
        where = f"{double.length_px:.0f} px apart {way_in_words(double.angle_deg)} ({double.angle_deg:.0f}°)"
    return (
        f"shows the sheet twice, {where}; the fainter picture has {100 * double.share:.1f} % of the light or "
        "more. Edges come out too soft. The camera moved during the exposure, or glass before the sheet mirrors "
        "it. Steady the tripod, release with a delay, take glass out of the way, and shoot again."
    )


def _banded(bands: LightBands) -> str:
    way, what = ("up and down", "columns") if bands.upright else ("across", "rows")
    return (
        f"bands about {bands.period_px:.0f} {what} apart and {100 * bands.depth:.1f} % deep run {way} the sheet, "
        "as a flickering lamp makes with a rolling shutter. They falsify the edges that they cross. Expose for "
        "1/25 s or longer (a whole number of flickers), or use daylight or a lamp on direct current."
    )


def _lit(black: LitBlack, size: tuple[int, int]) -> str:
    where = place_in_words(*black.place, size)
    return (
        f"the sheet's black has {100 * black.most:.0f} % of white's light {where}, elsewhere "
        f"{100 * black.usual:.0f} %: a lamp or a window is mirrored by glass or gloss, or flares in the lens. "
        "Edges there are falsified. "
        "Move the lamps to the sides, take glass away, shade the lens, and shoot again."
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


CURVE_ADVICE = (
    "a tone curve was applied, and sharpness, fringing and falloff come out wrong. Measure the raw file; for a "
    'TIFF with the usual curve of screens write encoding = "srgb" under its [[shot]].'
)
"""What to say of numbers that don't follow the light."""


def _tone_curved(asymmetry: float) -> str:
    way = "lighter" if asymmetry > 0 else "darker"
    return (
        f"edges in all directions are {abs(100 * asymmetry):.1f} % {way} than symmetric blur makes them, where a "
        f"lens leaves less than {100 * MAX_ASYMMETRY:.1f} %: {CURVE_ADVICE}"
    )
