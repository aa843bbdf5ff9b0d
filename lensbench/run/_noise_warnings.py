"""What a shot's noise says against its stored numbers, in words: what, how much, and what to do."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.analysers.photon_transfer import (
    MAX_FULL_WELL_ELECTRONS,
    NoiseAssessment,
    NoiseSigns,
    SharedNoise,
)
from lensbench.analysers.shot_quality import ShotSigns
from lensbench.findings import Linearity, Notice
from lensbench.run._shot_warnings import CURVE_ADVICE

MOST_DEPARTURE_PERCENT = 0.5
"""Departures from a straight line that a camera's own electronics may have (common practice: up to about 1 % over
the whole range, so half of it in the middle)."""

BLACK_ADVICE = (
    "Either the black level in the file is wrong, or a tone curve was applied; falloff, glare and sharpness come "
    "out wrong. Measure the camera's own raw file; a dark frame (cap on, same time and ISO) shows where black "
    "really lies."
)
"""What to say of dark parts that contradict the file's black level."""

SURE = 2.0
"""Half-widths (of 95 %) by which a departure must exceed nothing: four standard deviations."""


def noise_notices(noise: NoiseAssessment | None, name: str) -> Iterator[Notice]:
    """What the noise of one shot contradicts: its black level, light that was multiplied, fine enough steps."""
    if noise is None:
        return
    if noise.coarse:
        yield Notice("coarse-numbers", name, f"{name}: {_coarse(noise.step)}")
    elif noise.dark_below_black:
        text = (
            f"{name}: {100 * noise.below_black:.0f} % of its even areas are darker than the black level that the "
            f"file states. {BLACK_ADVICE}"
        )
        yield Notice("black-level", name, text)
    elif noise.line is not None and noise.line.brightened:
        yield Notice("brightened", name, f"{name}: {_brightened(noise.line)}")
    elif noise.line is not None and noise.curved:
        yield Notice("tone-curve", name, f"{name}: {_curved(noise.line)}")
    elif noise.line is not None and (noise.line.too_quiet or noise.line.too_noisy):
        yield Notice("black-level", name, f"{name}: {_black_level(noise.line)}")
    elif noise.off_the_line:
        yield Notice("tone-curve", name, f"{name}: {_off_the_line(noise.misfit)}")


def target_noise_notices(noise: NoiseAssessment | None, signs: ShotSigns, name: str) -> Iterator[Notice]:
    """What a target shot's noise contradicts besides what its edges have told already: filters too."""
    for notice in noise_notices(noise, name):
        if not (signs.tone_curved and notice.code in ("tone-curve", "black-level")):
            yield notice
    if noise is None:
        return
    if noise.filtered is not None:
        if not (signs.sharpened and noise.filtered[1].correlation < 0):
            yield Notice("noise-reduced", name, f"{name}: {_filtered(*noise.filtered)}")
    elif noise.too_quiet and not noise.coarse:
        yield Notice("noise-reduced", name, f"{name}: {_quiet(noise.full_well_electrons)}")


def noise_caveats(noise: NoiseAssessment | None) -> list[str]:
    """A few words each on what of a target shot's noise says that its sharpness is falsified."""
    if noise is None:
        return []
    words = ["a tone curve"] if noise.curved or noise.off_the_line else []
    return [*words, "noise reduction or resampling"] if noise.filtered or noise.too_quiet else words


def linearity_notices(linearity: Linearity | None) -> Iterator[Notice]:
    """A tone curve that two like shots show."""
    if linearity is None:
        return
    figure = linearity.departure_percent
    if abs(figure.value) < max(SURE * figure.half_width, MOST_DEPARTURE_PERCENT):
        return
    first, second = linearity.shots
    text = (
        f"{first} and {second}: photon noise, which grows in proportion to the light, shows that stored numbers "
        f"don't: half-way up they lie {abs(figure.value):.1f} % of white too "
        f"{'high' if figure.value > 0 else 'low'}. A tone curve was applied, and sharpness, falloff and glare "
        "come out wrong. Measure the camera's own raw file, or convert it without curves."
    )
    yield Notice("tone-curve", first, text)


def _filtered(channel: str, shared: SharedNoise) -> str:
    smoother = shared.correlation > 0
    what = "noise reduction, demosaicing or resampling" if smoother else "sharpening"
    return (
        f"neighbouring samples of {channel} share their noise (correlation {shared.correlation:.2f}; raw samples "
        f"have 0): {what} was applied, and edges come out {'softer' if smoother else 'sharper'} than "
        "they are. Measure the camera's own raw file, with noise reduction, sharpening and lens corrections off."
    )


def _quiet(full_well_electrons: float) -> str:
    implied, most = (electrons / 1000 for electrons in (full_well_electrons, MAX_FULL_WELL_ELECTRONS))
    return (
        f"white is so free of noise that a pixel would have to hold {implied:,.0f} thousand "
        f"electrons; no camera's holds more than {most:.0f}. Noise reduction was applied, or it "
        "is an average of many shots. Averages are fine; otherwise measure the raw file."
    )


def _black_level(signs: NoiseSigns) -> str:
    share = 100 * abs(signs.black_offset) / signs.full_scale
    if signs.too_quiet:
        seen = (
            "its dark parts are less noisy than their photons alone, as if black lay about "
            f"{-signs.black_offset:.0f} stored numbers ({share:.1f} % of full scale) higher than the file states"
        )
    else:
        seen = (
            f"its dark parts are as noisy as if read noise were {signs.read_electrons:.0f} electrons, where "
            f"cameras have 1 to 15, or black lay about {signs.black_offset:.0f} stored numbers ({share:.1f} % of "
            "full scale) lower than the file states"
        )
    return f"{seen}. {BLACK_ADVICE}"


def _off_the_line(misfit: float) -> str:
    return (
        "photon noise grows in proportion to the light, but that of its stored numbers does not: it lies "
        f"{100 * misfit:.0f} % off any line that a sensor draws. A tone curve was applied, or parts of the frame "
        "were multiplied, as the camera's falloff correction does; falloff, glare and sharpness come out wrong. "
        "Measure the camera's own raw file, with lens corrections off, or convert it without curves."
    )


def _curved(signs: NoiseSigns) -> str:
    return (
        f"black is as noisy, compared with white, as if read noise were {signs.read_electrons:.0f} electrons, "
        f"where cameras have 1 to 15: {CURVE_ADVICE}"
    )


def _brightened(signs: NoiseSigns) -> str:
    return (
        f"like light is {100 * signs.radial:.0f} % noisier in the corners than in the centre, as no sensor is: "
        "the numbers there were multiplied, as the camera's falloff correction or a tone curve does. Falloff "
        "comes out too small. Turn the camera's lens corrections off and shoot again, or measure its own raw file."
    )


def _coarse(step: float) -> str:
    return (
        f"its numbers come in steps of {step:.0f}, coarser than the noise, so that fine differences of "
        "light are lost and the figures' intervals are too narrow. It was stored with too few bits or compressed "
        "with loss: use uncompressed or losslessly compressed raw with 12 bits or more."
    )
