"""What one look at a shot tells, as plain data."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure

SPOTS = ("centre", "top-left", "top-right", "bottom-right", "bottom-left")
"""Where a look measures sharpness: the middle of the frame and its four corners."""


class Spot(msgspec.Struct, frozen=True):
    """Sharpness at one of `SPOTS`: mean MTF50 of the edges there; None where no tile could be measured."""

    name: str
    mtf50: Figure | None


class SheetLean(msgspec.Struct, frozen=True):
    """How far the sheet is from square to the camera.

    `right_smaller_percent` is by how much smaller the sheet is drawn at the picture's right side than at its left,
    since it is farther away there (negative: the left is farther); `bottom_smaller_percent` likewise. The angles
    need the lens's focal length, and are None without. `told_from_decentring` is False where a lens whose
    distortion is off-centre could look the same.
    """

    right_smaller_percent: Figure
    bottom_smaller_percent: Figure
    right_away_deg: Figure | None
    bottom_away_deg: Figure | None
    told_from_decentring: bool


class Exposure(msgspec.Struct, frozen=True):
    """White in percent of raw clipping, in the colour nearest to it, and the stops to the wanted level.

    `stops_more` is positive where more light is needed; None where white clips, and nobody can say how far it is.
    """

    channel: str
    white_percent: float
    clipped: bool
    stops_more: float | None


class Problem(msgspec.Struct, frozen=True):
    """What makes a shot no good to go on with: a short code, and a sentence with what to do."""

    code: str
    text: str


class Change(msgspec.Struct, frozen=True):
    """How much sharper (softer: negative) a shot is than an earlier one, in percent at each spot."""

    shot: str
    percent: dict[str, Figure]


class Look(msgspec.Struct, frozen=True):
    """One look at a shot.

    `shows` is target, flat, dark, or None where the shot is none of these; only a target has spots, lean and
    coverage. `softest_corner_percent` is the softest corner's MTF50 in percent of the sharpest one's. `problems`
    are empty where the shot is good to go on with; `error` says why a file could not be read.
    """

    file: str
    shows: str | None = None
    size_px: tuple[int, int] | None = None
    f_number: float | None = None
    focal_mm: float | None = None
    pixel_pitch_um: float | None = None
    spots: list[Spot] = []
    softest_corner_percent: float | None = None
    lean: SheetLean | None = None
    exposure: Exposure | None = None
    covered_percent: float | None = None
    uncovered: list[str] = []
    magnification: float | None = None
    motion_px: float | None = None
    since_last: Change | None = None
    since_best: Change | None = None
    problems: list[Problem] = []
    notes: list[str] = []
    error: str | None = None
    seconds: float = 0.0

    @property
    def good(self) -> bool:
        """Whether the shot is good to go on with."""
        return self.error is None and self.shows is not None and not self.problems

    def mtf50(self, spot: str) -> Figure | None:
        """The figure of one spot."""
        return next((one.mtf50 for one in self.spots if one.name == spot), None)

    @property
    def corners(self) -> dict[str, Figure]:
        """The corners that were measured."""
        return {one.name: one.mtf50 for one in self.spots[1:] if one.mtf50 is not None}
