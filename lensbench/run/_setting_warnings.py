"""What keeps a setting's sharpness from being the lens's own, in words: short edges, focus, lean, bulge."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from math import hypot

import numpy as np

from lensbench.findings import NORMAL_95, Camera, Figure, Notice, Reason, Setting, Sharpness
from lensbench.robust import robust_sigma
from lensbench.verdicts.focus import (
    BLUR_PX,
    FocusError,
    SheetBulge,
    SheetDepth,
    judge_focus_error,
    judge_sheet_bulge,
    judge_sheet_depth,
    sharpness_lost,
)

MANY = 0.1
"""This share of a shot's edges too short is worth a warning: a few at the border always are."""

UNLIKE, SURE = 0.02, 4.0
"""Shots of one setting whose sharpness differs by more than this share, and by so many standard deviations, aren't
alike. Lesser differences are in the zones' intervals."""

MEDIAN_TO_MEAN = (np.pi / 2) ** 0.5
"""Standard deviation of a median over that of a mean, of normal values."""

LOST = 0.005
"""A sheet that leans or bulges is worth a word where it costs more than this share of a zone's MTF50."""

FULL_STOPS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 45, 64)


def setting_notices(
    setting: Setting, camera: Camera, channel: str, pupil_ratio: float = 1.0, moved: bool = False
) -> tuple[list[Notice], list[str]]:
    """What the user should know before trusting a setting's sharpness.

    Parameters
    ----------
    setting : Setting
        With its sharpness, limits and geometry.
    camera : Camera
        The frame.
    channel : str
        The channel that speaks for sharpness.
    pupil_ratio : float
        Exit over entrance pupil.
    moved : bool
        Whether its shots are blurred by motion, which long exposures of a sheet out of focus resemble.

    Returns
    -------
    list of Notice
        What is wrong, where, how much, and what to do.
    list of str
        The same in a few words each, to stand beside the figures.
    """
    sharpness = setting.sharpness
    if sharpness is None:
        return [], []
    notices, caveats = [*_short_edges(sharpness), *_unlike_shots(sharpness, setting.name, channel)], []
    pitch = camera.pixel_pitch_um
    # A series that shows the peaks has found best focus: what blur is left there is the lens's own.
    if setting.limits is not None and not moved and setting.focus is None:
        error = judge_focus_error(sharpness, setting.limits, channel, pitch)
        if error is not None:
            notices.append(Notice("out-of-focus", None, f"{setting.name}: {_out_of_focus(error, setting)}"))
            caveats.append("focus, which looks off everywhere")
    if setting.geometry is not None:
        for code, text, words in _sheet_notices(setting, sharpness, camera, channel, pupil_ratio):
            notices.append(Notice(code, None, f"{setting.name}: {text}"))
            caveats.append(words)
    if setting.limits is not None and setting.limits.print_blur is not None and setting.limits.print_limited:
        caveats.append("the print")
    return notices, caveats


def _sheet_notices(
    setting: Setting, sharpness: Sharpness, camera: Camera, channel: str, pupil_ratio: float
) -> Iterator[tuple[str, str, str]]:
    """Code, sentence and a few words on a sheet that leans or bulges so far that it costs sharpness."""
    geometry, f_number = setting.geometry, setting.f_number
    if geometry is None or f_number is None:
        return
    given = geometry, f_number, camera.sensor_mm, camera.pixel_pitch_um, pupil_ratio
    sharp = [z.mtf50.value for z in sharpness.zones if z.channel == channel and z.direction == "mean"]

    def lost(share: float) -> float:
        return max((sharpness_lost(share, mtf50) for mtf50 in sharp), default=0.0)

    depth, bulge = judge_sheet_depth(*given), judge_sheet_bulge(*given)
    if depth is not None and (depth.share > 1 or lost(depth.share) > LOST):
        yield "tilted", _tilted(depth, f_number, lost(depth.share)), "the sheet's lean at the sides"
    if bulge is not None and lost(bulge.share) > LOST:
        yield "not-flat", _not_flat(bulge, lost(bulge.share)), "a sheet that isn't flat"


def _short_edges(sharpness: Sharpness) -> Iterator[Notice]:
    """Shots many of whose edges are too short for how blurred they are."""
    edges = Counter(edge.shot for edge in sharpness.edges)
    short = Counter(edge.shot for edge in sharpness.edges if edge.reason is Reason.TOO_SHORT)
    for shot, count in short.items():
        if count > MANY * edges[shot]:
            text = (
                f"{shot}: {count} of {edges[shot]} edges are too short for how blurred they are. Use the coarse "
                "target, or one printed for a larger frame, or focus better."
            )
            yield Notice("short-edges", shot, text)


def _unlike_shots(sharpness: Sharpness, setting: str, channel: str) -> Iterator[Notice]:
    """Shots counted as taken alike whose edges are not: an aperture or a refocusing not written down."""
    mtf50: dict[str, dict[tuple[int, int, str], Figure]] = {}
    for edge in sharpness.edges:
        if edge.mtf50 and edge.used and edge.channel == channel and edge.leg != "blade":
            mtf50.setdefault(edge.shot, {})[edge.column, edge.row, edge.leg] = edge.mtf50
    if len(mtf50) < 2:
        return
    shared = sorted(set.intersection(*(set(edges) for edges in mtf50.values())))
    if not shared:
        return
    level = {shot: np.log([edges[place].value for place in shared]) for shot, edges in mtf50.items()}
    best = max(level, key=lambda shot: np.median(level[shot]))
    worst = min(level, key=lambda shot: np.median(level[shot]))
    apart = level[best] - level[worst]
    softer = float(np.median(apart))
    noise = [hypot(*(_relative(mtf50[shot][place]) for shot in (best, worst))) for place in shared]
    scatter = max(robust_sigma(apart), float(np.median(noise)) / NORMAL_95)
    unsure = MEDIAN_TO_MEAN * scatter / len(shared) ** 0.5
    if softer > max(UNLIKE, SURE * unsure):
        text = (
            f"{worst}: is {-100 * np.expm1(-softer):.0f} % softer than {best}, though both are "
            f"listed with the same settings ({setting}), and the figures are of both together. Give each its "
            "own f_number or aperture in session.toml, or its own setup number where the lens was refocused."
        )
        yield Notice("unlike", worst, text)


def _relative(figure: Figure) -> float:
    return figure.half_width / figure.value


def _out_of_focus(error: FocusError, setting: Setting) -> str:
    said = (
        f"the whole sheet looks out of focus. Even the best zone ({error.best_zone.replace('-', ' ')}) is blurred "
        f"as by {error.defocus_um:.0f} µm of defocus at the sensor, {error.depths:.0f} times the quarter-wave "
        f"depth, and achieves {error.achieved_percent:.0f} % of the best possible."
    )
    otherwise = "If that is no sharper, it is not focus: the lens itself blurs that much everywhere."
    if setting.magnification is None:
        return f"{said} Refocus and shoot again. {otherwise}"
    rail = error.defocus_um / 1000 / setting.magnification.value**2
    return f"{said} Move the camera by about {rail:.2g} mm one way, then the other, and shoot again. {otherwise}"


def _tilted(depth: SheetDepth, f_number: float, lost: float) -> str:
    sides = ((depth.right_away, "right", "left"), (depth.bottom_away, "bottom", "top"))
    most = max(abs(depth.right_away), abs(depth.bottom_away))
    seen = [side for side in sides if abs(side[0]) > most / 10]
    leans = [_leaning(depth, away, *(names if away > 0 else names[::-1])) for away, *names in seen]
    if depth.share > 1:
        given = f", if the lens is more than {depth.soft_beyond_mm:.0f} mm from it"
        so = f"so the sides are soft because of that{'' if depth.distance_known else given}"
    else:
        given = f", if the lens is {depth.distance_mm:.0f} mm from it or more"
        so = f"and still the corners lose some {100 * lost:.1g} %{'' if depth.distance_known else given}"
    wanted = f_number * max(depth.share, 1.5)
    closed = next((f"f/{stop:g}" for stop in FULL_STOPS if stop >= wanted), None) if depth.distance_known else None
    close = f", or close the iris to {closed}" if closed else ", or close the iris"
    return (
        f"the sheet leans: {' and '.join(leans)}. The depth of field is {depth.depth_mm:.1f} mm (blur of "
        f"{BLUR_PX:g} px), {so}. Square the camera to the sheet (a mirror laid on it helps){close}."
    )


def _not_flat(bulge: SheetBulge, lost: float) -> str:
    much = f"{bulge.bulge_mm:.1f} mm" if bulge.distance_known else f"up to {bulge.bulge_mm:.1f} mm"
    return (
        f"the edges lie {bulge.residual_px:.2f} px from where those of a flat sheet could, as if its middle stood "
        f"out or in by {much}. The depth of field is {bulge.depth_mm:.1f} mm (blur of {BLUR_PX:g} px), so parts "
        f"of it are out of focus and lose some {100 * lost:.1g} %. Lay the sheet flat (tape it to a board or to a "
        "window's pane), keep the camera still, and shoot again. If it stays, the printer drew it unevenly, or an "
        "element is strained."
    )


def _leaning(depth: SheetDepth, away: float, far: str, near: str) -> str:
    if depth.distance_known:
        return f"its {far} side lies {abs(away) * depth.distance_mm:.1f} mm farther away than its {near} one"
    return f"its {far} side is drawn {100 * abs(away):.1f} % smaller than its {near} one"
