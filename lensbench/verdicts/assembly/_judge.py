"""Whether a build was put together straight: its centres together, and what turns when the lens is turned."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import (
    NORMAL_95,
    Assembly,
    Camera,
    Figure,
    OpticalCentre,
    Position,
    Setting,
    SofterSide,
    TurnTest,
)
from lensbench.formatting import brief, listed
from lensbench.frame import centre_of, half_diagonal
from lensbench.verdicts.assembly._softer_side import (
    NOT_CHANCE,
    SOFTER,
    Arrow,
    sharpness_arrow,
    side_in_words,
    softer_side,
)

TOGETHER = 0.025
"""Centres nearer to each other than this share of the half-diagonal (0.5 mm on 36 × 24) lie together."""

LOPSIDED = {"sharpness": SOFTER, "keystone": 0.2}
"""Percent for one half-diagonal from which a lens's share in these counts against it (our own choice)."""


def judge_assembly(settings: Sequence[Setting], camera: Camera) -> Assembly:
    """Hold the optical centres against each other, and make the turn test where the lens was turned.

    Parameters
    ----------
    settings : sequence of Setting
        With their geometry, fringing, falloff and sharpness, as far as they were measured.
    camera : Camera
        For the frame's size; lengths are in millimetres on the sensor where its size is known.

    Returns
    -------
    Assembly
    """
    centres = _centres(settings, camera)
    tests = turn_tests(settings, camera)
    softer = softer_side(settings, camera, tests)
    said = [_centres_in_words(centres, camera), *(_test_in_words(test, camera) for test in tests)]
    if softer:
        said.insert(0, _softer_in_words(softer))
    crooked = any(test.cause in ("lens", "both") and _matters(test, camera) for test in tests)
    crooked |= softer is not None and softer.cause == "lens"
    apart, known = _apart(centres, camera), len(centres) >= 2
    if crooked or (known and apart):
        answer = "not straight"
    elif (softer and softer.cause == "can't tell") or not (known or tests):
        answer = "can't tell"
    else:
        answer = "straight"
    return Assembly(answer, centres, tests, " ".join(said), softer)


def _softer_in_words(softer: SofterSide) -> str:
    other = " ".join(_ACROSS[word] for word in softer.side.split())
    percent = f"{brief(softer.percent)} %"
    text = f"At {softer.setting} the {softer.side} of the picture is {percent} softer than the {other}"
    if softer.cause == "can't tell":
        return (
            f"{text}: because of the target or the lens. Either the target leaned, or something in the lens does: "
            "shoot it again with the lens turned half round in its mount (lens_turn_deg) to find out."
        )
    return f"{text}: {_WHOSE[softer.cause]}."


_WHOSE = {
    "lens": "something in the lens leans, or the lens against the sensor",
    "target or camera": "the target leaned",
    "both": "the target leaned, and something in the lens does",
    "neither": "no more than chance, by the turn test",
}
_ACROSS = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}


# -- centres --------------------------------------------------------------------------------------------------


def _centre_places(setting: Setting) -> Iterable[tuple[str, Position]]:
    """The centres that one setting shows, each with what it is the centre of."""
    if setting.geometry and setting.geometry.distortion and setting.geometry.distortion.centre_px:
        yield "distortion", setting.geometry.distortion.centre_px
    for field in setting.fringing.fields if setting.fringing else []:
        if field.centre_px:
            yield f"{field.channel} fringing", field.centre_px
    if setting.falloff and setting.falloff.centre_px:
        yield "falloff", setting.falloff.centre_px


def _centres(settings: Sequence[Setting], camera: Camera) -> list[OpticalCentre]:
    """Each centre from the setting that shows it most surely, the lens standing as in the first one."""
    if not settings:
        return []
    first = settings[0].lens_turn_deg
    surest: dict[str, Position] = {}
    for setting in settings:
        for of, place in _centre_places(setting) if setting.lens_turn_deg == first else ():
            if of not in surest or _reach(place) < _reach(surest[of]):
                surest[of] = place
    return [OpticalCentre(of, *_from_middle(place, camera)) for of, place in surest.items()]


def _reach(place: Position) -> float:
    return max(place.x.half_width, place.y.half_width)


def _from_middle(place: Position, camera: Camera) -> tuple[Figure, Figure]:
    """A place in pixels as seen from the frame's centre, in millimetres where the pitch is known."""
    pitch, unit = (1.0, "px") if camera.pixel_pitch_um is None else (camera.pixel_pitch_um / 1000, "mm")
    middle = centre_of(camera.size_px)
    x, y = (
        Figure.of((part.value - start) * pitch, part.half_width * pitch, unit)
        for part, start in zip((place.x, place.y), middle, strict=True)
    )
    return x, y


def _near(camera: Camera) -> float:
    """How far apart centres may lie, in the unit that they are given in."""
    unit = 1.0 if camera.pixel_pitch_um is None else camera.pixel_pitch_um / 1000
    return TOGETHER * half_diagonal(camera.size_px) * unit


def _vector(centre: OpticalCentre) -> NDArray:
    return np.array([centre.x.value, centre.y.value])


def _gap(a: OpticalCentre, b: OpticalCentre) -> tuple[float, float]:
    """How far two centres lie apart, and how much of that their intervals explain."""
    half = np.hypot([a.x.half_width, a.y.half_width], [b.x.half_width, b.y.half_width])
    return float(np.hypot(*(_vector(a) - _vector(b)))), float(np.hypot(*half))


def _apart(centres: list[OpticalCentre], camera: Camera) -> list[tuple[OpticalCentre, OpticalCentre]]:
    """The pairs of centres that lie apart by more than their intervals and more than matters, the widest first."""
    pairs = [(a, b) for i, a in enumerate(centres) for b in centres[i + 1 :]]
    wide = [pair for pair in pairs if _gap(*pair)[0] > _near(camera) + _gap(*pair)[1]]
    return sorted(wide, key=lambda pair: -_gap(*pair)[0])


def _centres_in_words(centres: list[OpticalCentre], camera: Camera) -> str:
    if len(centres) < 2:
        return (
            "Fewer than two optical centres show in these shots (distortion, fringing, falloff), so they can't be "
            "compared."
        )
    unit = centres[0].x.unit
    apart = _apart(centres, camera)
    if apart:
        a, b = apart[0]
        gap = brief(Figure.of(*_gap(a, b), unit))
        return (
            f"The centre of {a.of} lies {gap} {unit} {way_in_words(_vector(a) - _vector(b))} the centre of "
            f"{b.of} in the picture: something in the lens is off its axis."
        )
    mean = np.mean([_vector(centre) for centre in centres], axis=0)
    names = listed([centre.of for centre in centres])
    widest = max(_gap(a, b)[0] for a, b in combinations(centres, 2))
    together = (
        f"The centres of {names} lie together, at most {widest:.2g} {unit} apart (up to {_near(camera):.2g} "
        f"{unit} beyond their intervals counts as together)."
    )
    if np.hypot(*mean) <= 2 * _near(camera):
        return together
    return (
        f"{together} On average they lie {np.hypot(*mean):.2g} {unit} {way_in_words(mean)} the frame's centre: "
        f"the lens is straight in itself, but seen from behind the camera its axis meets the sensor "
        f"{way_in_words(-mean)} its middle."
    )


def way_in_words(vector: NDArray) -> str:
    """Where a vector (x right, y down) leads: ``left of``, ``above``, ``above and right of`` and so on."""
    return " and ".join(_WAYS[word] for word in side_in_words(vector).split())


_WAYS = {"left": "left of", "right": "right of", "top": "above", "bottom": "below"}


# -- the turn test --------------------------------------------------------------------------------------------


def turn_tests(settings: Sequence[Setting], camera: Camera) -> list[TurnTest]:
    """Split every lopsidedness that was measured at two turns of the lens, or more, at one aperture.

    An arrow that stays while the lens turns belongs to the target or the camera; one that turns along with the
    lens belongs to the lens.
    """
    tests: dict[str, TurnTest] = {}
    for label in dict.fromkeys(setting.label for setting in settings):
        alike = [setting for setting in settings if setting.label == label]
        arrows: dict[str, list[tuple[float, Arrow]]] = {}
        for setting in alike:
            for of, arrow in _arrows(setting, camera):
                arrows.setdefault(of, []).append((setting.lens_turn_deg, arrow))
        for of, turned in arrows.items():
            if of not in tests and len({turn % 360 for turn, _ in turned}) >= 2:
                tests[of] = split_by_turn(of, turned)
    return list(tests.values())


def split_by_turn(of: str, turned: Sequence[tuple[float, Arrow]]) -> TurnTest:
    """Split one arrow, seen at several turns of the lens, into what stays and what turns.

    Parameters
    ----------
    of : str
        What is lopsided.
    turned : sequence of (float, Arrow)
        The lens's turn in degrees, anticlockwise as seen in the picture, and the arrow seen then.
    """
    rows, values, weights = [], [], []
    for turn, arrow in turned:
        cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        rows.append([[1, 0, cos, sin], [0, 1, -sin, cos]])
        values.append(arrow.vector)
        weights.append(1 / arrow.spread)
    weight = np.concatenate(weights)
    columns = np.concatenate(rows) * weight[:, None]
    covariance = np.linalg.pinv(columns.T @ columns, hermitian=True)
    parts = covariance @ columns.T @ (np.concatenate(values) * weight)
    spread = np.sqrt(np.diagonal(covariance))
    unit = turned[0][1].unit
    figures = [Figure.of(v, NORMAL_95 * s, unit) for v, s in zip(parts, spread, strict=True)]
    stays, turns = (
        bool(parts[part] @ np.linalg.pinv(covariance[part, part], hermitian=True) @ parts[part] > NOT_CHANCE)
        for part in (slice(0, 2), slice(2, 4))
    )
    cause = {(True, True): "both", (True, False): "target or camera", (False, True): "lens"}.get(
        (stays, turns), "neither"
    )
    return TurnTest(of, (figures[0], figures[1]), (figures[2], figures[3]), cause)


def _arrows(setting: Setting, camera: Camera) -> Iterable[tuple[str, Arrow]]:
    """Everything lopsided about one setting, each with its name."""
    sharpness = sharpness_arrow(setting, camera)
    if sharpness is not None:
        yield "sharpness", sharpness
    if setting.geometry and setting.geometry.alignment:
        alignment = setting.geometry.alignment
        # Both for one half-diagonal, so that the arrow turns as an arrow does.
        reach = half_diagonal(camera.size_px) / np.asarray(camera.size_px)
        parts = alignment.wider_left_percent, alignment.wider_top_percent
        yield "keystone", _arrow(parts, reach)
    for of, place in _centre_places(setting):
        yield f"centre of {of}", _arrow(_from_middle(place, camera), np.ones(2))


def _arrow(parts: tuple[Figure, Figure], scale: NDArray) -> Arrow:
    values = np.array([part.value for part in parts])
    spread = np.array([part.half_width for part in parts]) / NORMAL_95
    return Arrow(values * scale, np.maximum(spread * scale, 1e-9), parts[0].unit)


def _matters(test: TurnTest, camera: Camera) -> bool:
    """Whether the lens's share is larger than a well-made lens's would be."""
    least = LOPSIDED.get(test.of, _near(camera))
    x, y = test.turns
    return float(np.hypot(x.value, y.value)) > least


def _test_in_words(test: TurnTest, camera: Camera) -> str:
    words = {
        "lens": "turned with the lens: it belongs to the lens",
        "target or camera": "stayed when the lens was turned: it belongs to the target or the camera",
        "both": "partly turned with the lens and partly stayed: both have a share",
    }
    if test.cause not in words:
        return f"The {test.of} is the same on all sides, within chance."
    small = "" if test.cause == "target or camera" or _matters(test, camera) else ", though too little to matter"
    return f"The asymmetry of the {test.of} {words[test.cause]}{small}."
