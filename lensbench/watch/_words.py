"""Looks in words: a few short rows a shot, that can be read from the bench."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from lensbench.figure import Figure
from lensbench.formatting import NOT_MEASURED, bare, first_capital, listed, number
from lensbench.watch._looks import SPOTS, Change, Look

LEVEL_STOPS = 1 / 3
"""Exposures nearer to the wanted level than this are right: cameras are set in thirds of a stop."""

SQUARE_PERCENT = 0.1
"""Opposite sides drawn less unequal than this are alike."""

NAMES = {spot: spot.replace("-", " ") for spot in SPOTS}


class SpotRow(NamedTuple):
    """One spot: its name, its figure in cy/px and, if known, lp/mm, its bar's length (0 to 1), its change."""

    name: str
    figure: str
    lp_mm: str
    share: float
    change: str


def spot_rows(look: Look, full: float) -> list[SpotRow]:
    """The spots of a look; `full` is the MTF50 of a whole bar."""
    rows = []
    for spot in look.spots:
        value = spot.mtf50.value if spot.mtf50 is not None else 0.0
        share = min(value / full, 1.0) if full > 0 else 0.0
        figure = NOT_MEASURED if spot.mtf50 is None else f"{number(value, 3)}"
        lp_mm = "" if spot.mtf50 is None or not look.pixel_pitch_um else _lp_mm(value, look.pixel_pitch_um)
        rows.append(SpotRow(NAMES[spot.name], figure, lp_mm, share, _change_at(look.since_last, spot.name)))
    return rows


def _lp_mm(cy_px: float, pitch_um: float) -> str:
    return f"{number(1000 * cy_px / pitch_um, 1)} lp/mm"


def _change_at(change: Change | None, spot: str) -> str:
    figure = change.percent.get(spot) if change else None
    return "" if figure is None else change_in_words(figure)


def change_in_words(figure: Figure) -> str:
    """A change of sharpness in percent, such as ``3 % sharper``; ``the same`` where its interval holds 0."""
    if figure.low <= 0 <= figure.high:
        return "the same"
    size = abs(figure.value)
    return f"{number(size, 0 if size >= 1 else 1)} % {'sharper' if figure.value > 0 else 'softer'}"


def figure_rows(look: Look) -> list[tuple[str, str]]:
    """What else a look tells: a word and a line each."""
    rows = []
    if look.shows == "target":
        focus = _focus(look)
        rows = [
            ("corners", _corners(look)),
            *([("focus", focus)] if focus else []),
            ("sheet", _sheet(look)),
            ("coverage", _coverage(look)),
        ]
    if look.exposure is not None and look.shows in ("target", "flat"):
        rows.append(("exposure", exposure_in_words(look)))
    return rows


def _corners(look: Look) -> str:
    """The softest corner against the sharpest; the report's evenness is that of whole zones, the centre too."""
    if look.softest_corner_percent is None:
        missing = [NAMES[name] for name in SPOTS[1:] if name not in look.corners]
        return f"can't tell: no tile measured in {listed(missing)}"
    softest = min(look.corners, key=lambda name: look.corners[name].value)
    sharpest = max(look.corners, key=lambda name: look.corners[name].value)
    return f"{NAMES[softest]} has {number(look.softest_corner_percent, 0)} % of {NAMES[sharpest]}"


def _focus(look: Look) -> str:
    said = []
    for change, what in ((look.since_last, "last"), (look.since_best, "best so far")):
        figure = change.percent.get(SPOTS[0]) if change else None
        if change is not None and figure is not None:
            said.append(f"{change_in_words(figure)} {_than(figure)} the {what} ({change.shot})")
    if look.since_last and look.since_best and look.since_last.shot == look.since_best.shot:
        said = [line.replace("the last", "the last, the best so far") for line in said[:1]]
    return "centre " + "; ".join(said) if said else ""


def _than(figure: Figure) -> str:
    return "as" if figure.low <= 0 <= figure.high else "than"


def _sheet(look: Look) -> str:
    lean = look.lean
    if lean is None:
        return "can't tell: too few edges"
    parts = [
        _side(lean.right_smaller_percent, lean.right_away_deg, ("right", "left")),
        _side(lean.bottom_smaller_percent, lean.bottom_away_deg, ("bottom", "top")),
    ]
    said = [part for part in parts if part]
    text = ", ".join(said) if said else "square"
    if said and lean.right_away_deg is None:
        missing = [*(["--focal"] if look.focal_mm is None else []), *([] if look.pixel_pitch_um else ["--sensor"])]
        text += f" ({', '.join(missing)}: degrees)" if missing else ""
    return text if lean.told_from_decentring or not said else f"{text}, or the lens is off-centre"


def _side(percent: Figure, degrees: Figure | None, sides: tuple[str, str]) -> str:
    far = sides[0] if percent.value > 0 else sides[1]
    if abs(percent.value) < SQUARE_PERCENT or percent.low <= 0 <= percent.high:
        return ""
    if degrees is not None:
        return f"{far} farther by {number(abs(degrees.value), 1 if abs(degrees.value) >= 0.1 else 2)}°"
    return f"{far} farther: drawn {number(abs(percent.value), 1)} % smaller"


def exposure_in_words(look: Look) -> str:
    """How far white is from the wanted level."""
    exposure = look.exposure
    if exposure is None:
        return NOT_MEASURED
    if exposure.stops_more is None:
        return "white is clipped: a full stop less"
    white = f"white at {number(exposure.white_percent, 0)} %"
    if abs(exposure.stops_more) < LEVEL_STOPS:
        return f"right ({white})"
    more = "more" if exposure.stops_more > 0 else "less"
    return f"{number(abs(exposure.stops_more), 1)} stops {more} ({white})"


def _coverage(look: Look) -> str:
    if look.covered_percent is None:
        return NOT_MEASURED
    text = f"{number(look.covered_percent, 0)} % of the frame"
    return f"{text}; nothing {listed(look.uncovered[:2])}" if look.uncovered else text


SHOWS = {"target": "the target", "flat": "an even light", "dark": "a frame with the cap on"}


def in_short(look: Look) -> str:
    """One sentence: good to go on with, or what kind of shot it is."""
    if look.error is not None:
        return "Can't be read."
    if look.shows is None:
        return "Neither target nor even light."
    if look.problems:
        return "Not yet:"
    if look.shows == "target":
        return "Good to go on with."
    return f"Shows {SHOWS[look.shows]}."


def problems_in_words(look: Look) -> str:
    """All that is wrong with a shot, as sentences."""
    said = [look.error] if look.error is not None else [problem.text for problem in look.problems]
    return " ".join(first_capital(text) for text in said if text)


HISTORY_HEAD = ("shot", "centre", "softest corner", "to the best", "stops to go", "")


def history_rows(looks: Sequence[Look], most: int = 8) -> list[tuple[str, ...]]:
    """The looks before the last, the latest first, in the columns of `HISTORY_HEAD`."""
    return [_history_row(look) for look in list(reversed(looks))[1 : most + 1]]


def _history_row(look: Look) -> tuple[str, ...]:
    if look.error is not None or look.shows is None:
        return (look.file, *[NOT_MEASURED] * 4, in_short(look))
    corner = min(look.corners.values(), key=lambda figure: figure.value, default=None)
    best = look.since_best.percent.get(SPOTS[0]) if look.since_best else None
    stops = look.exposure.stops_more if look.exposure else None
    return (
        look.file,
        _short(look.mtf50(SPOTS[0])),
        _short(corner),
        NOT_MEASURED if best is None else f"{bare(best, signed=True)} %",
        "clipped" if stops is None else f"{number(stops, 1, signed=True)}",
        "good" if look.good else listed([problem.code.replace("-", " ") for problem in look.problems]),
    )


def _short(figure: Figure | None) -> str:
    return NOT_MEASURED if figure is None else number(figure.value, 3)
