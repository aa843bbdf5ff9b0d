"""The first lines of the page: what the builder wants to know, answered from the figures with their intervals."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lensbench import frame
from lensbench.findings import ApertureRanking, ApertureSharpness, Dirt, Fringing, Mark, Report, trusted_falloffs
from lensbench.formatting import brief, first_capital, limit, listed, magnitude, spread, with_interval
from lensbench.reporter.values.apertures import bare_mean, ranking_of, sharpest_setting
from lensbench.reporter.values.dirt import dirt_of, marks_of, numbers_at
from lensbench.reporter.values.focus import curvature, is_flat
from lensbench.reporter.values.fringing import farthest_colour, way
from lensbench.reporter.values.light import black_corners, together
from lensbench.reporter.values.repeats import centre_repeated, repeats_name
from lensbench.reporter.values.zones import in_the
from lensbench.reporter.words.apertures import choice_in_short, series_in_words, series_of
from lensbench.reporter.words.assembly import assembly_in_short
from lensbench.reporter.words.goals import answer_in_short, goals_in_words, grades_in_words
from lensbench.reporter.words.limits import achieved_in_short, caveat_in_words
from lensbench.reporter.words.print_size import prints_in_words, prints_of, sure_size
from lensbench.reporter.words.zones import alone, unmeasured_in_words
from lensbench.verdicts.zones import known_zones


@dataclass(frozen=True)
class Answer:
    """A question, its answer in a few words, and lines that say more."""

    question: str
    short: str
    more: str


def answers(report: Report) -> list[Answer]:
    """The answers of a report in the order in which a builder asks."""
    return [
        *_goals(report),
        _which_aperture(report),
        *_which_for_what(report),
        _how_sharp(report),
        *_how_large_a_print(report),
        _which_colours(report),
        _how_dark(report),
        _how_clean(report),
        *_how_straight(report),
        *_how_flat(report),
        *_how_repeatable(report),
    ]


def _goals(report: Report) -> list[Answer]:
    """Whether the build reached its goals, where the session file has any."""
    grades = report.verdict.goals if report.verdict else None
    if grades is None:
        return []
    more = " ".join([*goals_in_words(grades), *grades_in_words(grades)])
    return [Answer("Goals", answer_in_short(grades), more)]


def _which_aperture(report: Report) -> Answer:
    question = "Which aperture?"
    ranking = ranking_of(report, "frame")
    if ranking is None:
        missing = "No zone could be measured at every aperture. See the zones below."
        if sharpest_setting(report) is None:
            missing = "No target shot could be measured. Photograph the set-square target."
        return Answer(question, "Can't tell", missing)
    best, *others = ranking.ranked
    if not others:
        return Answer(
            question, best.label, "The only one measured. Shoot the target at other apertures to compare."
        )
    said = f"Sharpest on average over {_averaged(ranking)}: {_over_setups(best)}; {_next_best(others)}."
    if not any(one.spread for one in ranking.ranked):
        said += " Refocusing may change that order."
    return Answer(question, best.label, " ".join([said, *_other_parts(report, best)]))


def _which_for_what(report: Report) -> list[Answer]:
    """Which aperture serves which purpose, and what light, blur and focus say of the iris."""
    said = series_in_words(report)
    if not said:
        return []
    series = series_of(report)
    chosen = [choice_in_short(choice) for choice in series.choices] if series else []
    return [Answer("Which aperture for what?", "; ".join(chosen) or "See below", "\n".join(said))]


def _next_best(others: list[ApertureSharpness]) -> str:
    """Which apertures are as good as the best, or the next one."""
    level = [other.label for other in others if other.equal_to_best]
    if level:
        return f"{listed(level)} {'is' if len(level) == 1 else 'are'} equal within the uncertainty"
    return f"next is {others[0].label} with {bare_mean(others[0])}"


def _averaged(ranking: ApertureRanking) -> str:
    """What the figures are averaged over."""
    if len(ranking.zones) == len(frame.ZONES):
        return "the whole frame's area"
    return f"the {len(ranking.zones)} of {len(frame.ZONES)} zones that could be measured at every aperture"


def _over_setups(one: ApertureSharpness) -> str:
    """An aperture's mean, with how much its setups differ where it had several."""
    if one.spread is None:
        return with_interval(one.mean)
    setups = f"the mean of {len(one.settings)} setups that scatter by ± {spread(one.spread.value)}"
    return f"{bare_mean(one)} {one.mean.unit}, {setups}"


def _other_parts(report: Report, best: ApertureSharpness) -> Iterator[str]:
    """Where the centre or the corners are clearly sharper at another aperture than the frame as a whole."""
    for part, name in (("centre", "The centre alone is"), ("corners", "The corners alone are")):
        ranking = ranking_of(report, part)
        if ranking is None:
            continue
        same = next((one for one in ranking.ranked if one.label == best.label), None)
        if same is not None and not same.equal_to_best:
            first = ranking.ranked[0]
            figures = f"{bare_mean(first)} {first.mean.unit} against {bare_mean(same)}"
            yield f"{name} sharpest at {first.label}, {figures}."


def _how_sharp(report: Report) -> Answer:
    question = "How sharp?"
    best = sharpest_setting(report)
    if best is None:
        return Answer(question, "Not measured", "There is no target shot to measure.")
    known = known_zones([best])
    figures = {zone: one.figures[0] for zone, one in known.items()}
    zone = min(figures, key=lambda zone: figures[zone].value)
    shown = "centre" if "centre" in figures else max(figures, key=lambda zone: figures[zone].value)
    most = figures[shown]
    share = figures[zone].scaled(100 / most.value, "%")
    where = f"{in_the(zone)}{alone(known[zone].direction)}"
    softest = f"The softest zone, {where}, has {brief(share)} % of that ({with_interval(figures[zone])})."
    if zone == shown:
        softest = f"No zone is softer ({with_interval(most)})."
    softest += unmeasured_in_words([zone for zone in frame.ZONES if zone not in known])
    more = f"in {in_the(shown)} at {best.name}. {softest} {achieved_in_short(best, shown)} {caveat_in_words(best)}"
    return Answer(question, f"{brief(most, 3)} {most.unit}", more.strip())


def _how_large_a_print(report: Report) -> list[Answer]:
    """How large a picture may be printed, where the sensor's size is known."""
    prints = prints_of(report)
    if not prints:
        return []
    return [Answer("How large a print?", f"{sure_size(prints[-1])}", prints_in_words(prints))]


def _which_colours(report: Report) -> Answer:
    question = "Colour fringes?"
    for setting in (sharpest_setting(report), *report.settings):
        farthest = farthest_colour(setting) if setting else None
        if setting and setting.fringing and farthest:
            zone, figure = farthest
            lies = "sideways: an element may be off-centre" if way(zone) == "sideways" else way(zone)
            more = (
                f"at most from green ({with_interval(figure)}): {zone.channel} in {in_the(zone.zone)}, {lies}, at "
                f"{setting.name}.{_fringe(setting.fringing)}"
            )
            return Answer(question, f"{brief(figure)} px", more)
    return Answer(question, "Not measured", "There is no target shot in colour to measure.")


def _fringe(fringing: Fringing) -> str:
    """How wide the fringe gets that the colours make together."""
    worst = fringing.worst
    if worst is None or worst.width_px is None:
        return ""
    return (
        f" Together the colours make a fringe up to {brief(worst.width_px)} px wide along edges, in "
        f"{in_the(worst.zone)}."
    )


def _how_dark(report: Report) -> Answer:
    question = "Dark corners?"
    worst = [
        (zone.stops, zone.zone, setting)
        for setting in trusted_falloffs(report.settings)
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
        return Answer(
            question, "Black", f"in {where}: more than 8 stops down. The image circle does not reach them."
        )
    if any(s.falloff and not s.falloff.covers_frame for s in report.settings):
        cover = "The image circle does not cover the frame."
    else:
        cover = "The image circle covers the frame."
    place = f"{in_the(zone)} at {setting.name}"
    of = together(setting.falloff)
    alone = " Of the lens alone: can't tell until the panel is moved." if of else ""
    return Answer(question, f"{brief(stops)} stops", f"in {place} ({with_interval(stops)}){of}. {cover}{alone}")


def _how_clean(report: Report) -> Answer:
    question = "Is the glass clean?"
    seen = [setting for setting in report.settings if setting.dust]
    if not seen:
        return Answer(question, "Not measured", "There is no flat to look at. Photograph the even light.")
    setting = max(seen, key=lambda setting: len(marks_of(setting)))
    marks = marks_of(setting)
    if not marks:
        return Answer(question, "Clean", "No dirt mark is visible above the noise in any flat.")
    count = f"{len(marks)} mark{'s' if len(marks) > 1 else ''}"
    worst = _worst_marks(marks, numbers_at(report, setting), report.camera.size_px)
    more = [f"at {setting.name}; {worst}.", *_conclusions(dirt_of(report))]
    return Answer(question, count, " ".join(more))


def _worst_marks(marks: list[Mark], numbers: list[int], size: tuple[int, int]) -> str:
    """The most visible mark, and the deepest where that is another one."""
    deepest = max(range(len(marks)), key=lambda k: abs(marks[k].depth_percent.value))

    def place(k: int) -> str:
        return f"{_effect(marks[k])}, {frame.place_in_words(marks[k].x, marks[k].y, size)}"

    said = f"the most visible, mark {numbers[0]}, {place(0)}"
    return said if deepest == 0 else f"{said}; the deepest, mark {numbers[deepest]}, {place(deepest)}"


def _effect(mark: Mark) -> str:
    depth = brief(magnitude(mark.depth_percent))
    return f"takes {depth} % of the light" if mark.depth_percent.value > 0 else f"is {depth} % brighter"


def _conclusions(dirt: Dirt | None) -> list[str]:
    """What was concluded about all marks together."""
    return [text for text in (dirt.places, dirt.apertures) if text] if dirt else []


def _how_straight(report: Report) -> list[Answer]:
    """Whether the build is straight, where its optical centres can tell."""
    assembly = report.verdict.assembly if report.verdict else None
    if assembly is None or not assembly.centres:
        return []
    return [Answer("Put together straight?", first_capital(assembly_in_short(assembly)), assembly.text)]


def _how_flat(report: Report) -> list[Answer]:
    """Whether centre and corners come into focus together, where a series along a rail can tell."""
    for setting in (sharpest_setting(report), *report.settings):
        focus = setting.focus if setting else None
        bow = curvature(focus) if focus else None
        if setting and focus and bow:
            direction = "farther" if bow.value > 0 else "nearer"
            short = "Flat" if is_flat(focus) else f"Curved by {brief(magnitude(bow))} mm"
            more = (
                f"The rim focuses {with_interval(magnitude(bow))} {direction} than the centre; the depth of field "
            )
            more += f"is ± {limit(focus.depth_mm.value)} mm at {setting.name}."
            return [Answer("Is the field flat?", short, more)]
    return []


def _how_repeatable(report: Report) -> list[Answer]:
    """The smallest difference between two builds that counts, where repeats can tell."""
    known = [(repeats, row) for repeats in report.repeats if (row := centre_repeated(repeats))]
    if not known:
        return []
    repeats, row = max(known, key=lambda pair: pair[1].setups)
    percent = 100 * row.spread.value / row.mean.value
    more = (
        f"from one setup to the next in {in_the(row.zone)} ({row.setups} setups at {repeats_name(repeats)}). "
        f"The smallest difference that counts is {limit(row.smallest_difference)} {row.mean.unit}, against "
        "another build shot in as many setups."
    )
    return [Answer("How repeatable?", f"± {spread(percent)} %", more)]
