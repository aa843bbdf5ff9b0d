"""Goals: what the builder wanted of a lens, from a file of their own or a table of the session file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from lensbench import frame
from lensbench.errors import BenchError
from lensbench.findings.goals import Goal
from lensbench.loaders.toml_checks import Check, Mistake, check_table, number, words
from lensbench.loaders.toml_lines import Key, line_of, read_toml

PARTS = (*frame.RINGS, *frame.ZONES[1:])
"""Where a goal by zone may hold: a whole ring, judged by its worst zone, or one zone."""

_SHARP = number(0.1, 2000, "a spatial frequency in line pairs a millimetre on the sensor, such as 40")
_SHARE = number(0.1, 120, "a share in percent, such as 60")
_STOPS = number(0, 16, "a number of stops, such as 1.5")

_WHOLE: dict[str, Check] = {
    "magnification_least": number(1e-4, 100, "size on the sensor over size on the target, such as 1.0"),
    "field_of_view_deg_least": number(0.1, 179.9, "the angle across the frame's diagonal in degrees, such as 84"),
    "focal_length_mm_least": number(0.1, 5000, "a length in millimetres, such as 19"),
    "focal_length_mm_most": number(0.1, 5000, "a length in millimetres, such as 21"),
    "distortion_percent_most": number(0, 100, "a share in percent, whichever way lines bow, such as 3"),
    "corner_falloff_stops_most": _STOPS,
    "fringing_px_most": number(0, 1000, "a distance in pixels, such as 1.0"),
    "glare_percent_most": number(0, 100, "a share in percent, such as 2"),
    "glow_percent_most": number(0, 100, "a share in percent, such as 3"),
    "marks_most": number(0, 100_000, "a number of marks, such as 0"),
}
_BY_PART = {"mtf50_lp_mm_least": _SHARP, "mtf50_percent_of_possible_least": _SHARE}
_APERTURE: dict[str, Check] = {
    "f_number": number(0.3, 512, "the f-number marked on the lens, such as 8"),
    "aperture": words('a name for the aperture, such as "third click"'),
}

START = """\
# What this build is to be. Remove the # before what you want graded, and put your own number.
# Then run: lensbench grade REPORT THIS_FILE, or copy the tables into session.toml, to have them graded with every
# measurement.

[goals]
# f_number = 8.0                     # grade at this aperture (or aperture = "third click"); without it, at the
#                                    # aperture that meets most of the goals
# magnification_least = 1.0          # in the centre: 1.0 is life size
# field_of_view_deg_least = 84.0     # across the diagonal; needs two shots a known rail step apart
# focal_length_mm_least = 19.0       # needs them too
# focal_length_mm_most = 21.0
# distortion_percent_most = 3.0      # at the corners, whichever way lines bow
# corner_falloff_stops_most = 1.5    # in the darkest corner
# fringing_px_most = 1.0             # red or blue from green, in the worst zone
# glare_percent_most = 2.0           # light in the dark, of the white around, in the worst zone
# glow_percent_most = 3.0            # of an edge's light that lands far from it, in the worst zone
# marks_most = 0                     # marks of dirt that show

[goals.mtf50_lp_mm_least]            # line pairs a millimetre on the sensor; a ring is judged by its softest zone
# centre = 60.0
# inner = 50.0
# outer = 40.0
# corner = 25.0
# "corner top-left" = 25.0           # or a single zone

[goals.mtf50_percent_of_possible_least]    # of what diffraction and the pixels allow
# centre = 70.0
# corner = 40.0
"""
"""A goals file to begin with: everything that can be wanted, commented out."""


class Goals(msgspec.Struct, frozen=True):
    """What is wanted, and the aperture at which; without one, at the aperture that meets most of it."""

    wanted: list[Goal] = []
    f_number: float | None = None
    aperture: str | None = None


def read_goals(path: str | Path) -> Goals:
    """Read a goals file.

    Parameters
    ----------
    path : path
        A TOML file with a [goals] table, such as `START` begins.

    Raises
    ------
    BenchError
        Naming each mistake with its line and what would be right, or where nothing is wanted.
    """
    path = Path(path)
    data, text = read_toml(path)
    mistakes = [
        Mistake((name,), f"{name} is unknown here. Everything belongs under [goals].")
        for name in data
        if name != "goals"
    ]
    goals, wrong = goals_of_table(data.get("goals", {}))
    mistakes += wrong
    if mistakes:
        lines = ((line_of(text, mistake.key), mistake.text) for mistake in mistakes)
        raise BenchError("\n".join(f"{path}, line {line}: {said}" for line, said in lines))
    if not goals.wanted:
        raise BenchError(f"{path}: has no goal yet. Remove the # before the goals that you have.")
    return goals


def goals_of_table(table: Any) -> tuple[Goals, list[Mistake]]:
    """The goals in a [goals] table, of a goals file or of a session file, and what is wrong with it."""
    at: Key = ("goals",)
    if not isinstance(table, dict):
        return Goals(), [Mistake(at, "goals must be a table: write [goals] on a line of its own.")]
    plain = {key: value for key, value in table.items() if key not in _BY_PART}
    right, mistakes = check_table(plain, {**_APERTURE, **_WHOLE}, at)
    if "f_number" in right and "aperture" in right:
        mistakes.append(Mistake((*at, "aperture"), "f_number and aperture are both given. Keep the right one."))
    wanted = [_limit(key, "", value) for key, value in right.items() if key in _WHOLE]
    for key, check in _BY_PART.items():
        parts = table.get(key, {})
        if isinstance(parts, dict):
            known = check_table(parts, dict.fromkeys(PARTS, check), (*at, key))
            mistakes += known.mistakes
            wanted += [_limit(key, part, value) for part, value in known.values.items()]
        else:
            text = f"{key} must say where: write [goals.{key}] on a line of its own, and below it centre = …"
            mistakes.append(Mistake((*at, key), text))
    return Goals(_joined(wanted), right.get("f_number"), right.get("aperture")), mistakes


def _limit(key: str, part: str, value: float) -> Goal:
    what, _, side = key.rpartition("_")
    return Goal(what, part, **{side: value})


def _joined(wanted: list[Goal]) -> list[Goal]:
    """Goals with the lower and the upper limit of one figure in one."""
    joined: dict[tuple[str, str], Goal] = {}
    for goal in wanted:
        other = joined.get((goal.what, goal.part), goal)
        least = goal.least if goal.least is not None else other.least
        most = goal.most if goal.most is not None else other.most
        joined[goal.what, goal.part] = Goal(goal.what, goal.part, least, most)
    return list(joined.values())
