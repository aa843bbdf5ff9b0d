"""What a report can't hold of a tile: its picture in the shot, and the MTF of each of its edges."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class FoundEdge:
    """One edge of a tile as it was found, from end to end: pixels of the picture from its top left corner.

    `mtf` is its contrast in the shot's reference channel at `analysers.edge.FREQUENCY`; empty where it could not
    be measured, and the line is then the one that it was looked for along.
    """

    leg: str
    start: tuple[float, float]
    end: tuple[float, float]
    mtf: tuple[float, ...] = ()


@dataclass(frozen=True)
class TileView:
    """One tile of one shot.

    Attributes
    ----------
    shot : str
        The shot's file.
    column, row : int
        The tile's position in the layout.
    picture : bytes
        A small JPEG picture of it: block means of the samples, each colour's white alike.
    size_px : (int, int)
        Width and height of the picture in its own pixels.
    px_across : float
        The frame's pixels that one pixel of the picture spans.
    edges : tuple of FoundEdge
        Its three edges.
    """

    shot: str
    column: int
    row: int
    picture: bytes
    size_px: tuple[int, int]
    px_across: float
    edges: tuple[FoundEdge, ...] = field(default=())
