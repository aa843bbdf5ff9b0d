"""Whether the build was put together straight, in a few words: the answer, and what leans or lies off."""

from __future__ import annotations

from lensbench.findings import UNTOLD, Assembly, AssemblyFault, SofterSide
from lensbench.formatting import brief, magnitude, with_interval

_LEANS = {
    "lens": "the lens leans",
    "front group": "the front group leans",
    "mount or sensor": "the mount or the sensor leans",
    "lens or mount": "the lens, its mount or the sensor leans",
    "target": "the sheet leaned",
    UNTOLD: "sheet, mount or lens leans",
}


def assembly_in_short(assembly: Assembly) -> str:
    """The answer and what it is about, such as ``not straight: the lens leans 0.9°``."""
    named = [_fault_in_short(fault) for fault in assembly.faults]
    if not named and assembly.softer_side is not None:
        named = [_softer_in_short(assembly.softer_side)]
    return ": ".join([assembly.answer, *filter(None, [", ".join(named)])])


def _fault_in_short(fault: AssemblyFault) -> str:
    offset = f"{brief(magnitude(fault.offset))} {fault.offset.unit}" if fault.offset else ""
    if fault.what == "off its axis":
        return f"a part of the lens is {offset} off its axis"
    if fault.what == "off the middle":
        return f"the whole lens sits {offset} off the middle"
    if fault.what == "curved field":
        return "the field is curved"
    angle = f" {brief(fault.angle_deg)}°" if fault.angle_deg else ""
    return f"{_LEANS[fault.whose]}{angle}"


def _softer_in_short(softer: SofterSide) -> str:
    cause = "" if softer.cause == UNTOLD else f" ({softer.cause})"
    return f"{softer.side} {with_interval(softer.percent)} softer at {softer.setting}{cause}"
