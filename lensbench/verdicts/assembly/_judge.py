"""Whether a build was put together straight: its centres together, and what turns when the lens is turned."""

from __future__ import annotations

from collections.abc import Sequence

from lensbench.findings import Assembly, Camera, Setting, SofterSide
from lensbench.formatting import brief
from lensbench.verdicts.assembly._centres import centres_apart, centres_in_words, optical_centres
from lensbench.verdicts.assembly._softer_side import softer_side
from lensbench.verdicts.assembly._turn_test import matters, turn_test_in_words, turn_tests


def judge_assembly(settings: Sequence[Setting], camera: Camera) -> Assembly:
    """Compare the optical centres with each other, and make the turn test where the lens was turned.

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
    centres = optical_centres(settings, camera)
    tests = turn_tests(settings, camera)
    softer = softer_side(settings, camera, tests)
    said = [centres_in_words(centres, camera), *(turn_test_in_words(test, camera) for test in tests)]
    if softer:
        said.insert(0, _softer_in_words(softer))
    decentred = any(test.cause in ("lens", "both") and matters(test, camera) for test in tests)
    decentred |= softer is not None and softer.cause == "lens"
    apart, known = centres_apart(centres, camera), len(centres) >= 2
    if decentred or (known and apart):
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
    return f"{text}: {_CAUSES[softer.cause]}."


_CAUSES = {
    "lens": "something in the lens leans, or the lens against the sensor",
    "target or camera": "the target leaned",
    "both": "the target leaned, and something in the lens does",
    "neither": "no more than chance, by the turn test",
}
_ACROSS = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
