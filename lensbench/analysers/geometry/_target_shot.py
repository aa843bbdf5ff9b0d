"""One shot of the target as geometry takes it."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.analysers.geometry._lines import Lines


@dataclass(frozen=True, eq=False)
class TargetShot:
    """One shot of the target.

    Attributes
    ----------
    name : str
        The shot's file name.
    lines : Lines
        Its edges, in green (or in the only channel).
    mirrored : bool
        Whether the sheet was seen from its back.
    rail_mm : float or None
        The camera's position on the rail, if it moved along one.
    mtf50 : float or None
        MTF50 of the shot as a whole, cy/px; the sharpest shot gives the setting's figures.
    others : tuple of Lines
        Its edges in the other channels, by which the centre of distortion is known not to be displaced by blur.
    """

    name: str
    lines: Lines
    mirrored: bool = False
    rail_mm: float | None = None
    mtf50: float | None = None
    others: tuple[Lines, ...] = ()
