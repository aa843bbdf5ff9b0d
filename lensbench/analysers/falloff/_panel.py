"""The light's own unevenness told from the lens's falloff, by flats for which the panel was moved or turned."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from lensbench.analysers.falloff._panel_field import Moves, PanelField, PanelFit
from lensbench.findings import NORMAL_95, Figure, LightPanel, PanelPosition
from lensbench.frame import centre_of, half_diagonal

CELLS = (26, 18)
"""About how many cells the frame is cut into, across and down."""

DARKEST = 2.0
"""Stops below the brightest light up to which cells tell of the panel."""

ALIKE = 0.004
"""Stops of smooth difference between the places under which the panel shows no unevenness of its own."""

SAID = 0.04
"""Half-diagonals by which a move that the session file gives may be off."""

UNSAID, TURNED = 0.6, 0.05
"""How far a panel is moved where nobody says, and how far it wanders when it is turned, in half-diagonals."""

LEAST_MOVE, MOST_MOVE, MOVE_STEP = 0.2, 0.95, 0.06
"""Half-diagonals between which moves are looked for, and in what steps."""

FARTHEST = 1.2
"""Half-diagonals beyond which no panel can have been moved and still fill the picture."""

ALONE, MOST_COMBINED, CANDIDATES = 3, 64, 4
"""Moves of each place alone, choices of them together, and those improved."""

BESIDE = 0.15
"""How far beyond the moves looked at the panel's field reaches."""

FEW, FIRST_PITCH = 2, 0.25
"""For a first look: every so many cells, and splines so far apart."""

PITCHES, FOLLOWED = (0.25, 0.16, 0.125), 2.0
"""Splines stand closer by turns until the misfit, over what it should be, shows that they follow the panel."""

OTHER_MOVES = (0.35, 0.6, 0.9)
"""Half-diagonals of other moves that are tried to see whether the flats tell the moves at all."""

APART = 0.15
"""Half-diagonals by which two answers for the moves differ."""

TOLD_APART = 25.0
"""By how much the misfit of one answer must be better than another's: five standard deviations."""

WORST_SCALE = 6.0
"""Misfit over what it should be from which the panel's field does not follow what the flats show."""

MOST_LEFT = 0.05
"""Stops of doubt above which the panel's light is not taken off, unless the session file says how it moved."""

ASLANT = (
    "Light that fades because the panel is seen aslant stays where it is when the panel moves: no such flats can "
    "tell it from the lens's falloff, and it is counted as the lens's."
)
TURN_IT = (
    "Turn the panel half round about the middle of the picture for one more flat (panel_turn_deg = 180) to tell."
)
GRADIENT = (
    "A light that grows brighter evenly towards one side looks the same wherever it is moved, so the lopsidedness "
    f"may be the light's own. {TURN_IT}"
)
ONE_PLACE = (
    "The light stood in one place, so its own unevenness is in these figures. To take it out, move it by a "
    "quarter of the picture or more for further flats, across and down (panel = 2, 3 …), and turn it half round "
    "for one (panel_turn_deg = 180)."
)
TURNED_ONLY = (
    "The light was turned but not moved: its lopsidedness is taken out, but a light that is brighter (or darker) "
    "in the middle than all around is still in these figures. Move it by a quarter of the picture for more flats."
)
UNTOLD = (
    "How far the light was moved can't be told, because its picture has too little structure of its own: the "
    "flats are averaged instead, and part of the light's unevenness stays in these figures. Stick a few small "
    "pieces of paper on the panel, or say in session.toml how far it was moved (panel_shift)."
)
TWO_PLACES = (
    "The light stood in two places, which were not enough to tell how far and which way it was moved: the flats "
    "are averaged instead, and part of the light's unevenness stays in these figures. Move it once more, the "
    "other way (down, if it went across), by a quarter of the picture or more, for a third flat (panel = 3), or "
    "say in session.toml how far it was moved (panel_shift)."
)


@dataclass(frozen=True)
class PanelGiven:
    """How the panel stood for a flat: as the session file says.

    Attributes
    ----------
    panel : int
        The number of the place.
    turn_deg : float
        Anticlockwise as seen in the picture.
    shift : (float, float) or None
        Parts of the picture's width to the right, and of its height down.
    """

    panel: int = 1
    turn_deg: float = 0.0
    shift: tuple[float, float] | None = None


def split_panel(
    stops: NDArray, readable: NDArray, x: NDArray, y: NDArray, size: tuple[int, int], given: Sequence[PanelGiven]
) -> tuple[NDArray, LightPanel]:
    """Find the panel's own light in flats of several places.

    Parameters
    ----------
    stops : ndarray, shape (places, y, x)
        What the flats of each place show, positive is darker.
    readable : ndarray of bool, shape (places, y, x)
        Where it could be read.
    x, y : ndarray
        The blocks' centres in pixels.
    size : (int, int)
        Width and height of the frame in pixels.
    given : sequence of PanelGiven
        One for each place.

    Returns
    -------
    panel : ndarray, shape (places, y, x)
        Stops to take off each place's flats; 0 where the flats can't tell.
    LightPanel
        What is known of the panel, and what is not.
    """
    nothing = np.zeros_like(stops)
    turned = _is_turned(given)
    if len(given) == 1:
        return nothing, LightPanel(_places(given), False, notes=[ONE_PLACE, ASLANT])
    half, middle = half_diagonal(size), np.array(centre_of(size))
    cells, values = _cells(stops, readable, (x - middle[0]) / half, (y - middle[1]) / half)
    if values.shape[1] < 60:
        return nothing, LightPanel(_places(given), False, notes=["Too little of the frame can be read.", ASLANT])
    change = _smooth_change(cells, values)
    moved = any(place.turn_deg == given[0].turn_deg for place in given[1:])
    unseen = [*([] if turned else [GRADIENT]), *([] if moved else [TURNED_ONLY]), ASLANT]
    if change < ALIKE:
        text = f"{'Moving' if moved else 'Turning'} the light changed its picture by no more than "
        text += f"{max(change, 0.001):.3f} stop: it is even, as far as that can show."
        span, left = (Figure(change, 0.0, 2 * ALIKE, "stops"), ALIKE) if moved else (None, None)
        return nothing, LightPanel(_places(given), True, span, left, [text, *unseen])
    extent = np.array(size) / half
    field, best, rivals = _best_fits(cells, values, given, extent)
    said = all(place.shift is not None or place.turn_deg != given[0].turn_deg for place in given[1:])
    left = _left(field, best, rivals, turned)
    far = np.abs(best.moves.shift).max() > FARTHEST
    if best.scale > WORST_SCALE or ((left > MOST_LEFT or far) and moved and not said):
        places = sum(place.turn_deg == given[0].turn_deg for place in given)
        return nothing, LightPanel(_places(given), False, notes=[TWO_PLACES if places == 2 else UNTOLD, ASLANT])
    blocks = np.stack(np.meshgrid((x - middle[0]) / half, (y - middle[1]) / half), axis=-1).reshape(-1, 2)
    panel = _seen_by_place(field, best, blocks, turned)
    shown = panel[0] - panel[0].mean()
    span = Figure.of(shown.max() - shown.min(), 2 * left, "stops") if moved else None
    places = _places(given) if rivals else _places(given, best, extent)
    return panel.reshape(stops.shape), LightPanel(places, True, span, left if moved else None, unseen)


def _seen_by_place(field: PanelField, best: PanelFit, blocks: NDArray, turned: bool) -> NDArray[np.float64]:
    """The panel's light over the blocks with the panel at each of its places, shape (places, blocks)."""
    panel = np.stack([field.basis(k, s, blocks) @ best.coefficients for k, s in enumerate(best.moves.shift)])
    return panel - _plane_of(panel.mean(axis=0), blocks, turned)


def _is_turned(given: Sequence[PanelGiven]) -> bool:
    """Whether the panel was turned far enough to tell its gradient."""
    turns = [(place.turn_deg - given[0].turn_deg + 180) % 360 - 180 for place in given]
    return max(abs(turn) for turn in turns) >= 45


def _cells(stops: NDArray, readable: NDArray, u: NDArray, v: NDArray) -> tuple[NDArray, NDArray]:
    """Medians of the blocks over coarse cells that every place can read: where, and how dark."""
    steps = [max(round(n / m), 1) for n, m in zip(stops.shape[1:], CELLS[::-1], strict=True)]
    places, values = [], []
    usable = readable & (stops - np.percentile(stops[readable], 1) < DARKEST)
    for top in range(0, stops.shape[1], steps[0]):
        for left in range(0, stops.shape[2], steps[1]):
            part = np.s_[top : top + steps[0], left : left + steps[1]]
            if usable[(slice(None), *part)].all():
                places.append((u[part[1]].mean(), v[part[0]].mean()))
                values.append(np.median(stops[(slice(None), *part)].reshape(len(stops), -1), axis=1))
    return np.array(places).reshape(-1, 2), np.array(values).T.reshape(len(stops), -1)


def _smooth_change(cells: NDArray, values: NDArray) -> float:
    """How much the flats differ smoothly, in stops: the span of a cubic polynomial fitted to the change."""
    u, v = cells.T
    terms = np.stack([u**i * v**j for i in range(4) for j in range(4 - i)], axis=1)
    change = values - values.mean(axis=0)
    smooth = terms @ np.linalg.lstsq(terms, change.T, rcond=None)[0]
    return float(np.ptp(smooth, axis=0).max())


def _best_fits(
    cells: NDArray, values: NDArray, given: Sequence[PanelGiven], extent: NDArray
) -> tuple[PanelField, PanelFit, list[NDArray]]:
    """The best panel with its moves, and the mean light of panels that fit as well but for chance."""
    turns = np.array([place.turn_deg for place in given])
    field = PanelField(values, cells, turns)
    # What is not round in a flat is the panel's, if the lens is round; what differs is, if places are many.
    uneven = [field.not_round(flats.T).T for flats in (values, field.change)[: len(given) - 1]]
    known, sigma = np.zeros((len(given), 2)), np.full((len(given), 2), UNSAID)
    starts = []
    for number, place in enumerate(given):
        if place.shift is not None or number == 0:
            known[number], sigma[number] = np.array(place.shift or (0, 0)) * extent, SAID
        elif place.turn_deg != given[0].turn_deg:
            sigma[number] = TURNED
        free = sigma[number, 0] == UNSAID
        likely = [_likely_moves(cells, flats[0], flats[number]) for flats in uneven] if free else [[known[number]]]
        starts.append(list(itertools.chain(*likely)))
    known -= known[0]
    starts = [[start - starts[0][0] for start in group] for group in starts]
    tried = [Moves(np.array(shift), known, sigma, turns) for shift in _combined(starts)]
    first, best = _look(cells[::FEW], values[:, ::FEW], tried, FIRST_PITCH)
    free = np.array([len(group) > 1 for group in starts])
    others = [best.moves.moved(shift) for shift in _other_moves(best.moves.shift, free)]
    fits = [first.fit(moves) for moves in sorted(others, key=first.misfit)[:CANDIDATES]]
    rivals = [first.seen(fit, cells) for fit in fits if _rivals(fit, best)]
    tried = [best.moves]
    for pitch in PITCHES:
        field, best = _look(cells, values, tried, pitch)
        if best.scale < FOLLOWED:
            break
        tried = [best.moves]
    return field, best, rivals


def _look(cells: NDArray, values: NDArray, tried: list[Moves], pitch: float) -> tuple[PanelField, PanelFit]:
    """The best of a few of the likelier moves, improved."""
    reach = max(np.abs(moves.shift).max() for moves in tried) + BESIDE
    field = PanelField(values, cells, tried[0].turn_deg, reach, pitch)
    likely = sorted(tried, key=field.misfit)[:CANDIDATES] if len(tried) > 1 else tried
    return field, min((field.fit(moves) for moves in likely), key=lambda fit: fit.misfit)


def _rivals(fit: PanelFit, best: PanelFit) -> bool:
    """Whether an answer is another one than the best and fits as well but for chance."""
    apart = np.abs(fit.moves.shift - best.moves.shift).max()
    return apart > APART and (fit.misfit - best.misfit) / best.scale < TOLD_APART


def _other_moves(shift: NDArray, free: NDArray[np.bool_]) -> list[NDArray]:
    """Quite other moves. A panel that merely bulges fits them as well, if it bulges more or less, or hollows."""
    if not free.any():
        return []
    length = float(np.hypot(*shift[free].T).max())
    signs = [np.array(way) for way in itertools.product((1, -1), repeat=2)]
    ways = [way * size / length for way in signs for size in (length, *OTHER_MOVES)][1:]
    return [np.where(free[:, None], way * shift, shift) for way in ways]


def _combined(starts: list[list[NDArray]]) -> list[tuple[NDArray, ...]]:
    """Every choice of one start a place; the likeliest of each alone where that were too many."""
    while np.prod([len(group) for group in starts]) > MOST_COMBINED:
        longest = max(range(len(starts)), key=lambda n: len(starts[n]))
        starts[longest].pop()
    return list(itertools.product(*starts))


def _likely_moves(cells: NDArray, first: NDArray, second: NDArray) -> list[NDArray]:
    """Moves at which what is not round in one flat lies best on what is not round in another."""
    steps = np.arange(-MOST_MOVE, MOST_MOVE + 1e-9, MOVE_STEP)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    grid = grid[(np.hypot(*grid.T) >= LEAST_MOVE) & (np.hypot(*grid.T) <= MOST_MOVE)]
    tree = KDTree(cells)
    pitch = np.sqrt(np.prod(np.ptp(cells, axis=0)) / len(cells))
    likeness = np.full(len(grid), -np.inf)
    for number, move in enumerate(grid):
        away, partner = tree.query(cells - move)
        here = away < pitch
        if here.sum() > len(cells) / 5:
            likeness[number] = np.corrcoef(second[here], first[partner[here]])[0, 1] * np.sqrt(here.mean())
    chosen: list[NDArray] = []
    for number in np.argsort(-likeness):
        if all(np.hypot(*(grid[number] - other)) > 2.5 * MOVE_STEP for other in chosen):
            chosen.append(grid[number])
        if len(chosen) == ALONE:
            break
    return chosen


def _left(field: PanelField, fit: PanelFit, rivals: list[NDArray], turned: bool) -> float:
    """Stops that doubt about panel and moves leaves in the lens's map (95 %), at the worst cell."""
    places, cells = len(fit.moves.shift), field.cells

    def of_lens(values: NDArray) -> NDArray:
        values = values - values[np.hypot(*cells.T) < 0.15].mean(axis=0)
        return values - _plane_of(values, cells, turned)

    by_panel = np.mean([field.basis(k, s) for k, s in enumerate(fit.moves.shift)], axis=0)
    by_moves = field.slopes(fit.moves, fit.coefficients).T / places
    change = of_lens(np.concatenate([by_panel, by_moves], axis=1))
    doubt = NORMAL_95 * np.sqrt(np.sum((change @ fit.covariance) * change, axis=1).max())
    found = field.seen(fit, cells)
    return float(max([doubt, *(np.abs(of_lens(other - found)).max() for other in rivals)]))


def _plane_of(values: NDArray, at: NDArray, turned: bool) -> NDArray:
    """The even slope in values over places, which only a turned panel tells; 0 then."""
    if turned:
        return np.zeros_like(values)
    plane = np.column_stack([at, np.ones(len(at))])
    return plane @ np.linalg.lstsq(plane, values, rcond=None)[0]


def _places(
    given: Sequence[PanelGiven], fit: PanelFit | None = None, extent: NDArray | None = None
) -> list[PanelPosition]:
    """The places for the report, with their moves where these are known."""
    found = []
    for number, place in enumerate(given):
        shift = None
        if fit is not None and number > 0:
            count = len(fit.coefficients) + 2 * (number - 1)
            half = NORMAL_95 * np.sqrt(np.diag(fit.covariance)[count : count + 2])
            shift = tuple(
                Figure.of(100 * move / side, 100 * reach / side, "%")
                for move, side, reach in zip(fit.moves.shift[number], extent, half, strict=True)
            )
        elif number == 0:
            shift = (Figure.of(0.0, 0.0, "%"), Figure.of(0.0, 0.0, "%"))
        found.append(PanelPosition(place.panel, place.turn_deg, shift))
    return found
