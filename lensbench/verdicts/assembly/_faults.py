"""What isn't straight, in words to act on: whose, which side, how much, what shows it, what to try first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import NORMAL_95, UNTOLD, AssemblyFault, Camera, Figure, OpticalCentre, Setting
from lensbench.formatting import brief, magnitude, with_interval
from lensbench.shot import reference_channel
from lensbench.verdicts.assembly._centres import centres_apart, mean_centre, off_the_middle
from lensbench.verdicts.assembly._lean_judged import LeanJudged, PartLean
from lensbench.verdicts.assembly._softer_side import side_in_words

FIRST = {
    "lens": "loosen the lens's retaining rings, seat every element and spacer flat, tighten evenly and shoot "
    "again; then turn the front group alone (turned = 'front group') to learn which part it is",
    "front group": "seat the front group anew and tighten its ring evenly",
    "mount or sensor": "check that the flange sits flat and its screws are tight, and try the lens on another "
    "camera: what stays is the mount's, what goes is the sensor's",
    "lens or mount": "shoot again with the lens turned half round and a quarter round in its mount (lens_turn_deg "
    "= 180, 90): what turns along is the lens's, what stays the mount's or the sensor's",
    "target": "turn the side of the sheet that is drawn smaller towards the camera, and shoot again",
    UNTOLD: "square the sheet up until the keystone is nothing, take a series along the rail (rail_mm), and "
    "turn the lens half round in its mount (lens_turn_deg = 180)",
}
"""What to try first, by whose a lean is."""

_WHAT = {
    "lens": "The lens leans in itself: its plane of focus",
    "front group": "The front group leans: the plane of focus",
    "mount or sensor": "The mount or the sensor leans: the plane of focus",
    "lens or mount": "The lens, its mount or the sensor leans: the plane of focus",
    "target": "The sheet leaned: the plane of focus",
    UNTOLD: "The sheet, the mount or the lens leans, and these shots can't tell which: the plane of focus",
}

_BACKWARDS = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}


def lean_faults(judged: LeanJudged | None, flange_mm: float | None, magnification: float) -> list[AssemblyFault]:
    """A fault for each part that leans."""
    return [_lean_fault(part, flange_mm, magnification) for part in judged.parts] if judged else []


def _lean_fault(part: PartLean, flange_mm: float | None, magnification: float) -> AssemblyFault:
    way = part.vector / part.size
    sigma = float(np.sqrt(way @ part.covariance @ way))
    angle = Figure.of(part.size * part.seen.degrees, NORMAL_95 * sigma * part.seen.degrees, "°")
    shim = None
    if flange_mm is not None and part.whose not in ("target", UNTOLD):
        # Tilting the lens tilts the plane of focus behind it by 1 + m times as much (Scheimpflug).
        value, half = (
            float(flange_mm * np.tan(np.radians(v)) / (1 + magnification)) for v in (angle.value, angle.half_width)
        )
        shim = Figure.of(value, half, "mm")
    side = side_in_words(part.vector) if part.seen.signed else _axis(part.vector)
    seen = "the series along the rail" if part.seen.signed else "how blur grows towards the sides"
    if part.whose in ("lens", "front group"):
        seen += f", and it turned with the {part.whose}"
    elif part.whose == "mount or sensor":
        seen += ", and it stayed when the lens was turned, while the target stood square"
    elif part.whose == "target":
        seen += ", and the target's keystone accounts for it"
    evidence = f"{seen} (at {part.seen.setting})"
    return AssemblyFault("lean", part.whose, side, angle, shim, None, evidence, FIRST[part.whose])


def _axis(vector: NDArray) -> str:
    """Along which axis of the picture a lean lies whose sign is open."""
    side = side_in_words(vector)
    return f"{' '.join(_BACKWARDS[word] for word in side.split())} to {side}"


def centre_faults(centres: list[OpticalCentre], turned: str, camera: Camera) -> Iterator[AssemblyFault]:
    """One part of the lens off its axis, or the whole lens off the frame's middle; `turned`: how centres turn."""
    apart = centres_apart(centres, camera)
    if apart:
        a, b = apart[0]
        gap = np.array([a.x.value - b.x.value, a.y.value - b.y.value])
        half = float(np.hypot(*np.hypot([a.x.half_width, a.y.half_width], [b.x.half_width, b.y.half_width])))
        yield AssemblyFault(
            "off its axis", "lens", side_in_words(gap), None, None,
            Figure.of(float(np.hypot(*gap)), half, a.x.unit), f"the centre of {a.of} against that of {b.of}",
            "centre the elements in their seats, the front group first, and shoot again",
        )  # fmt: skip
    off = off_the_middle(centres, camera)
    if off is not None:
        with_lens = turned == "together"
        yield AssemblyFault(
            "off the middle", "lens" if with_lens else "mount or sensor", side_in_words(mean_centre(centres)),
            None, None, off,
            f"all optical centres, which lie together{' and turned with the lens' if with_lens else ''}",
            "look whether the lens sits in the middle of its mount; nothing inside it needs to be moved",
        )  # fmt: skip


def curved_field(settings: Sequence[Setting]) -> AssemblyFault | None:
    """A field so curved that corners focused anew are plainly sharper than with the centre in focus."""
    for setting in settings:
        focus = setting.focus
        if focus is None or setting.lens_turn_deg:
            continue
        channel = reference_channel([zone.channel for zone in focus.zones])
        corners = [
            zone
            for zone in focus.zones
            if zone.channel == channel and zone.direction == "mean" and zone.zone.startswith("corner")
        ]
        both = [(z.mtf50_at_best, z.mtf50_at_centre) for z in corners if z.mtf50_at_best and z.mtf50_at_centre]
        if len(both) < 3 or not focus.field:
            continue
        best, centre = (np.mean([pair[k].value for pair in both]) for k in (0, 1))
        step = focus.field[-1]
        bow = (step.sagittal_mm.value + step.tangential_mm.value) / 2
        unsure = np.hypot(step.sagittal_mm.half_width, step.tangential_mm.half_width) / 2
        if best < 1.15 * centre or abs(bow) < unsure + focus.depth_mm.value / 2:
            continue
        return AssemblyFault(
            "curved field", "lens", "farther" if bow > 0 else "nearer", None, None,
            Figure.of(float(bow), float(unsure), "mm"),
            f"corners focused anew are {100 * (best / centre - 1):.0f} % sharper than with the centre in focus",
            "stop down, or focus between centre and corners: no shim flattens a field, other spacings may",
        )  # fmt: skip
    return None


def fault_in_words(fault: AssemblyFault) -> str:
    """A fault as a sentence or two, with its evidence and what to try first."""
    if fault.what == "curved field" and fault.offset:
        where = f"the corners come to focus {with_interval(magnitude(fault.offset))} {fault.side} than the centre"
        return f"The field is curved: {where}; {fault.evidence}. First {fault.first}."
    if fault.what != "lean" or fault.angle_deg is None:
        return ""
    known = " to " not in fault.side
    across = " ".join(_BACKWARDS[word] for word in fault.side.split()) if known else ""
    way = (
        f": at the {fault.side} of the picture it lies farther away than the target, at the {across} nearer"
        if known
        else f", from {fault.side} of the picture; blur alone doesn't show which side is nearer"
    )
    text = f"{_WHAT[fault.whose]} leans by {brief(fault.angle_deg)}° at the sensor{way}. "
    text += f"Shown by {fault.evidence}. "
    if fault.shim_mm is not None:
        thick = f"{brief(fault.shim_mm)} mm"
        text += (
            f"A shim of {thick} under the {across} of the flange, seen from behind the camera, levels it. "
            if known
            else f"A shim of {thick} under one side of the flange would level it. "
        )
    return f"{text}First {fault.first}."
