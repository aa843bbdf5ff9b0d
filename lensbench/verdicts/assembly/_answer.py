"""Whether a build was put together straight: leans, centres, and what turns when the lens is turned, together."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import structs

from lensbench.findings import UNTOLD, Assembly, Camera, Setting, SofterSide, TurnTest
from lensbench.formatting import brief
from lensbench.verdicts.assembly._centres import (
    centres_apart,
    centres_in_words,
    known_together,
    optical_centres,
)
from lensbench.verdicts.assembly._faults import centre_faults, curved_field, fault_in_words, lean_faults
from lensbench.verdicts.assembly._lean_judged import LeanJudged, judge_lean
from lensbench.verdicts.assembly._softer_side import softer_side
from lensbench.verdicts.assembly._turn_test import keystone_says, matters, turn_test_in_words, turn_tests
from lensbench.verdicts.assembly._turned_centres import of_centre, turned_centres

CROOKED = ("lens", "front group", "mount or sensor", "lens or mount")
"""Whose leans make a build crooked."""


def judge_assembly(
    settings: Sequence[Setting],
    camera: Camera,
    flange_width_mm: float | None = None,
    pupil_ratio: float = 1.0,
) -> Assembly:
    """Judge together how best focus leans, where the optical centres lie, and what turns with the lens.

    Parameters
    ----------
    settings : sequence of Setting
        With their geometry, fringing, falloff, sharpness and focus, as far as they were measured.
    camera : Camera
        For the frame's size; lengths are in millimetres on the sensor where its size is known.
    flange_width_mm : float, optional
        The width of the lens's flange; gives the thickness of shims.
    pupil_ratio : float
        Exit over entrance pupil.

    Returns
    -------
    Assembly
    """
    centres = optical_centres(settings, camera)
    tests = turn_tests(settings, camera)
    turned = turned_centres(tests, camera)
    judged = judge_lean(settings, camera, pupil_ratio)
    softer = _with_cause(softer_side(settings, camera, tests), settings, camera, judged)
    judged = _with_target(judged, softer)
    magnification = next((s.magnification.value for s in settings if s.magnification), 0.0)
    faults = [*lean_faults(judged, flange_width_mm, magnification), *centre_faults(centres, turned, camera)]
    curved = curved_field(settings)
    if curved is not None:
        faults.append(curved)
    said = [_softer_in_words(softer)] if softer else []
    said += [text for text in map(fault_in_words, faults) if text]
    if judged and judged.straight and not judged.parts:
        said.append(_STRAIGHT[judged.of])
    said += [centres_in_words(centres, turned, camera), *(turn_test_in_words(test, camera) for test in tests)]
    apart, together = bool(centres_apart(centres, camera)), known_together(centres, camera)
    answer = _answer(judged, softer, apart, together, turned, tests, camera)
    return Assembly(answer, centres, tests, "\n".join(said), softer, faults)


_STRAIGHT = {
    "series along the rail": "The series along the rail shows no lean of lens or sensor that matters.",
    "blur": "Blur grows alike towards all sides: nothing leans by as much as a quarter-wave depth in the corners.",
}


def _answer(
    judged: LeanJudged | None,
    softer: SofterSide | None,
    apart: bool,
    together: bool,
    turned: str,
    tests: Sequence[TurnTest],
    camera: Camera,
) -> str:
    """The answer: only with evidence ``straight``, and only where nothing is left open."""
    parts = judged.parts if judged else []
    crooked = apart or any(part.whose in CROOKED for part in parts)
    # How much softer a side gets hangs on where the lens was focused: where the lean itself is known, that counts.
    counting = [test for test in tests if judged is None or test.of != "sharpness"]
    # Centres that turn as one tell that the lens sits off its flange's middle, and is straight in itself.
    counting = [test for test in counting if not of_centre(test)]
    crooked |= turned == "apart"
    crooked |= any(test.cause in ("lens", "both") and matters(test, camera) for test in counting)
    crooked |= judged is None and softer is not None and softer.cause in CROOKED
    if crooked:
        return "not straight"
    untold = turned == "open" or any(part.whose == UNTOLD for part in parts)
    if judged is None:
        untold |= softer is not None and softer.cause in (UNTOLD, "target or camera")
    else:
        untold |= not judged.straight and not parts
    evidence = together or tests or (judged is not None and judged.straight)
    return UNTOLD if untold or not evidence else "straight"


def _with_cause(
    softer: SofterSide | None, settings: Sequence[Setting], camera: Camera, judged: LeanJudged | None
) -> SofterSide | None:
    """The softer side with whose it is: the keystone tells target from camera, a lean that was judged too."""
    if softer is None:
        return None
    told = [part.whose for part in judged.parts if part.whose != UNTOLD] if judged else []
    if told:
        return structs.replace(softer, cause=told[0])
    if softer.cause == "target or camera":
        return structs.replace(softer, cause=keystone_says(settings, camera))
    return softer


def _with_target(judged: LeanJudged | None, softer: SofterSide | None) -> LeanJudged | None:
    """A lean that nothing else tells of is the target's where the softer side is."""
    if judged is None or softer is None or softer.cause != "target":
        return judged
    parts = [p._replace(whose="target") if p.whose == UNTOLD else p for p in judged.parts]
    return judged._replace(parts=parts)


def _softer_in_words(softer: SofterSide) -> str:
    other = " ".join(_ACROSS[word] for word in softer.side.split())
    percent = f"{brief(softer.percent)} %"
    text = f"At {softer.setting} the {softer.side} of the picture is {percent} softer than the {other}"
    if softer.cause == UNTOLD:
        return (
            f"{text}: because of the target or the lens. Either the target leaned, or something in the lens does: "
            "shoot it again with the lens turned half round in its mount (lens_turn_deg) to find out."
        )
    return f"{text}: {_WHOSE[softer.cause]}."


_WHOSE = {
    "lens": "something in the lens leans or is off its axis",
    "front group": "the front group leans or is off its axis",
    "lens or mount": "the lens, its mount or the sensor leans",
    "mount or sensor": "it stays when the lens is turned while the keystone shows the target square, so the mount "
    "or the sensor leans",
    "target": "the target leaned",
    "target or camera": "the target leaned, or the mount or the sensor does: the keystone is too unsure to tell",
    "both": "the target or the camera leaned, and something in the lens does",
    "neither": "no more than chance, by the turn test",
}
_ACROSS = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
