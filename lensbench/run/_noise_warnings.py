"""What a shot's noise says against its stored numbers, in words: what, how much, and what to do."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.analysers.photon_transfer import (
    NoiseBlocks,
    NoiseSigns,
    SharedNoise,
    measure_noise_line,
    measure_shared_noise,
    read_noise_blocks,
)
from lensbench.findings import Linearity, Notice
from lensbench.shot import Shot

MOST_DEPARTURE_PERCENT = 0.5
"""Departures from a straight line that a camera's own electronics may have (common practice: up to about 1 % over
the whole range, so half of it in the middle)."""

MOST_BELOW_BLACK = 0.01
"""Share of blocks that may be darker than black (dead pixels, marks)."""

BLACK_ADVICE = (
    "Either the black level in the file is wrong, or a tone curve was applied; falloff, glare and sharpness come "
    "out wrong. Measure the camera's own raw file; a dark frame (cap on, same time and ISO) shows where black "
    "really lies."
)
"""What to say of dark parts that contradict the file's black level."""

COARSE_SHARE = 0.4
"""Share of white's variance that rounding may make up."""

SURE = 2.0
"""Half-widths (of 95 %) by which a departure must exceed nothing: four standard deviations."""


def filter_notices(shot: Shot, reference: NoiseBlocks | None, name: str) -> Iterator[Notice]:
    """Samples that were filtered after the sensor, of one colour or all, too little to show otherwise.

    The reference channel's blocks are those that the caller has read.
    """
    found = {}
    for channel in shot.channels:
        blocks = reference if channel == shot.reference else read_noise_blocks(shot, channel)
        shared = measure_shared_noise(blocks) if blocks is not None else None
        if shared is not None:
            found[channel] = shared
    if found:
        found["all colours"] = SharedNoise.mean(list(found.values()))
    for colours, shared in found.items():
        if shared.processed:
            yield Notice("noise-reduced", name, f"{name}: {_filtered(colours, shared)}")
            return


def noise_notices(blocks: NoiseBlocks | None, name: str) -> Iterator[Notice]:
    """What the noise of one shot contradicts: its black level, light that was multiplied, fine enough steps."""
    if blocks is None or len(blocks) == 0:
        return
    if blocks.coarseness > COARSE_SHARE:
        yield Notice("coarse-numbers", name, f"{name}: {_coarse(blocks)}")
        return
    if blocks.below_black > MOST_BELOW_BLACK:
        text = (
            f"{name}: {100 * blocks.below_black:.0f} % of its even areas are darker than the black level that the "
            f"file states. {BLACK_ADVICE}"
        )
        yield Notice("black-level", name, text)
        return
    signs = measure_noise_line(blocks)
    if signs is None:
        return
    if signs.brightened:
        yield Notice("brightened", name, f"{name}: {_brightened(signs)}")
    elif signs.too_quiet or signs.too_noisy:
        yield Notice("black-level", name, f"{name}: {_black_level(signs)}")


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
    what = "smoothing, demosaicing or resampling" if smoother else "sharpening"
    return (
        f"the noise of neighbouring samples of {channel} is not their own (correlation {shared.correlation:.2f}; "
        f"raw samples have 0): {what} was applied, and edges come out {'softer' if smoother else 'sharper'} than "
        "they are. Measure the camera's own raw file, with noise reduction, sharpening and lens corrections off."
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


def _brightened(signs: NoiseSigns) -> str:
    return (
        f"like light is {100 * signs.radial:.0f} % noisier in the corners than in the centre, as no sensor is: "
        "the numbers there were multiplied, as the camera's falloff correction or a tone curve does. Falloff "
        "comes out too small. Turn the camera's lens corrections off and shoot again, or measure its own raw file."
    )


def _coarse(blocks: NoiseBlocks) -> str:
    return (
        f"its numbers come in steps of {blocks.step:.0f}, coarser than the noise, so that fine differences of "
        "light are lost and the figures' intervals are too narrow. It was stored with too few bits or compressed "
        "with loss: use uncompressed or losslessly compressed raw with 12 bits or more."
    )
