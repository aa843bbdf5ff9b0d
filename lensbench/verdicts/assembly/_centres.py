"""The optical centres that a build's shots show, and whether they lie together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import Camera, Figure, OpticalCentre, Position, Setting
from lensbench.formatting import brief, listed
from lensbench.frame import centre_of, half_diagonal
from lensbench.verdicts.assembly._softer_side import side_in_words

TOGETHER = 0.025
"""Centres nearer to each other than this share of the half-diagonal (0.5 mm on 36 × 24) lie together (chosen by
experience)."""


def centre_positions(setting: Setting) -> Iterator[tuple[str, Position]]:
    """The centres that one setting shows, each with what it is the centre of."""
    if setting.geometry and setting.geometry.distortion and setting.geometry.distortion.centre_px:
        yield "distortion", setting.geometry.distortion.centre_px
    for field in setting.fringing.fields if setting.fringing else []:
        if field.centre_px:
            yield f"{field.channel} fringing", field.centre_px
    if setting.falloff and setting.falloff.centre_px:
        yield "falloff", setting.falloff.centre_px


def optical_centres(settings: Sequence[Setting], camera: Camera) -> list[OpticalCentre]:
    """Each centre from the setting that shows it most surely, the lens standing as in the first one."""
    if not settings:
        return []
    first = settings[0].lens_turn_deg
    surest: dict[str, Position] = {}
    for setting in settings:
        for of, position in centre_positions(setting) if setting.lens_turn_deg == first else ():
            if of not in surest or _reach(position) < _reach(surest[of]):
                surest[of] = position
    return [OpticalCentre(of, *from_frame_centre(position, camera)) for of, position in surest.items()]


def _reach(position: Position) -> float:
    return max(position.x.half_width, position.y.half_width)


def from_frame_centre(position: Position, camera: Camera) -> tuple[Figure, Figure]:
    """A position in pixels as seen from the frame's centre, in millimetres where the pitch is known."""
    pitch, unit = (1.0, "px") if camera.pixel_pitch_um is None else (camera.pixel_pitch_um / 1000, "mm")
    middle = centre_of(camera.size_px)
    x, y = (
        Figure.of((part.value - start) * pitch, part.half_width * pitch, unit)
        for part, start in zip((position.x, position.y), middle, strict=True)
    )
    return x, y


def together_within(camera: Camera) -> float:
    """How far apart centres may lie, in the unit that they are given in."""
    unit = 1.0 if camera.pixel_pitch_um is None else camera.pixel_pitch_um / 1000
    return TOGETHER * half_diagonal(camera.size_px) * unit


def _vector(centre: OpticalCentre) -> NDArray:
    return np.array([centre.x.value, centre.y.value])


def _gap(a: OpticalCentre, b: OpticalCentre) -> tuple[float, float]:
    """How far two centres lie apart, and how much of that their intervals explain."""
    half = np.hypot([a.x.half_width, a.y.half_width], [b.x.half_width, b.y.half_width])
    return float(np.hypot(*(_vector(a) - _vector(b)))), float(np.hypot(*half))


def centres_apart(centres: list[OpticalCentre], camera: Camera) -> list[tuple[OpticalCentre, OpticalCentre]]:
    """The pairs of centres that lie apart by more than their intervals and more than matters, the widest first."""
    pairs = [(a, b) for i, a in enumerate(centres) for b in centres[i + 1 :]]
    wide = [pair for pair in pairs if _gap(*pair)[0] > together_within(camera) + _gap(*pair)[1]]
    return sorted(wide, key=lambda pair: -_gap(*pair)[0])


def known_together(centres: list[OpticalCentre], camera: Camera) -> bool:
    """Whether there are two centres or more, no two of which lie farther apart than counts as together."""
    within = together_within(camera)
    return len(centres) >= 2 and all(_gap(a, b)[0] <= within for a, b in combinations(centres, 2))


def centres_in_words(centres: list[OpticalCentre], turned: str, camera: Camera) -> str:
    """What the centres say; `turned` is how they turn with the lens (`turned_centres`)."""
    if len(centres) < 2:
        return (
            "Fewer than two optical centres show in these shots (distortion, fringing, falloff), so they can't be "
            "compared."
        )
    unit = centres[0].x.unit
    apart = centres_apart(centres, camera)
    if apart:
        a, b = apart[0]
        gap = brief(Figure.of(*_gap(a, b), unit))
        return (
            f"The centre of {a.of} lies {gap} {unit} {way_in_words(_vector(a) - _vector(b))} the centre of "
            f"{b.of} in the picture: something in the lens is off its axis."
        )
    if not known_together(centres, camera):
        a, b = max(combinations(centres, 2), key=lambda pair: _gap(*pair)[0])
        gap = brief(Figure.of(*_gap(a, b), unit))
        return (
            f"The centres of {a.of} and {b.of} lie {gap} {unit} apart: too unsure to say whether they coincide "
            f"({together_within(camera):.2g} {unit} or less)."
        )
    mean = mean_centre(centres)
    names = listed([centre.of for centre in centres])
    widest = max(_gap(a, b)[0] for a, b in combinations(centres, 2))
    within = together_within(camera)
    together = (
        f"The centres of {names} lie together, at most {widest:.2g} {unit} apart (up to {within:.2g} "
        f"{unit} counts as together)."
    )
    off = off_the_middle(centres, camera)
    if off is None:
        return together
    return (
        f"{together} On average they lie {brief(off)} {unit} {way_in_words(mean)} the frame's centre: "
        "the parts of the lens share one axis, but seen from behind the camera its axis meets the sensor "
        f"{way_in_words(-mean)} its middle. {_OFF_THE_MIDDLE.get(turned, _MOUNT_OR_SENSOR)}"
    )


_MOUNT_OR_SENSOR = "The mount may hold it there, or the sensor itself may sit off the mount's middle."
_OFF_THE_MIDDLE = {
    "together": "It turned with the lens: the lens sits off the middle of its own flange, and nothing inside it "
    "has to be moved.",
}


def mean_centre(centres: Sequence[OpticalCentre]) -> NDArray[np.float64]:
    """The mean of all centres, x right, y down."""
    return np.mean([_vector(centre) for centre in centres], axis=0)


def off_the_middle(centres: list[OpticalCentre], camera: Camera) -> Figure | None:
    """How far centres that lie together lie off the frame's middle; None where that is not much, or not sure."""
    if not known_together(centres, camera):
        return None
    half = [np.hypot(centre.x.half_width, centre.y.half_width) for centre in centres]
    # They may all be off together: no more is won by their number than the surest one gives.
    length = Figure.of(float(np.hypot(*mean_centre(centres))), float(min(half)), centres[0].x.unit)
    return length if length.low > together_within(camera) else None


def way_in_words(vector: NDArray) -> str:
    """Where a vector (x right, y down) leads: ``left of``, ``above``, ``above and right of`` and so on."""
    return " and ".join(_WAYS[word] for word in side_in_words(vector).split())


_WAYS = {"left": "left of", "right": "right of", "top": "above", "bottom": "below"}
