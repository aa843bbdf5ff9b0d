"""The first lines of the page: what the builder wants to know, answered from the figures with their intervals."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lensbench import frame
from lensbench.findings import ApertureRanking, ApertureSharpness, Figure, Report, Setting
from lensbench.formatting import bare, brief, limit, magnitude, spread, with_interval
from lensbench.reporter.plots.sharpness import sharpness_unit, zone_figures
from lensbench.reporter.words import focus as focus_words
from lensbench.reporter.words.fringing import farthest_colour, way
from lensbench.reporter.words.limits import mind_in_words, reached_in_short
from lensbench.reporter.words.sentences import black_corners, in_the
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


def _which_aperture(report: Report) -> Answer:
    question = "Which aperture?"
    ranking = _ranking(report, "frame")
    if ranking is None:
        missing = "No zone could be measured at every aperture. See the zones below."
        if _sharpest(report) is None:
            missing = "No target shot could be measured. Photograph the set-square target."
        return Answer(question, "Can't tell", missing)
    best, *others = ranking.ranked
    if not others:
        return Answer(
            question, best.label, "The only one measured. Shoot the target at other apertures to compare."
        )
    said = f"Sharpest on average over {_averaged(ranking)}: {_over_setups(best)}"
    level = [other.label for other in others if other.level]
    if level:
        said += f"; {listed(level)} can't be told from it."
    else:
        said += f", before {others[0].label} with {_mean(others[0])}."
    if not any(one.spread for one in ranking.ranked):
        said += " Refocusing may change that order."
    return Answer(question, best.label, " ".join([said, *_other_parts(report, best)]))


def _ranking(report: Report, part: str) -> ApertureRanking | None:
    rankings = report.verdict.aperture if report.verdict else []
    return next((ranking for ranking in rankings if ranking.part == part), None)


def _averaged(ranking: ApertureRanking) -> str:
    """What the figures are averaged over."""
    if len(ranking.zones) == len(frame.ZONES):
        return "the whole frame's area"
    return f"the {len(ranking.zones)} of {len(frame.ZONES)} zones that could be measured at every aperture"


def _over_setups(one: ApertureSharpness) -> str:
    """An aperture's mean, with how much its setups differ where it had several."""
    if one.spread is None:
        return with_interval(one.mean)
    setups = f"the mean of {len(one.settings)} setups that differ by ± {spread(one.spread.value)}"
    return f"{_mean(one)} {one.mean.unit}, {setups}"


def _mean(one: ApertureSharpness) -> str:
    """An aperture's mean alone, with as many digits as its noise, or the spread of its setups, allows."""
    return bare(Figure.of(one.mean.value, one.spread.value, one.mean.unit) if one.spread else one.mean)


def _other_parts(report: Report, best: ApertureSharpness) -> Iterator[str]:
    """Where the centre or the corners are plainly sharper at another aperture than the frame as a whole."""
    for part, name in (("centre", "The centre alone is"), ("corners", "The corners alone are")):
        ranking = _ranking(report, part)
        same = next((one for one in ranking.ranked if one.label == best.label), None) if ranking else None
        if same is not None and not same.level:
            first = ranking.ranked[0]
            yield f"{name} sharpest at {first.label}, {_mean(first)} {first.mean.unit} against {_mean(same)}."


def _sharpest(report: Report) -> Setting | None:
    """The setting that speaks for the lens: of the sharpest aperture, the setup that came out best."""
    ranking = _ranking(report, "frame")
    if ranking is not None:
        return report.settings[ranking.ranked[0].settings[0]]
    return next((setting for setting in report.settings if zone_figures(setting, sharpness_unit(report))), None)


def _how_sharp(report: Report) -> Answer:
    question = "How sharp?"
    best = _sharpest(report)
    if best is None:
        return Answer(question, "Not measured", "There is no target shot to measure.")
    figures = zone_figures(best, sharpness_unit(report))
    means = {zone: figures[zone, "mean"] for zone in frame.ZONES if (zone, "mean") in figures}
    zone = min(means, key=lambda zone: means[zone].value)
    shown = "centre" if "centre" in means else max(means, key=lambda zone: means[zone].value)
    most = means[shown]
    share = means[zone].scaled(100 / most.value, "%")
    return Answer(
        question,
        f"{brief(most, 3)} {most.unit}",
        f"in {in_the(shown)} at {best.name}. The softest zone, {in_the(zone)}, has {brief(share)} %"
        f" of that ({with_interval(means[zone])}). {reached_in_short(best, shown)} {mind_in_words(best)}".strip(),
    )


def _which_colours(report: Report) -> Answer:
    question = "Colour fringes?"
    best = next((s for s in (_sharpest(report), *report.settings) if s and s.fringing and s.fringing.zones), None)
    if best is None:
        return Answer(question, "Not measured", "There is no target shot in colour to measure.")
    zone, figure = farthest_colour(best)
    lies = "sideways: an element may sit off-centre" if way(zone) == "sideways" else way(zone)
    more = (
        f"at most from green ({with_interval(figure)}): {zone.channel} in {in_the(zone.zone)}, {lies}, at "
        f"{best.name}."
    )
    worst = best.fringing.worst
    if worst is not None and worst.width_px is not None:
        more += (
            f" Together the colours make a seam of up to {brief(worst.width_px)} px on the edges of things, in "
            f"{in_the(worst.zone)}."
        )
    return Answer(question, f"{brief(figure)} px", more)


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
    black = {s.name: corners for s in report.settings if (corners := black_corners(s))}
    if black:
        name, corners = max(black.items(), key=lambda item: len(item[1]))
        where = f"the {listed(corners)} corner{'s' * (len(corners) > 1)} at {name}"
        return Answer(question, "Black", f"in {where}: more than 8 stops down. The image circle ends before them.")
    if any(s.falloff and not s.falloff.covers_frame for s in report.settings):
        cover = "The image circle does not cover the frame."
    else:
        cover = "The image circle covers the frame."
    place = f"{in_the(zone)} at {setting.name}"
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
    more = f"at {setting.name}; the plainest {effect}, {where}."
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
    best = _sharpest(report)
    setting = next((s for s in (best, *report.settings) if s and s.focus), None)
    bow = focus_words.curvature(setting.focus) if setting else None
    if bow is None:
        return []
    flat = focus_words.is_flat(setting.focus)
    way = "farther" if bow.value > 0 else "nearer"
    more = f"The rim focuses {with_interval(magnitude(bow))} {way} than the centre; the depth of field is ± "
    more += f"{bare(setting.focus.depth_mm)} mm at {setting.name}."
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
        f"{limit(row.smallest_difference)} {row.mean.unit}."
    )
    return [Answer("How repeatable?", f"± {spread(percent)} %", more)]
