"""What to do next: the few things that would help most, each a sentence that begins with what to do."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import UNTOLD, Report
from lensbench.formatting import listed

MOST = 4
"""So many stand on the first screen."""

_FIRST = (
    "left-out",
    "clipped",
    "motion",
    "out-of-focus",
    "rail",
    "tilted",
    "unlike",
    "dark",
    "tone-curve",
    "sharpened",
)
"""Codes of warnings that a new shot mends, those that spoil most first; their texts say what to do."""


def next_steps(report: Report) -> list[str]:
    """At most `MOST` sentences, the most urgent first."""
    return list(dict.fromkeys([*_mend(report), *_missing(report), *_tell_more(report)]))[:MOST]


def _mend(report: Report) -> Iterator[str]:
    """What spoilt shots, the two worst causes."""
    worst = sorted((w for w in report.warnings if w.code in _FIRST), key=lambda w: _FIRST.index(w.code))
    yield from list({w.code: w.text for w in worst}.values())[:2]


def _missing(report: Report) -> Iterator[str]:
    """What was not shot, or not said in the session file."""
    if not any(setting.sharpness and setting.sharpness.zones for setting in report.settings):
        yield "Photograph the set-square target too: without it there is no sharpness, fringing or size."
    if not any(setting.falloff or setting.dust for setting in report.settings):
        yield "Photograph an even light too: without it there is no falloff and no dirt."
    if report.camera.sensor_mm is None:
        yield "Give the sensor's size in session.toml (sensor_mm), so that figures come in millimetres."
    missing = list(dict.fromkeys(what for s in report.settings if s.limits for what in s.limits.missing))
    if missing:
        yield f"Say {listed(missing)} in session.toml, to compare sharpness with the best possible."


def _tell_more(report: Report) -> Iterator[str]:
    """Which further shots would answer what is open."""
    verdict = report.verdict
    softer = verdict.assembly.softer_side if verdict and verdict.assembly else None
    for fault in verdict.assembly.faults if verdict and verdict.assembly else ():
        if fault.what == "lean" and fault.whose in ("mount or sensor", "lens or mount", "lens", "front group"):
            yield f"Against the lean: {fault.first}."
    if softer and softer.cause == UNTOLD:
        yield (
            f"Find out whose the softer {softer.side} is: shoot target and flat again with the lens turned half "
            "round in its mount (lens_turn_deg = 180)."
        )
    if len({(s.f_number, s.aperture) for s in report.settings}) == 1:
        yield "Shoot other apertures as well, to see which one to use."
    if not report.repeats:
        yield (
            "Shoot everything once more, refocused and remounted (setup = 2): only that tells which differences "
            "between two builds count."
        )
    if verdict and verdict.dirt:
        turned = softer is not None and softer.cause == UNTOLD
        yield from (text for text in verdict.dirt.advice if not (turned and "lens_turn_deg" in text))
