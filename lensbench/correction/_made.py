"""A report and how a picture was taken, to the recipe of its correction and what is said of it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from lensbench.correction import _measured as measured
from lensbench.correction._choice import Measured, Taken, Weighted, choose
from lensbench.correction._dirt_left import dirt_left_in_words
from lensbench.correction._recipe import Recipe
from lensbench.errors import BenchError
from lensbench.findings import Report
from lensbench.formatting import listed
from lensbench.shot import Shot

KINDS = ("falloff", "fringing", "dirt", "distortion")
"""What can be taken out of a picture."""

USUAL = ("falloff", "fringing", "dirt")
"""What is taken out unless told otherwise: straight lines are often wanted as the lens draws them."""

_IN_WORDS = {"falloff": "falloff", "fringing": "lateral colour", "dirt": "dirt", "distortion": "distortion"}


@dataclass(frozen=True, eq=False)
class Made:
    """A recipe, and for the user: what is taken out, from which settings, and what to bear in mind."""

    recipe: Recipe
    done: tuple[str, ...]
    caveats: tuple[str, ...]


def make_recipe(report: Report, taken: Taken, kinds: Collection[str] = USUAL) -> Made:
    """Choose what a report says of a picture.

    Parameters
    ----------
    report : Report
    taken : Taken
        How the picture was taken.
    kinds : collection of str
        What to take out, of `KINDS`.

    Raises
    ------
    BenchError
        Where the report says nothing of any of it, or not for such a picture.
    """
    chosen: dict[str, list[Weighted]] = {}
    caveats = []
    finders = {
        "falloff": measured.with_falloff,
        "fringing": measured.with_fringing,
        "distortion": measured.with_distortion,
    }
    for kind, finder in finders.items():
        if kind in kinds:
            settings = finder(report)
            if settings:
                chosen[kind] = choose(_IN_WORDS[kind], settings, taken)
            else:
                caveats.append(f"The report holds no {_IN_WORDS[kind]}, so none is taken out.")
    marks = _dirt(measured.with_dirt(report), taken) if "dirt" in kinds else None
    recipe = Recipe(
        size=report.camera.size_px,
        light=measured.light_of(report, chosen["falloff"]) if "falloff" in chosen else None,
        shadows=measured.shadows_of(report, marks) if marks else (),
        fringing=measured.fringing_of(report, chosen["fringing"]) if "fringing" in chosen else None,
        distortion=measured.distortion_of(report, chosen["distortion"]) if "distortion" in chosen else None,
    )
    if "dirt" in kinds:
        caveats += _dirt_left(report, marks)
    if not chosen and not recipe.shadows:
        raise BenchError("The report holds nothing that could be taken out of a picture. " + " ".join(caveats))
    return Made(recipe, _done(report, chosen, recipe), (*caveats, *_caveats(report, chosen)))


def _dirt(settings: Sequence[Measured], taken: Taken) -> list[Weighted] | None:
    """The one setting whose shadows a picture shows, since they change with the aperture; or None."""
    try:
        chosen = choose("dirt", settings, taken) if settings else []
    except BenchError:
        return None
    return chosen if len(chosen) == 1 else None


def _done(report: Report, chosen: dict[str, list[Weighted]], recipe: Recipe) -> tuple[str, ...]:
    lines = []
    for kind, weights in chosen.items():
        names = listed(list(dict.fromkeys(measured.names_of(report, weights))))
        what = "falloff and colour cast" if kind == "falloff" else _IN_WORDS[kind]
        where = f"between {names}" if len(weights) > 1 else f"at {names}"
        at = sorted({f"{m:.3g}×" for m in measured.magnifications_of(report, weights)})
        lines.append(f"{what}, measured {where}{', magnification ' + listed(at) if at else ''}")
    if recipe.shadows:
        lines.append(f"{len(recipe.shadows)} shadow{'s' * (len(recipe.shadows) > 1)} of dirt on the sensor")
    return tuple(lines)


def _dirt_left(report: Report, weights: list[Weighted] | None) -> list[str]:
    """What is said of dirt whose shadows stay."""
    if weights is not None:
        return dirt_left_in_words(measured.marks_left(report, weights))
    return ["Dirt stays: no flat was taken at the pictures' aperture."] if measured.shows_dirt(report) else []


def _caveats(report: Report, chosen: dict[str, list[Weighted]]) -> list[str]:
    said = []
    if "fringing" in chosen:
        at = measured.magnifications_of(report, chosen["fringing"])
        if at:
            said.append(
                f"Lateral colour changes with distance: it was measured at {max(at):.3g}×, and fits pictures "
                "taken at that magnification."
            )
    if "falloff" in chosen:
        left = measured.light_left_open(report, chosen["falloff"])
        if left is not None and left > 0.03:
            said.append(f"Up to {left:.2g} stop of the light's own unevenness may still be in the falloff.")
        if measured.has_hot_spot(report, chosen["falloff"]):
            said.append("The bright spot in the middle stays: its light is added by reflections, and changes.")
    return said


def check_fits(report: Report, shot: Shot) -> None:
    """Refuse a picture of another camera or another frame than the report's.

    Raises
    ------
    BenchError
        Naming what differs.
    """
    size, wanted = shot.size, report.camera.size_px
    if size != tuple(wanted):
        turned = size == tuple(wanted)[::-1]
        differs = "is stored turned by a quarter" if turned else f"is {size[0]} × {size[1]} pixels"
        raise BenchError(
            f"{shot.name}: {differs}, and the report is of frames of {wanted[0]} × {wanted[1]} pixels. Use the "
            "camera's own full-size raw file."
        )
    camera, model = shot.exposure.camera, report.camera.model
    if model is not None and camera is not None and camera != model:
        raise BenchError(
            f"{shot.name}: comes from {camera}, and the report was measured with {model}. Measure the lens on "
            "this camera too."
        )
