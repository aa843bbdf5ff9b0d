"""A session about to be written: drawn by the outside renderer, open to be spoiled at every stage before.

Stages follow each other: the sheet and the lens (`tiles`, `frame`), each colour's picture of the sheet (`planes`),
the light over the frame (`light`), the exposed mosaic, the file and the session's entries. Whatever spoils a shot
changes one stage; those behind it are made from it when they are first asked for.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np
import tomlkit
from numpy.typing import NDArray

from lensbench.target.layout import Layout, layout_text, make_layout
from tests.outside.renderer import OutsideFrame, OutsideLens, SmoothFrame, draw_sheet, expose, write_mosaic

SIZE, SENSOR_MM, MAGNIFICATION = (1500, 1000), (9.0, 6.0), 0.1
PITCH_MM = SENSOR_MM[0] / SIZE[0]
LAYOUT = make_layout(SENSOR_MM, MAGNIFICATION, "coarse")
FINER = 4
"""Subdivision of pixels: blur is never under 0.6 px here."""

LENS = OutsideLens(
    px_per_mm=MAGNIFICATION / PITCH_MM,
    turn_deg=2.0,
    bend=(-0.03, 0.006),
    fringe_px=(1.6, 0.0, -1.2),
    falloff_stops=0.9,
    sigma_px=(0.75, 1.05),
    stretch=1.25,
)
"""The honest lens of every misleading shot."""


class LensFrame(SmoothFrame):
    """The lens in the frame of all misleading shots."""

    def __init__(self, lens: OutsideLens) -> None:
        super().__init__(lens, *SIZE)


def tiles_of(layout: Layout) -> list[dict]:
    """The tiles as target.json has them."""
    tiles: list[dict] = json.loads(layout_text(layout))["tiles"]
    return tiles


@lru_cache(maxsize=4)
def _honest_planes(lens: OutsideLens) -> tuple[NDArray[np.float32], ...]:
    return draw(LensFrame(lens), tiles_of(LAYOUT))


def draw(frame: OutsideFrame, tiles: list[dict]) -> tuple[NDArray[np.float32], ...]:
    """Each colour's picture of a sheet, paper being 1."""
    return tuple(draw_sheet(frame, tiles, colour, finer=FINER) for colour in range(3))


class Draft:
    """One shot of the target, or of an even light, and its session.

    Attributes
    ----------
    rng : Generator
        Of the shot's noise and of whatever spoils it.
    shows : str
        ``target`` or ``flat``.
    lens : OutsideLens
        The honest lens, whose figures are the truth.
    gaussian : bool
        Whether its blur is Gaussian: only then is the truth of MTF50 known.
    unknown : tuple of str
        Names of figures whose truth the spoiling itself changes.
    frame : OutsideFrame
        The lens in its frame.
    tiles : list of dict
        Of the sheet that hangs before the lens.
    entry : dict
        The shot's own keys in the session file.
    session : dict
        The session file's other tables.
    layout_text : str
        What target.json holds.
    others : dict
        Lenses of further shots that were taken through another, or refocused, by file.
    """

    def __init__(self, seed: int, shows: str = "target", lens: OutsideLens = LENS) -> None:
        self.rng = np.random.default_rng(seed)
        self.shows, self.lens, self.gaussian = shows, lens, True
        self.unknown: tuple[str, ...] = ()
        self.frame: OutsideFrame = LensFrame(lens)
        self.tiles = tiles_of(LAYOUT)
        self.layout_text = layout_text(LAYOUT)
        self.entry: dict = {"file": "shot.dng", "shows": shows, "f_number": 11.0}
        self.session: dict = {
            "build": {"name": "Gauntlet"},
            "camera": {"sensor_mm": list(SENSOR_MM)},
            "target": {"layout": "target.json", "rulers_measured_mm": list(LAYOUT.rulers_mm)},
        }
        self.others: dict[str, OutsideLens] = {}
        self._extra: list[tuple[dict, Callable[[Path], object]]] = []

    @cached_property
    def planes(self) -> list[NDArray[np.float32]]:
        """The sheet in each colour, paper being 1; a flat's is 1 everywhere."""
        if self.shows == "flat":
            return [np.ones(SIZE[::-1], np.float32) for _ in range(3)]
        as_it_was = type(self.frame) is LensFrame and self.frame.lens == self.lens
        if as_it_was and self.tiles == tiles_of(LAYOUT):
            return [plane.copy() for plane in _honest_planes(self.lens)]
        return list(draw(self.frame, self.tiles))

    @cached_property
    def light(self) -> NDArray[np.float32]:
        """Light over the frame, 1 at the centre of an honest shot."""
        return self.frame.light()

    @cached_property
    def mosaic(self) -> NDArray[np.uint16]:
        """The exposed raw samples, black at 512, white at 15,512."""
        return expose(self.rng, self.planes, self.light)

    def add_shot(self, entry: dict, write: Callable[[Path], object]) -> None:
        """A further shot of the session, with what writes its file."""
        self._extra.append((entry, write))

    def write_file(self, path: Path) -> None:
        """Write the shot's file."""
        write_mosaic(path, self.mosaic)

    def write(self, folder: Path) -> None:
        """Write the session into a folder."""
        folder.mkdir(parents=True, exist_ok=True)
        entries = [self.entry]
        self.write_file(folder / self.entry["file"])
        for entry, write in self._extra:
            write(folder / entry["file"])
            entries.append(entry)
        (folder / "target.json").write_text(self.layout_text)
        (folder / "session.toml").write_text(tomlkit.dumps({**self.session, "shot": entries}))
