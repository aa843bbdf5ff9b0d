"""The answers: the sharpest aperture, from setup to setup, assembly, dirt, goals."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure
from lensbench.findings.aperture import ApertureSeries, Rings
from lensbench.findings.goals import Grades
from lensbench.findings.tables import Tabular
from lensbench.formatting import aperture_name


class ApertureSharpness(Tabular, msgspec.Struct, frozen=True):
    """How sharp one aperture is in a part of the frame.

    `settings` are its places in `Report.settings`, the sharpest first: each is a setup of it (focused anew,
    mounted anew, or with the lens turned). `mean` is over all of them; its interval is that of the shot's noise
    where there was one setup, and Student's over the setups where there were several. `spread` is their standard
    deviation, with its interval. `equal_to_best` says that the aperture is equal to the
    sharpest one within the uncertainty (the sharpest one itself is).
    """

    f_number: float | None
    aperture: str | None
    settings: list[int]
    mean: Figure
    spread: Figure | None = None
    equal_to_best: bool = False

    @property
    def label(self) -> str:
        """The aperture as the user calls it."""
        return aperture_name(self.f_number, self.aperture)


class ApertureRanking(Tabular, msgspec.Struct, frozen=True):
    """Which aperture is sharpest in a part of the frame: ``frame`` (the whole of it), ``centre`` or ``corners``.

    Figures are MTF50, mean of directions, averaged over `zones` by their areas: those of the part that every
    aperture has a figure for, so that none gains by what it is too soft to show. `ranked` has the sharpest first.
    """

    part: str
    zones: list[str]
    ranked: list[ApertureSharpness]


class Repeated(Tabular, msgspec.Struct, frozen=True):
    """One figure over several setups of one aperture.

    `what` is ``sharpness`` (MTF50, mean of directions), ``fringing`` (outward) or ``falloff``. `mean` has the
    interval that the setups themselves leave it (Student's t); `spread` is the standard deviation of one setup
    about it, with its interval (chi squared); `shot_half_width` is half of the interval that the noise of one
    setup's shots leaves. `smallest_difference` is how far the means of two builds must lie apart, each from as
    many setups, before they may be called different (95 %).
    """

    what: str
    zone: str
    channel: str
    mean: Figure
    spread: Figure
    shot_half_width: float
    smallest_difference: float
    setups: int


class Repeats(Tabular, msgspec.Struct, frozen=True):
    """Several setups of one aperture (refocused, remounted), and how their figures differ."""

    f_number: float | None
    aperture: str | None
    lens_turn_deg: float
    setups: list[int]
    figures: list[Repeated]


class OpticalCentre(Tabular, msgspec.Struct, frozen=True):
    """One sign of where the lens's axis meets the sensor, from the frame's centre: x right, y down.

    In mm on the sensor, or in px where the sensor's size isn't known.
    """

    of: str
    x: Figure
    y: Figure


class TurnTest(Tabular, msgspec.Struct, frozen=True):
    """One asymmetry, split into what stayed with camera and target and what turned with the lens.

    Each part is an arrow (x right, y down); the lens's part is given for a lens turn of 0°. `cause` is
    ``lens``, ``target or camera``, ``both`` or ``neither``: whose arrow is longer than chance makes it. `turned`
    is what was turned, the ``lens`` or its ``front group``.
    """

    of: str
    stays: tuple[Figure, Figure]
    turns: tuple[Figure, Figure]
    cause: str
    turned: str = "lens"


class SofterSide(Tabular, msgspec.Struct, frozen=True):
    """Which side of the picture is softer than the one across from it.

    `side` is ``right``, ``top left`` and so on; `percent` how much less MTF50 it has, at the border; `setting` the
    aperture that shows it most. `cause` is that of the turn test (see `TurnTest`) or of a series along a rail, or
    ``can't tell`` without either: a target that leans and a lens that leans look alike.
    """

    side: str
    percent: Figure
    setting: str
    cause: str


class AssemblyFault(Tabular, msgspec.Struct, frozen=True):
    """One thing that is not as it should be in how the bench or the build is put together.

    `what` is ``lean``, ``off its axis`` (one part of the lens against another), ``off the middle`` (the whole lens
    against the frame) or ``curved field``. `whose` is ``lens``, ``front group``, ``mount or sensor``, ``lens or
    mount`` (not told apart yet), ``target`` or ``can't tell``. `side` is the side of the picture that comes to
    focus farther away, or towards which something lies off; ``left to right`` and the like where only the axis of
    a lean is known. `angle_deg` is a lean at the sensor, `shim_mm` how thick a shim that levels it has to be,
    `offset` how far something lies off, in mm or px. `evidence` says what shows it, `first` what to try first.
    """

    what: str
    whose: str
    side: str = ""
    angle_deg: Figure | None = None
    shim_mm: Figure | None = None
    offset: Figure | None = None
    evidence: str = ""
    first: str = ""


class Assembly(Tabular, msgspec.Struct, frozen=True):
    """Whether the build was put together straight: ``straight``, ``not straight`` or ``can't tell``, and why.

    A target that leaned and a curved field are among the `faults`, though they make no build crooked. `text` has
    a line a finding.
    """

    answer: str
    centres: list[OpticalCentre] = []
    turn_tests: list[TurnTest] = []
    text: str = ""
    softer_side: SofterSide | None = None
    faults: list[AssemblyFault] = []


class Sighting(Tabular, msgspec.Struct, frozen=True):
    """Where a mark was seen: the number of the setting in `Report.settings`, and of the mark in its list."""

    setting: int
    mark: int


class TracedMark(Tabular, msgspec.Struct, frozen=True):
    """One mark followed through the apertures.

    `x` and `y` are its place in pixels at the narrowest aperture that shows it. `lies_on` and `evidence` are as in
    `Mark`. `distance_mm` is how far from the sensor the mark, or its image, lies, where its blur tells.
    `shows_from` is the widest aperture at which it was seen, where wider ones did not show it.
    """

    kind: str
    x: float
    y: float
    lies_on: str
    evidence: str
    distance_mm: Figure | None
    sightings: list[Sighting]
    shows_from: str | None = None


class Dirt(Tabular, msgspec.Struct, frozen=True):
    """Where dirt lies and from which aperture on it shows: the marks at one mount orientation, and in words.

    `advice` says what was odd about the shots, and which further shots would tell more.
    """

    marks: list[TracedMark] = []
    places: str = ""
    apertures: str = ""
    advice: list[str] = []


class PrintSize(Tabular, msgspec.Struct, frozen=True):
    """How large a picture may be printed until it looks soft from reading distance, by one part of the frame.

    `part` is ``centre``, or ``frame`` for the whole of it, which its softest zone decides, by the mean of
    directions or the only `direction` that was measured there; `unmeasured` are zones of it without any. The
    sides have the interval of that zone's sharpness. `surely` is the largest usual sheet that stays sharp all over
    the interval, `perhaps` the largest that does so at its upper end; empty where even the smallest is too large.
    """

    part: str
    zone: str
    aperture: str
    enlargement: Figure
    long_cm: Figure
    short_cm: Figure
    surely: str
    perhaps: str
    direction: str = "mean"
    unmeasured: list[str] = []


class Verdict(Tabular, msgspec.Struct, frozen=True):
    """The answers; each part is None, or empty, until its question can be answered.

    `goals` are those of the session file.
    """

    aperture: list[ApertureRanking] = []
    assembly: Assembly | None = None
    dirt: Dirt | None = None
    goals: Grades | None = None
    prints: list[PrintSize] = []
    series: ApertureSeries | None = None
    rings: Rings | None = None
