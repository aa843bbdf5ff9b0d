"""The first lines of the page: what the builder wants to know, answered from the figures with their intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lensbench import frame
from lensbench.findings import Figure, Report, Setting
from lensbench.reporter import focus_words, sentences
from lensbench.reporter.limits_words import mind_in_words, reached_in_short
from lensbench.reporter.numbers import bare, brief, magnitude, with_interval
from lensbench.reporter.sentences import in_the
from lensbench.reporter.sharpness_panel import sharpness_unit, zone_figures
from lensbench.wording import listed


@dataclass(frozen=True)
class Answer:
    """A question, its answer in a few words, and a sentence that says more."""

    question: str
    short: str
    more: str


def answers(report: Report) -> list[Answer]:
    """The answers of a report in the order in which a builder asks."""
    return [
        _which_aperture(report),
        _how_sharp(report),
        _which_colours(report),
        _how_dark(report),
        _how_clean(report),
        *_how_straight(report),
        *_how_flat(report),
        *_how_repeatable(report),
    ]


def frame_sharpness(report: Report, setting: Setting) -> Figure | None:
    """The mean MTF50 over the frame's area, zone by zone, with the shot's own interval; None without zones."""
    unit = sharpness_unit(report)
    figures = zone_figures(setting, unit)
    shares = _zone_shares(report.camera.size_px)
    parts = [(shares[zone], figures[zone, "mean"]) for zone in frame.ZONES if (zone, "mean") in figures]
    area = sum(share for share, _ in parts)
    if not area:
        return None
    value = sum(share * figure.value for share, figure in parts) / area
    half = math.sqrt(sum((share * figure.half_width) ** 2 for share, figure in parts)) / area
    return Figure.of(value, half, unit)


def _zone_shares(size: tuple[int, int]) -> dict[str, float]:
    """What part of the frame's area each zone takes."""
    x, y = np.meshgrid(np.linspace(0, size[0] - 1, 241), np.linspace(0, size[1] - 1, 161))
    counts = np.bincount(frame.zone_index(x, y, size).ravel(), minlength=len(frame.ZONES))
    return dict(zip(frame.ZONES, counts / x.size, strict=True))


def told_apart(first: Figure, second: Figure) -> bool:
    """Whether two figures differ by more than their shots' noise allows (95 %)."""
    return abs(first.value - second.value) > math.hypot(first.half_width, second.half_width)


def _which_aperture(report: Report) -> Answer:
    question = "Which aperture?"
    ranked = [(frame_sharpness(report, setting), sentences.setting_name(setting)) for setting in report.settings]
    ranked = sorted((pair for pair in ranked if pair[0]), key=lambda pair: -pair[0].value)
    if not ranked:
        return Answer(
            question, "Can't tell", "No target shot could be measured. Photograph the set-square target."
        )
    best, name = ranked[0]
    if len(ranked) == 1:
        return Answer(question, name, "The only one measured. Shoot the target at other apertures to compare.")
    level = [other for figure, other in ranked[1:] if not told_apart(best, figure)]
    said = f"Sharpest over the whole frame: {with_interval(best)} on average"
    if level:
        return Answer(question, name, f"{said}; {listed(level)} can't be told from it.")
    second, other = ranked[1]
    return Answer(question, name, f"{said}, before {other} with {bare(second)}. Refocusing may change that order.")


def _best_setting(report: Report) -> Setting | None:
    """The setting that is sharpest over the frame."""
    ranked = [(setting, frame_sharpness(report, setting)) for setting in report.settings]
    ranked = [(setting, figure) for setting, figure in ranked if figure]
    return max(ranked, key=lambda pair: pair[1].value)[0] if ranked else None


def _how_sharp(report: Report) -> Answer:
    question = "How sharp?"
    best = _best_setting(report)
    if best is None:
        return Answer(question, "Not measured", "There is no target shot to measure.")
    figures = zone_figures(best, sharpness_unit(report))
    means = {zone: figures[zone, "mean"] for zone in frame.ZONES if (zone, "mean") in figures}
    zone = min(means, key=lambda zone: means[zone].value)
    shown = "centre" if "centre" in means else max(means, key=lambda zone: means[zone].value)
    most = means[shown]
    share = round(100 * means[zone].value / most.value)
    return Answer(
        question,
        f"{brief(most, 3)} {most.unit}",
        f"in {in_the(shown)} at {sentences.setting_name(best)}. The softest zone, {in_the(zone)}, has {share} %"
        f" of that ({with_interval(means[zone])}). {reached_in_short(best, shown)} {mind_in_words(best)}".strip(),
    )


def _which_colours(report: Report) -> Answer:
    question = "Colour fringes?"
    best = next(
        (s for s in (_best_setting(report), *report.settings) if s and s.fringing and s.fringing.zones), None
    )
    if best is None:
        return Answer(question, "Not measured", "There is no target shot in colour to measure.")
    worst = max(best.fringing.zones, key=lambda z: math.hypot(z.radial_px.value, z.around_px.value))
    size = math.hypot(worst.radial_px.value, worst.around_px.value)
    figure = Figure.of(size, worst.radial_px.half_width, "px")
    if abs(worst.radial_px.value) < 0.7 * size:
        way = "sideways: an element may sit off-centre"
    else:
        way = "outward" if worst.radial_px.value > 0 else "inward"
    return Answer(
        question,
        f"{brief(figure)} px",
        f"at most ({with_interval(figure)}): {worst.channel} in {in_the(worst.zone)}, {way}, at "
        f"{sentences.setting_name(best)}.",
    )


def _how_dark(report: Report) -> Answer:
    question = "Dark corners?"
    worst = [
        (zone.stops, zone.zone, setting)
        for setting in report.settings
        if setting.falloff
        for zone in setting.falloff.zones
    ]
    if not worst:
        return Answer(question, "Not measured", "There is no flat to measure. Photograph the even light.")
    stops, zone, setting = max(worst, key=lambda entry: entry[0].value)
    if any(s.falloff and not s.falloff.covers_frame for s in report.settings):
        cover = "The image circle does not cover the frame."
    else:
        cover = "The image circle covers the frame."
    place = f"{in_the(zone)} at {sentences.setting_name(setting)}"
    return Answer(question, f"{brief(stops)} stops", f"in {place} ({with_interval(stops)}). {cover}")


def _how_clean(report: Report) -> Answer:
    question = "Is the glass clean?"
    seen = [(len(setting.dust.marks), setting) for setting in report.settings if setting.dust]
    if not seen:
        return Answer(question, "Not measured", "There is no flat to look at. Photograph the even light.")
    count, setting = max(seen, key=lambda pair: pair[0])
    if count == 0:
        return Answer(question, "Clean", "No dirt mark stands out of the noise in any flat.")
    plainest = setting.dust.marks[0]
    where = frame.place_in_words(plainest.x, plainest.y, report.camera.size_px)
    depth = brief(magnitude(plainest.depth_percent))
    effect = f"takes {depth} % of the light" if plainest.depth_percent.value > 0 else f"is {depth} % brighter"
    dirt = report.verdict.dirt if report.verdict else None
    more = f"at {sentences.setting_name(setting)}; the plainest {effect}, {where}."
    return Answer(
        question,
        f"{count} mark{'s' if count > 1 else ''}",
        " ".join(filter(None, [more, dirt.places, dirt.apertures])) if dirt else more,
    )


def _how_straight(report: Report) -> list[Answer]:
    """Whether the build is straight, where its optical centres can tell."""
    assembly = report.verdict.assembly if report.verdict else None
    if assembly is None or not assembly.centres:
        return []
    return [Answer("Put together straight?", assembly.answer.capitalize(), assembly.text)]


def _how_flat(report: Report) -> list[Answer]:
    """Whether centre and corners come into focus together, where a series along a rail can tell."""
    best = _best_setting(report)
    setting = next((s for s in (best, *report.settings) if s and s.focus), None)
    bow = focus_words.curvature(setting.focus) if setting else None
    if bow is None:
        return []
    flat = focus_words.is_flat(setting.focus)
    way = "farther" if bow.value > 0 else "nearer"
    more = f"The rim focuses {with_interval(magnitude(bow))} {way} than the centre; the depth of field is ± "
    more += f"{bare(setting.focus.depth_mm)} mm at {sentences.setting_name(setting)}."
    return [Answer("Is the field flat?", "Flat" if flat else f"Curved by {brief(magnitude(bow))} mm", more)]


def _how_repeatable(report: Report) -> list[Answer]:
    """By how much two builds must differ, where repeats can tell."""
    known = [(repeats, focus_words.centre_repeated(repeats)) for repeats in report.repeats]
    known = [(repeats, row) for repeats, row in known if row]
    if not known:
        return []
    repeats, row = max(known, key=lambda pair: pair[1].setups)
    percent = 100 * row.spread.value / row.mean.value
    more = (
        f"from one setup to the next in {in_the(row.zone)} ({row.setups} setups at "
        f"{focus_words.repeats_name(repeats)}). A build shot in as many must differ by more than "
        f"{focus_words.like(row, row.differ_by)} {row.mean.unit}."
    )
    return [Answer("How repeatable?", f"± {bare(Figure.of(percent, percent / 10, '%'))} %", more)]
