"""Where the print, not the lens, limits sharpness: one warning for the whole session."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lensbench.findings import Notice, PrintBlur, Setting
from lensbench.formatting import brief, listed
from lensbench.shot import reference_channel

MOST_NAMED = 5
"""So many settings are named; more are counted."""


class _Limited(NamedTuple):
    """A setting that the print limits: how much of the worst zone's sharpness it takes, and in how many zones."""

    lost_percent: float
    zone: str
    setting: str
    zones: int
    blur: PrintBlur


def print_notices(settings: Sequence[Setting]) -> list[Notice]:
    """A warning where the print costs zones a share of their sharpness, with the zone that it costs most.

    Parameters
    ----------
    settings : sequence of Setting
        With their limits.

    Returns
    -------
    list of Notice
        At most one.
    """
    limited = [one for setting in settings for one in _limited(setting)]
    if not limited:
        return []
    worst = max(limited, key=lambda one: one.lost_percent)
    names = listed([one.setting for one in limited])
    where = names if len(limited) <= MOST_NAMED else f"{len(limited)} of {len(settings)} settings"
    text = (
        f"{where}: the print limits sharpness in {worst.zones} zone{'s' * (worst.zones > 1)}: {_why(worst.blur)}. "
        f"Without that the MTF50 of the {worst.zone.replace('-', ' ')} zone{_at(worst, limited)} would be "
        f"{worst.lost_percent:.0f} % higher or more. Print finer, go farther away, or use film or chrome. The "
        "figures of the lens alone are corrected for it."
    )
    return [Notice("print-limited", None, text)]


def _limited(setting: Setting) -> Iterator[_Limited]:
    limits = setting.limits
    if limits is None or limits.print_blur is None or not limits.print_limited:
        return
    channel = reference_channel(zone.channel for zone in limits.zones)
    lost, zone = max(
        (zone.lost_to_print_percent, zone.zone)
        for zone in limits.zones
        if zone.direction == "mean" and zone.channel == channel and zone.lost_to_print_percent is not None
    )
    yield _Limited(lost, zone, setting.name, len(limits.print_limited), limits.print_blur)


def _at(worst: _Limited, limited: Sequence[_Limited]) -> str:
    return f" at {worst.setting}" if len(limited) > 1 else ""


def _why(blur: PrintBlur) -> str:
    if blur.source == "raggedness":
        return f"the printed edges are ragged by {brief(blur.sigma_px)} px on the sensor"
    return f"the printer's dots are {blur.sigma_px.value * 12**0.5:.2f} px wide on the sensor"
