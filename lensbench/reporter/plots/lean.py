"""How sensor, lens and sheet stood to each other: side-on from above and from the side, the lean exaggerated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Ellipse

from lensbench.findings import Figure, Report
from lensbench.formatting import bare, magnitude, with_interval
from lensbench.reporter.plots import style as hand

ASPECT = 1.42
"""Width over height of a drawing."""

_LARGEST_DEG = 14.0
"""The larger lean is drawn about so steep."""

_MOST_TIMES = 100.0
_SENSOR, _LENS, _SHEET = 0.9, 2.6, 7.6
_HALF_SENSOR, _HALF_LENS, _HALF_SHEET, _HALF_VIEW = 0.75, 0.95, 2.1, 3.3


@dataclass(frozen=True)
class Lean:
    """How things stood, seen from one side.

    `ends` are the ends of the sheet, the upper one in the drawing first. `sheet_deg` is how far the lower one is
    turned away from the camera, `sheet_percent` how much larger the upper one is drawn for it; `sensor_deg` the
    lean of sensor and lens to each other. What is not known, or nothing beyond chance, is None. `softer` is the
    end of the picture that is softer, `cause` whose that is.
    """

    view: str
    ends: tuple[str, str]
    sheet_deg: Figure | None
    sheet_percent: Figure | None
    sensor_deg: Figure | None
    softer: str | None
    cause: str

    @property
    def known(self) -> bool:
        """Whether anything leans."""
        return any((self.sheet_deg, self.sheet_percent, self.sensor_deg, self.softer))


def leans_of(report: Report) -> list[Lean]:
    """Both views, from above and from the side; none where the report doesn't say how the sheet stood."""
    alignment = report.geometry.alignment if report.geometry else None
    if alignment is None:
        return []
    assembly = report.verdict.assembly if report.verdict else None
    softer = assembly.softer_side if assembly else None
    words = softer.side.split() if softer else []
    sensor = _sensor_lean(report)
    views = (
        ("from above", ("left", "right"), alignment.right_away_deg, alignment.wider_left_percent, sensor[0]),
        ("from the side", ("top", "bottom"), alignment.bottom_away_deg, alignment.wider_top_percent, sensor[1]),
    )
    return [
        Lean(
            view,
            ends,
            _beyond_chance(degrees),
            _beyond_chance(percent),
            _beyond_chance(own),
            next((word for word in words if word in ends), None),
            softer.cause if softer else "",
        )
        for view, ends, degrees, percent, own in views
    ]


def _sensor_lean(report: Report) -> tuple[Figure | None, Figure | None]:
    """Lean of sensor and lens to each other, where a series along the rail shows it."""
    for setting in report.settings:
        if setting.focus and setting.focus.lean and setting.focus.lean.sensor_deg:
            return setting.focus.lean.sensor_deg
    return None, None


def _beyond_chance(figure: Figure | None) -> Figure | None:
    return figure if figure and not figure.low <= 0 <= figure.high else None


def times_drawn(leans: list[Lean]) -> float | None:
    """How many times as steep as they are leans are drawn; None where the angles aren't known."""
    degrees = [abs(f.value) for lean in leans for f in (lean.sheet_deg, lean.sensor_deg) if f]
    return min(max(hand.nice_floor(_LARGEST_DEG / max(degrees)), 1.0), _MOST_TIMES) if degrees else None


def drawn_deg(lean: Lean, leans: list[Lean]) -> float:
    """The sheet's lean as drawn, in degrees: a round number of times, or in proportion to the larger of both."""
    times = times_drawn(leans)
    if lean.sheet_deg and times:
        return float(np.clip(lean.sheet_deg.value * times, -2 * _LARGEST_DEG, 2 * _LARGEST_DEG))
    if lean.sheet_deg is None and lean.sheet_percent:
        largest = max(abs(one.sheet_percent.value) for one in leans if one.sheet_percent)
        return _LARGEST_DEG * lean.sheet_percent.value / largest
    return 0.0


def lean_in_words(lean: Lean, leans: list[Lean]) -> str:
    """The sentence under the drawing."""
    said = []
    near, far = lean.ends
    if lean.sheet_deg:
        end = far if lean.sheet_deg.value > 0 else near
        said.append(f"the sheet's {end} side is turned {with_interval(magnitude(lean.sheet_deg))} away")
    elif lean.sheet_percent:
        end = near if lean.sheet_percent.value > 0 else far
        said.append(
            f"the sheet is drawn {bare(magnitude(lean.sheet_percent))} % larger at the {end}: nearer there"
        )
    else:
        said.append("the sheet stood square")
    if lean.sensor_deg:
        said.append(f"lens and sensor lean {with_interval(magnitude(lean.sensor_deg))} to each other")
    if lean.softer:
        whose = {"lens": ", and that turns with the lens", "target or camera": ", and that stays with the sheet"}
        said.append(f"the {lean.softer} is softer{whose.get(lean.cause, ': sheet or lens')}")
    text = "; ".join(said)
    return f"{text[0].upper()}{text[1:]}.{_steepness(lean, times_drawn(leans))}"


def _steepness(lean: Lean, times: float | None) -> str:
    if times and (lean.sheet_deg or lean.sensor_deg):
        return f" Lean drawn {times:g} times."
    return " Not to scale." if lean.sheet_percent else ""


def draw_lean(axes: Axes, lean: Lean, leans: list[Lean], letters: float = 7.5) -> None:
    """Draw one view, sensor at the left, sheet at the right.

    Parameters
    ----------
    axes : Axes
        Bare axes of `ASPECT`.
    lean : Lean
        What to draw.
    leans : list of Lean
        Both views, which share one scale.
    letters : float
        Size of the letters in points.
    """
    axes.set_xlim(0, 2 * _HALF_VIEW * ASPECT)
    axes.set_ylim(-_HALF_VIEW, _HALF_VIEW)
    axes.set_aspect("equal")
    axes.plot([0.2, 9.2], [0, 0], color=hand.HAIRLINE, linewidth=0.7, linestyle=(0, (6, 2, 1, 2)), zorder=1)
    sheet = _bar(_SHEET, _HALF_SHEET, drawn_deg(lean, leans))
    for end in sheet:
        axes.plot([_LENS, end[0]], [0, end[1]], color=hand.HAIRLINE, linewidth=0.6, zorder=1)
    axes.plot([_SHEET] * 2, [-_HALF_SHEET, _HALF_SHEET], color=hand.HAIRLINE, linewidth=1.0, zorder=1)
    axes.plot(*sheet.T, color=hand.INK, linewidth=2.4, solid_capstyle="butt", zorder=4)
    own = lean.sensor_deg.value * times_drawn(leans) if lean.sensor_deg else 0.0
    axes.plot(*_bar(_SENSOR, _HALF_SENSOR, -own).T, color=hand.INK, linewidth=3.4, solid_capstyle="butt", zorder=4)
    _draw_lens(axes, lean, letters)
    names = {"fontsize": letters, "ha": "center", "va": "top", "color": hand.MUTED}
    for x, name in ((_SENSOR, "sensor"), (_LENS, "lens"), (_SHEET, "sheet")):
        axes.text(x, -_HALF_SHEET - 0.72, name, **names)
    for word, end in zip(lean.ends, sheet, strict=True):
        _draw_end(axes, word, end, word == lean.softer, letters)


def _bar(x: float, half: float, degrees: float) -> np.ndarray:
    """Upper and lower end of an upright bar that leans: positive with the lower end to the right."""
    turn = np.radians(degrees)
    away = half * np.array([np.sin(turn), -np.cos(turn)])
    return np.array([x, 0.0]) + np.array([-away, away])


def _draw_lens(axes: Axes, lean: Lean, letters: float) -> None:
    """The lens; leaning where it is to cause, with a question mark where it may be."""
    leaning = 10.0 if lean.softer and lean.cause in ("lens", "both") else 0.0
    style = {"facecolor": hand.UNMEASURED, "edgecolor": hand.INK, "linewidth": 0.9, "zorder": 3}
    axes.add_patch(Ellipse((_LENS, 0), 0.62, 2 * _HALF_LENS, angle=leaning, **style))
    if lean.softer and lean.cause == "can't tell":
        for x, y in ((_LENS, _HALF_LENS + 0.5), (_SHEET - 0.7, -0.75)):
            axes.text(
                x, y, "?", fontsize=letters * 1.5, weight="bold", ha="center", va="center_baseline", zorder=6
            )


def _draw_end(axes: Axes, word: str, end: np.ndarray, softer: bool, letters: float) -> None:
    """An end's name, and a blurred mark where the picture is softer there."""
    upper = end[1] > 0
    if softer:
        for width, alpha in ((9, 0.16), (6, 0.22), (3, 0.3)):
            part = np.array([end, end * [1, 0.72] + [(_SHEET - end[0]) * 0.28, 0]])
            axes.plot(*part.T, color=hand.INK, alpha=alpha, linewidth=width, solid_capstyle="round", zorder=3)
    text = f"{word}, softer" if softer else word
    axes.text(
        end[0], end[1] + (0.2 if upper else -0.2), text, fontsize=letters, ha="center",
        va="bottom" if upper else "top", zorder=5, path_effects=hand.halo(),
    )  # fmt: skip
