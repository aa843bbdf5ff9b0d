"""The answers for the terminal: one line a question, each with its figure, or ``can't tell``."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from lensbench import frame
from lensbench.findings import UNTOLD, ApertureChoice, FocusShift, Report, trusted_falloffs
from lensbench.formatting import brief, limit, listed, magnitude, spread, with_interval
from lensbench.reporter.values.apertures import ranking_of, sharpest_setting
from lensbench.reporter.values.dirt import dirt_of, marks_of, most_marked
from lensbench.reporter.values.fringing import farthest_colour, way
from lensbench.reporter.values.light import black_corners, together
from lensbench.reporter.values.repeats import centre_repeated
from lensbench.reporter.values.zones import in_the
from lensbench.reporter.words.apertures import blur_in_short, is_off, light_in_short, series_of
from lensbench.reporter.words.assembly import assembly_in_short
from lensbench.reporter.words.goals import answer_in_short, goal_with_figures, not_met
from lensbench.reporter.words.print_size import print_in_short, prints_of
from lensbench.reporter.words.zones import alone
from lensbench.verdicts.zones import known_zones


class AnswerLine(NamedTuple):
    """A question in a word or two, and its answer in one line."""

    question: str
    answer: str


def answer_lines(report: Report) -> list[AnswerLine]:
    """The answers of a report in the order in which a builder asks."""
    return [
        *_goals(report),
        AnswerLine("Which aperture", _aperture(report)),
        *_series(report),
        AnswerLine("How sharp", _sharp(report)),
        AnswerLine("Prints sharp to", _print(report)),
        AnswerLine("Assembly", _assembly(report)),
        AnswerLine("Colour fringes", _colours(report)),
        AnswerLine("Dark corners", _dark(report)),
        AnswerLine("Where to wipe", _wipe(report)),
        AnswerLine("Magnification", _size(report)),
        *_rings(report),
        AnswerLine("Better or worse", _better(report)),
    ]


def _goals(report: Report) -> list[AnswerLine]:
    grades = report.verdict.goals if report.verdict else None
    if grades is None:
        return []
    first = [goal_with_figures(one) for one in not_met(grades)[:1]]
    return [AnswerLine("Goals", ": ".join([f"{answer_in_short(grades)} at {grades.aperture}", *first]))]


def _aperture(report: Report) -> str:
    ranking = ranking_of(report, "frame")
    if ranking is None:
        return f"{UNTOLD}: no zone was measured at every aperture"
    best, *others = ranking.ranked
    said = f"{best.label}: {with_interval(best.mean)} over the frame"
    if not others:
        return f"{UNTOLD}: only {best.label} was shot ({with_interval(best.mean)} over the frame)"
    level = [other.label for other in others if other.equal_to_best]
    if level:
        return f"{said}; {listed(level)} {'is' if len(level) == 1 else 'are'} equal"
    return f"{said}; {others[0].label} {with_interval(others[0].mean, unit=False)}"


def _series(report: Report) -> list[AnswerLine]:
    """Which aperture serves what, and what is to be known of the iris; only what the shots tell."""
    series = series_of(report)
    if series is None:
        return []
    lines = [AnswerLine(choice.purpose.capitalize(), _chosen(choice)) for choice in series.choices]
    lines += [AnswerLine("Iris mark", light_in_short(one)) for one in series.light if is_off(one)]
    lines += [AnswerLine("Iris by blur", blur_in_short(one)) for one in series.blur]
    return lines + [AnswerLine("Focus shift", _shift(one)) for one in series.focus_shifts]


def _chosen(choice: ApertureChoice) -> str:
    """An aperture with the figure that decided, and those that are as good."""
    if choice.value is None or choice.purpose == "dirt shows from":
        return choice.aperture
    if choice.kept_percent:
        return f"{choice.aperture}: ± {limit(choice.value.value)} mm{_deeper(choice)}"
    others = f"; {listed(choice.equal)} too" if choice.equal else ""
    return f"{choice.aperture}: {with_interval(choice.value)}{others}"


def _deeper(choice: ApertureChoice) -> str:
    """The rule that the deepest field keeps, and by how much the next deeper aperture keeps it or not."""
    rule = f", centre at {choice.kept_percent:.0f} % of its best or more"
    one = choice.next_deeper
    if one is None:
        return rule
    perhaps = "perhaps " if one.aperture in choice.equal else ""
    kept = with_interval(one.kept_percent)
    return f"{rule}; {perhaps}{one.aperture}: ± {limit(one.depth_mm.value)} mm at {kept}"


def _shift(one: FocusShift) -> str:
    moved = one.farther_mm
    if moved.low <= 0 <= moved.high:
        return f"none beyond {spread(max(-moved.low, moved.high))} mm, {one.wide} to {one.small}"
    way = "nearer" if moved.value > 0 else "farther"
    return f"refocus {with_interval(magnitude(moved))} {way}, {one.wide} to {one.small}"


def _rings(report: Report) -> list[AnswerLine]:
    rings = report.verdict.rings if report.verdict else None
    if rings is None:
        return []
    return [AnswerLine("Rings to add", f"{with_interval(rings.extension_mm)} for {rings.wanted:g}×")]


def _sharp(report: Report) -> str:
    best = sharpest_setting(report)
    known = known_zones([best]) if best else {}
    if best is None or not known:
        return f"{UNTOLD}: no target shot could be measured"
    figures = {zone: one.figures[0] for zone, one in known.items()}
    zone = min(figures, key=lambda name: figures[name].value)
    first = frame.ZONES[0]
    if zone == first:
        measured = "" if len(known) == len(frame.ZONES) else " of what was measured"
        return f"{best.name}: {with_interval(figures[zone])} in the centre, nothing softer{measured}"
    parts = [f"{with_interval(figures[first], unit=False)} in the centre"] if first in figures else []
    parts.append(f"{with_interval(figures[zone])} {_at(zone)}{alone(known[zone].direction)}")
    return f"{best.name}: {', '.join(parts)}"


def _at(zone: str) -> str:
    """A zone in few words: ``bottom right corner``."""
    return in_the(zone).removeprefix("the ")


def _print(report: Report) -> str:
    prints = prints_of(report)
    if not prints:
        return f"{UNTOLD}: needs a target shot and the sensor's size"
    return print_in_short(prints)


def _assembly(report: Report) -> str:
    assembly = report.verdict.assembly if report.verdict else None
    return assembly_in_short(assembly) if assembly else f"{UNTOLD}: too little was measured"


def _colours(report: Report) -> str:
    for setting in (sharpest_setting(report), *report.settings):
        farthest = farthest_colour(setting) if setting else None
        if setting and farthest:
            zone, figure = farthest
            return f"{setting.name}: {zone.channel} {with_interval(figure)} {way(zone)} in {in_the(zone.zone)}"
    return f"{UNTOLD}: no target shot in colour could be measured"


def _dark(report: Report) -> str:
    black = {s.name: corners for s in report.settings if (corners := black_corners(s))}
    if black:
        name, corners = max(black.items(), key=lambda item: len(item[1]))
        return f"{name}: no light in the {listed(corners)} corner{'s' * (len(corners) > 1)}"
    worst = [
        (zone.stops, zone.zone, setting)
        for setting in trusted_falloffs(report.settings)
        if setting.falloff
        for zone in setting.falloff.zones
    ]
    if not worst:
        return f"{UNTOLD}: no shot of an even light could be measured"
    stops, zone, setting = max(worst, key=lambda entry: entry[0].value)
    covers = all(s.falloff.covers_frame for s in report.settings if s.falloff)
    cover = "" if covers else "; light does not cover the frame"
    return f"{setting.name}: {with_interval(stops)} in {in_the(zone)}{together(setting.falloff)}{cover}"


def _wipe(report: Report) -> str:
    setting = most_marked(report)
    if setting is None:
        looked = any(one.dust for one in report.settings)
        return "nowhere: no mark shows in any flat" if looked else f"{UNTOLD}: no shot of an even light"
    marks = marks_of(setting)
    depth = brief(magnitude(marks[0].depth_percent))
    return f"{_surfaces(report, len(marks))}; the clearest takes {depth} % at {setting.name}"


def _surfaces(report: Report, most: int) -> str:
    """What the marks lie on, the most frequent first, those of which it isn't known last."""
    dirt = dirt_of(report)
    counts = Counter([mark.lies_on for mark in dirt.marks] if dirt and dirt.marks else [UNTOLD] * most)
    places = sorted(counts.items(), key=lambda pair: (pair[0] == UNTOLD, -pair[1]))
    return ", ".join(f"{place} ({count} mark{'s' * (count > 1)})" for place, count in places)


def _size(report: Report) -> str:
    geometry = report.geometry
    if geometry is None or geometry.magnification is None:
        return f"{UNTOLD}: needs a target shot and the sensor's size"
    view = geometry.field_of_view_deg
    seen = f", sees {with_interval(view)}" if view else ""
    return f"{with_interval(geometry.magnification)}{seen}"


def _better(report: Report) -> str:
    known = [row for repeats in report.repeats if (row := centre_repeated(repeats))]
    if not known:
        return f"{UNTOLD} from one setup: shoot it again as setup = 2 and 3"
    row = max(known, key=lambda one: one.setups)
    counts = f"{limit(row.smallest_difference)} {row.mean.unit} counts as a difference in {in_the(row.zone)}"
    return f"{counts} (setups ± {spread(row.spread.value)})"
