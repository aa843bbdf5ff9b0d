"""What makes a target shot no good to go on with, each with what to do.

Evenness is not among them: an uneven lens is what the bench is there to show.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lensbench.analysers.shot_quality import DARK_WHITE
from lensbench.formatting import listed, number
from lensbench.optics import depth_of_field
from lensbench.watch._bench import Bench
from lensbench.watch._looks import SPOTS, Look, Problem

COVERED = 97.0
"""Percent of the frame that the sheet must cover."""

LEAST_MEASURED = 0.6
"""Share of the edges looked at that must be measurable."""

SOFT = 0.05
"""MTF50 in cy/px of the centre under which nothing was in focus (chosen by experience: the bench measures down to
0.015, and home-built lenses stopped down have ten times as much)."""

LEANING = 2.0
"""Percent by which the sheet may be drawn unequal at opposite sides where its depth of field isn't known."""

BLUR_PX = 2.0
"""Blur circle in pixels that bounds the depth of field."""


def problems_of(
    look: Look, measured: float = 1.0, missed: Sequence[str] = (), bench: Bench | None = None
) -> list[Problem]:
    """What is wrong with a shot.

    Parameters
    ----------
    look : Look
    measured : float
        Share of the edges that could be measured.
    missed : sequence of str
        What the finder says of tiles that it could not make out.
    bench : Bench, optional
    """
    if look.shows is None:
        return [Problem("unknown", "shows neither the target nor an even light.")]
    if look.shows == "dark":
        return []
    found = list(_of_light(look))
    if look.shows == "target":
        found += [*_of_sheet(look, missed, bench or Bench()), *_of_sharpness(look, measured)]
    return found


def _of_light(look: Look) -> Iterator[Problem]:
    exposure = look.exposure
    if exposure is None:
        return
    if exposure.clipped:
        colour = "" if exposure.channel == "grey" else f" in {exposure.channel}"
        yield Problem("clipped", f"white is clipped{colour}. Expose a full stop less, and look again.")
    elif exposure.white_percent < 100 * DARK_WHITE and exposure.stops_more is not None:
        yield Problem(
            "dark",
            f"white is at {exposure.white_percent:.0f} % only. Expose {exposure.stops_more:.1f} stops more.",
        )


def _of_sheet(look: Look, missed: Sequence[str], bench: Bench) -> Iterator[Problem]:
    if look.covered_percent is not None and look.covered_percent < COVERED:
        where = f": nothing {listed(look.uncovered[:3])}" if look.uncovered else ""
        yield Problem(
            "partly-covered",
            f"tiles are found on {look.covered_percent:.0f} % of the frame only{where}. Come closer, point the "
            "camera at the sheet's middle, or see what is in the way or dark there.",
        )
    elif missed:
        yield Problem("tiles-missed", " ".join(missed))
    said = _leaning(look, bench)
    if said is not None:
        yield Problem("leaning", said)


def _leaning(look: Look, bench: Bench) -> str | None:
    lean = look.lean
    if lean is None:
        return None
    shares = [abs(figure.value) / 100 for figure in (lean.right_smaller_percent, lean.bottom_smaller_percent)]
    share = depth_share(look, bench, sum(shares))
    advice = "Turn camera or sheet until opposite sides are drawn alike; a mirror flat on the sheet helps."
    if share is not None:
        if share <= 1:
            return None
        return (
            f"the sheet leans so far that its corners lie {number(share, 1)} × out of the depth of field. {advice}"
        )
    if max(shares) * 100 <= LEANING:
        return None
    return f"the sheet leans: opposite sides are drawn {100 * max(shares):.1f} % unequal. {advice}"


def depth_share(look: Look, bench: Bench, unequal: float) -> float | None:
    """How far the farthest corner lies from the middle's plane, in half depths of field; None where unknown.

    What lies farther away by a share of the distance is drawn smaller by that share.
    """
    focal, sensor, m = look.focal_mm, bench.sensor_mm, look.magnification
    if focal is None or sensor is None or look.f_number is None or not m or look.size_px is None:
        return None
    blur = BLUR_PX * sensor[0] / look.size_px[0]
    depth = depth_of_field(look.f_number, m, blur, bench.pupil_ratio)
    # From the entrance pupil to the sheet (Gaussian optics; m times this is f (1 + m / P), the image's distance).
    away = focal * (1 / m + 1 / bench.pupil_ratio)
    return unequal * away / depth


def _of_sharpness(look: Look, measured: float) -> Iterator[Problem]:
    # Clipped edges can't be measured either; that is said already.
    if measured < LEAST_MEASURED and not (look.exposure and look.exposure.clipped):
        yield Problem(
            "unmeasurable",
            f"only {100 * measured:.0f} % of the edges looked at can be measured. Focus, mend the exposure, or "
            "print the coarse lattice.",
        )
    centre = look.mtf50(SPOTS[0])
    if centre is not None and centre.value < SOFT:
        yield Problem("blurred", f"the centre is very soft ({centre.value:.3f} cy/px). Focus first.")
    if look.motion_px is not None:
        yield Problem(
            "motion",
            f"all tiles are blurred alike in one direction, as by a motion of {look.motion_px:.1f} px. Steady the "
            "tripod, release with a delay, and shoot again.",
        )
