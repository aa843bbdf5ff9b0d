"""Several setups of one aperture: what they are called, and the figure that speaks for them."""

from __future__ import annotations

from lensbench.findings import Repeated, Repeats, Setting


def repeats_name(repeats: Repeats) -> str:
    """The aperture that was set up several times, as headings call it."""
    return Setting(repeats.f_number, repeats.aperture, repeats.lens_turn_deg).name


def centre_repeated(repeats: Repeats) -> Repeated | None:
    """The sharpness of the zone nearest to the centre."""
    return next((row for row in repeats.figures if row.what == "sharpness"), None)
