"""Whose a lean is: of the target, of the lens, of its front group, of mount or sensor."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import UNTOLD, Camera, Setting
from lensbench.verdicts.assembly._lean_seen import (
    LeanSeen,
    SheetLean,
    leans_of_blur,
    leans_of_rails,
    sheet_lean,
)
from lensbench.verdicts.assembly._softer_side import NOT_CHANCE

COUNTS = {"series along the rail": 0.15, "blur": 0.7}
"""Lean in quarter-wave depths at h = 1 from which it counts (study: `tests/bench/assembly.py`)."""

MATTERS = {"series along the rail": 0.2, "blur": 1.0}
"""What a lean is to be smaller than, interval and all, for nothing to lean."""

NAMED_BY_TURN = ("lens", "front group", "mount or sensor")
"""Whose a lean is only a turn of the lens tells."""

ALIKE = 0.3
"""Leans that differ by less than this share, and what their intervals explain, are the same one (chosen by
experience)."""

SQUARE = 0.4
"""A target that leans by less than this share of what is seen counts as square (chosen by experience)."""


class PartLean(NamedTuple):
    """The lean of one part: whose, how much in depths a half-diagonal, and how sure."""

    whose: str
    vector: NDArray[np.float64]
    covariance: NDArray[np.float64]
    seen: LeanSeen

    @property
    def size(self) -> float:
        return float(np.hypot(*self.vector))

    @property
    def leans(self) -> bool:
        """Whether it leans, beyond chance and by more than is left alone."""
        sure = self.vector @ np.linalg.pinv(self.covariance, hermitian=True) @ self.vector > NOT_CHANCE
        return bool(sure) and self.size > COUNTS[self.seen.of]

    @property
    def straight(self) -> bool:
        """Whether it leans by less than matters, whatever its interval leaves open."""
        spread = float(np.sqrt(np.linalg.eigvalsh(self.covariance).max()))
        return self.size + 2 * spread < MATTERS[self.seen.of]


class LeanJudged(NamedTuple):
    """What leans, and whether everything else is known to be straight."""

    parts: list[PartLean]
    straight: bool
    of: str


def judge_lean(settings: Sequence[Setting], camera: Camera, pupil_ratio: float) -> LeanJudged | None:
    """Judge all leans together: series along the rail before the blur of single shots, which has no sign.

    Returns
    -------
    LeanJudged or None
        None where nothing shows a lean or its absence.
    """
    rails = list(leans_of_rails(settings, camera, pupil_ratio))
    blurs = list(leans_of_blur(settings, camera, pupil_ratio)) if not _turned(rails) else []
    if not rails and not blurs:
        return None
    parts = _parts(rails or blurs, settings, camera)
    if rails and _turned(blurs):
        by_blur = [part for part in _parts(blurs, settings, camera) if part.leans]
        parts = [_named_by_turn(part, by_blur) for part in parts]
    return LeanJudged([p for p in parts if p.leans], all(p.straight for p in parts), (rails or blurs)[0].of)


def _turned(seen: Sequence[LeanSeen]) -> str:
    """What was turned in some of these, if anything was."""
    return next((one.turned for one in seen if one.turn_deg % 360), "")


def _parts(seen: Sequence[LeanSeen], settings: Sequence[Setting], camera: Camera) -> list[PartLean]:
    """The leans of one kind by whose they are, as far as they and the keystone tell."""
    sheet = None if seen[0].sheet_out else sheet_lean(settings, camera, seen[0].degrees)
    turned = _turned(seen)
    if turned:
        return _of_turned(seen, turned, sheet)
    return [_laid_to_sheet(PartLean("lens or mount", seen[0].vector, seen[0].covariance, seen[0]), sheet)]


def _named_by_turn(part: PartLean, by_blur: Sequence[PartLean]) -> PartLean:
    """A lean along the rail is that part's whose lean single shots show when turned, alone and by as much."""
    if part.whose != "lens or mount" or len(by_blur) != 1 or by_blur[0].whose not in NAMED_BY_TURN:
        return part
    (blur,) = by_blur
    scale = blur.seen.degrees / part.seen.degrees
    off = min(float(np.hypot(*(part.vector - sign * scale * blur.vector))) for sign in (1, -1))
    spreads = [s * np.sqrt(np.linalg.eigvalsh(p.covariance).max()) for s, p in ((1.0, part), (scale, blur))]
    alike = off < ALIKE * part.size + 2 * float(np.hypot(*spreads))
    return part._replace(whose=blur.whose) if alike else part


def _of_turned(seen: Sequence[LeanSeen], turned: str, sheet: SheetLean | None) -> list[PartLean]:
    """What stays and what turns; where signs are open and leave several answers, what is common to them."""
    splits = [
        _split([one if sign > 0 else one.negated() for one, sign in zip(seen, signs, strict=True)])
        for signs in _signs(seen)
    ]
    best = min(misfit for _, _, misfit in splits)
    answers = []
    # Three shots or more leave a misfit by which wrong signs are known.
    for stays, turns, misfit in splits:
        if misfit > best + NOT_CHANCE:
            continue
        rest = "mount or sensor" if turned == "lens" else "lens or mount"
        answers.append([_laid_to_sheet(PartLean(rest, *stays, seen[0]), sheet), PartLean(turned, *turns, seen[0])])
    verdicts = [tuple((part.whose, part.leans) for part in parts) for parts in answers]
    if len(set(verdicts)) == 1:
        return answers[0]
    # Something leans under every sign: whose it is, the signs leave open.
    longest = [max(parts, key=lambda part: part.size) for parts in answers]
    least = min(longest, key=lambda part: part.size)
    wide = least.covariance * (1 if least.leans else 9)
    return [least._replace(whose=UNTOLD if sheet is None else "lens or mount", covariance=wide)]


def _signs(seen: Sequence[LeanSeen]) -> Iterator[tuple[int, ...]]:
    """The signs that leans may have against the first one's: curvature of field, which no turn changes, tells."""
    if all(one.signed for one in seen):
        yield (1,) * len(seen)
    elif all(one.bowl for one in seen):
        yield tuple(1 if one.bowl * seen[0].bowl > 0 else -1 for one in seen)
    else:
        yield from ((1, *rest) for rest in product((1, -1), repeat=len(seen) - 1))


def _split(seen: Sequence[LeanSeen]) -> tuple[tuple[NDArray, NDArray], tuple[NDArray, NDArray], float]:
    """The lean that stays and the one that turns, each with its covariance, by weighted least squares; χ²."""
    normal, right, square = np.zeros((4, 4)), np.zeros(4), 0.0
    for one in seen:
        cos, sin = np.cos(np.radians(one.turn_deg)), np.sin(np.radians(one.turn_deg))
        row = np.array([[1, 0, cos, sin], [0, 1, -sin, cos]])
        weight = np.linalg.pinv(one.covariance, hermitian=True)
        normal, right = normal + row.T @ weight @ row, right + row.T @ weight @ one.vector
        square += float(one.vector @ weight @ one.vector)
    covariance = np.linalg.pinv(normal, hermitian=True)
    both = covariance @ right
    return (both[:2], covariance[:2, :2]), (both[2:], covariance[2:, 2:]), square - float(both @ right)


def _laid_to_sheet(part: PartLean, sheet: SheetLean | None) -> PartLean:
    """A lean is the target's where the keystone accounts for it, and not where the target was square."""
    if part.seen.sheet_out:
        return part
    if sheet is None:
        return part._replace(whose=UNTOLD)
    if sheet.most < SQUARE * part.size:
        return part
    if _accounts(part, sheet):
        return part._replace(whose="target")
    return part._replace(whose=UNTOLD)


def _accounts(part: PartLean, sheet: SheetLean) -> bool:
    """Whether the target's lean alone is what is seen, but for what does not count, at every image distance."""
    distances = np.linspace(sheet.nearest, sheet.farthest, 31)
    signs = (1, -1) if not part.seen.signed else (1,)
    # At the distance that suits best, a short lean of the sheet would pass for a longer one of the lens.
    left = max(min(float(np.hypot(*(part.vector - sign * d * sheet.vector))) for sign in signs) for d in distances)
    spread = float(np.sqrt(np.linalg.eigvalsh(part.covariance).max()))
    return left < COUNTS[part.seen.of] + 2 * (spread + sheet.nearest * float(sheet.sigma.max()))
