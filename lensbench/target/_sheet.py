"""A page planned for a target: its size, where the target lies on it, and how long the ruler bars are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.errors import BenchError
from lensbench.target.layout import Layout, make_layout, plan_lattice, tiled_size_mm

PAPERS_MM = {
    "A5": (210.0, 148.0),
    "A4": (297.0, 210.0),
    "A3": (420.0, 297.0),
    "A2": (594.0, 420.0),
    "A1": (841.0, 594.0),
    "A0": (1189.0, 841.0),
    "letter": (279.4, 215.9),
    "legal": (355.6, 215.9),
    "tabloid": (431.8, 279.4),
}
"""Papers by name, width and height as they lie for a frame wider than tall: those of ISO 216, and North America's
8.5 × 11, 8.5 × 14 and 11 × 17 inches."""

FILM = "film"
"""The sheet that is cut as small as the target allows."""

MARGIN_MM = 7.0
"""What printers leave blank around a page."""

TICK_MM = 5.0
"""Length of the ticks at the bars' ends."""

TEXT_MM = 2.6
"""Size of the letters."""

LINE_STEP = 1.4
"""From one line of text to the next, in letter sizes."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """A page with a target on it.

    Attributes
    ----------
    size_mm : (float, float)
        Width and height of the page.
    centre_mm : (float, float)
        Where the target's centre lies on it, from the page's top left.
    scale : float
        Size of margins, ticks and letters, 1 on paper and less on small film.
    frame_mm, magnification, lattice
        What the target is for.
    layout : Layout
        The target.
    """

    size_mm: tuple[float, float]
    centre_mm: tuple[float, float]
    scale: float
    frame_mm: tuple[float, float]
    magnification: float
    lattice: str
    layout: Layout

    @property
    def field_mm(self) -> tuple[float, float]:
        """What the frame sees of the sheet."""
        return self.frame_mm[0] / self.magnification, self.frame_mm[1] / self.magnification


def plan_sheet(
    frame_mm: tuple[float, float], paper: str = "A4", lattice: str = "fine", magnification: float | None = None
) -> Sheet:
    """Put a target on a page.

    Parameters
    ----------
    frame_mm : (float, float)
        Width and height of the sensor.
    paper : str
        One of `PAPERS_MM`, a size such as ``594x420`` in millimetres, or ``film`` for a sheet just large enough.
    lattice : str
        One of the lattices of `layout.LATTICES`.
    magnification : float, optional
        Size on the sensor over size on the target; unless given, the largest target that the paper holds.

    Returns
    -------
    Sheet

    Raises
    ------
    BenchError
        Where the paper is unknown or too small, or film is asked for without a magnification.
    """
    life_size_mm = tiled_size_mm(*plan_lattice(frame_mm, 1.0, lattice))
    if paper == FILM:
        if magnification is None:
            raise BenchError("For film, say the magnification too (1 for life size).")
        layout = make_layout(frame_mm, magnification, lattice)
        scale = min(1.0, float(np.hypot(*layout.size_mm)) / 150)
        bands = _bands(scale, layout.pitch_mm)
        width, height = (side + bands[axis] + bands[axis + 2] for axis, side in enumerate(layout.size_mm))
        size = float(np.ceil(width)), float(np.ceil(height))
    else:
        size, scale = _paper_size(paper, upright=frame_mm[1] > frame_mm[0]), 1.0
        if magnification is None:
            magnification = _smallest_magnification(life_size_mm, size)
        layout = make_layout(frame_mm, magnification, lattice)
        _refuse_too_large(layout, size, paper, magnification, _smallest_magnification(life_size_mm, size))
    left, top, right, bottom = _bands(scale, layout.pitch_mm)
    centre = (left + size[0] - right) / 2, (top + size[1] - bottom) / 2
    layout = make_layout(frame_mm, magnification, lattice, _ruler_lengths(size, centre, scale))
    return Sheet(size, centre, scale, (frame_mm[0], frame_mm[1]), float(magnification), lattice, layout)


def size_from_words(words: str) -> tuple[float, float]:
    """Width and height in millimetres from words such as ``36x24``.

    Raises
    ------
    BenchError
        Where the words are not two numbers above zero.
    """
    try:
        width, height = (float(side) for side in words.lower().replace("×", "x").split("x"))
    except ValueError:
        width = height = 0.0
    if not (0 < width < np.inf and 0 < height < np.inf):
        raise BenchError(f"{words} is not a width and a height; write them in millimetres as in 36x24.")
    return width, height


def _paper_size(paper: str, upright: bool) -> tuple[float, float]:
    named = next((size for name, size in PAPERS_MM.items() if name.lower() == paper.strip().lower()), None)
    if named:
        return named[::-1] if upright else named
    choices = f"Choose {', '.join(PAPERS_MM)}, {FILM}, or a size in millimetres such as 594x420."
    try:
        width, height = size_from_words(paper)
    except BenchError as error:
        raise BenchError(f"{paper} is no paper known here. {choices}") from error
    if not (min(width, height) >= 50 and max(width, height) <= 5000):
        raise BenchError(f"Paper of {paper} mm is out of reach (50 to 5000 mm a side). {choices}")
    return width, height


def _bands(scale: float, pitch_mm: float) -> tuple[float, float, float, float]:
    """What lies between the page's edge and the tiles: left (bar), top, right, bottom (bar and text)."""
    gap = scale * 3 + 0.25 * min(pitch_mm, 10.0)
    plain = scale * MARGIN_MM
    bar = plain + scale * (TICK_MM + TEXT_MM) + gap
    tick = plain + scale * TICK_MM / 2 + gap
    return bar, tick, tick, bar + foot_height(scale)


def foot_height(scale: float) -> float:
    """The height of the text under the target: three long lines, or six of half the length on small film."""
    return scale * LINE_STEP * TEXT_MM * (3 if scale == 1 else 6)


def _smallest_magnification(life_size_mm: tuple[float, float], size: tuple[float, float]) -> float:
    """The magnification of the largest target that fits a page."""
    # The gap depends a little on the pitch, so take the widest gap that there is.
    left, top, right, bottom = _bands(1.0, np.inf)
    room = size[0] - left - right, size[1] - top - bottom
    if min(room) <= 0:
        raise BenchError(
            f"A page of {size[0]:g} x {size[1]:g} mm leaves no room for a target; choose a larger one."
        )
    return max(side / space for side, space in zip(life_size_mm, room, strict=True))


def _refuse_too_large(
    layout: Layout, size: tuple[float, float], paper: str, magnification: float, smallest: float
) -> None:
    left, top, right, bottom = _bands(1.0, layout.pitch_mm)
    room = size[0] - left - right, size[1] - top - bottom
    if any(side > space + 1e-6 for side, space in zip(layout.size_mm, room, strict=True)):
        needed = " x ".join(f"{side:.0f}" for side in layout.size_mm)
        raise BenchError(
            f"At magnification {magnification:g} the target measures {needed} mm and does not fit {paper}"
            f" ({room[0]:.0f} x {room[1]:.0f} mm beside the bars). Choose larger paper, or a magnification of"
            f" {np.ceil(smallest * 1000) / 1000:g} or more."
        )


def _ruler_lengths(size: tuple[float, float], centre: tuple[float, float], scale: float) -> tuple[float, float]:
    """The longest bars, in whole steps, that lie evenly about the target's centre inside of the margins."""
    margin = scale * (MARGIN_MM + TICK_MM / 2)
    across, up = (2 * (min(middle, side - middle) - margin) for middle, side in zip(centre, size, strict=True))
    step = 10.0 if scale == 1 else 5.0
    return step * (across // step), step * (up // step)
