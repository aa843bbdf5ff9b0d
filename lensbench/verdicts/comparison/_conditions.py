"""Under which conditions two builds were measured, and what of it was not the same."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import Report, Setting

SCALE_APART = 0.02
"""Magnifications farther apart than this share change sharpness, falloff and fringing by themselves."""

SCALE_REFUSED = 0.10
"""From here on two builds are not compared at all: it is another use of the lens."""


def refusals(before: Report, after: Report) -> Iterator[str]:
    """Why two reports can't be compared at all, a sentence each."""
    one, other = before.camera, after.camera
    if one.size_px != other.size_px:
        sizes = "{} × {} pixels against {} × {}".format(*one.size_px, *other.size_px)
        yield f"The cameras differ: {sizes}. Measure both builds with one camera."
    elif one.pixel_pitch_um and other.pixel_pitch_um and abs(one.pixel_pitch_um / other.pixel_pitch_um - 1) > 0.01:
        yield (
            f"The sensors differ: pixels of {one.pixel_pitch_um:.2f} µm against {other.pixel_pitch_um:.2f} µm. "
            "Check sensor_mm in both session files."
        )
    if not shared_apertures(before, after):
        yield "No aperture was measured with both builds. Shoot both at the same ones."
    apart = _scale_apart(before, after)
    if apart is not None and apart > SCALE_REFUSED:
        yield f"The magnifications differ by {100 * apart:.0f} %. Measure both builds at the same one."


def unlike(before: Report, after: Report) -> Iterator[str]:
    """What was not the same, though both can be compared, a sentence each."""
    one, other = before.camera, after.camera
    if one.model != other.model and one.model and other.model:
        yield f"Another camera body: {one.model}, then {other.model}."
    apart = _scale_apart(before, after)
    if apart is not None and SCALE_APART < apart <= SCALE_REFUSED:
        yield (
            f"The magnifications differ by {100 * apart:.1f} %: that by itself changes sharpness, falloff and "
            "fringing a little."
        )
    solved = [_lamp_removed(report) for report in (before, after)]
    if None not in solved and solved[0] != solved[1]:
        which = "earlier" if solved[0] else "later"
        yield (
            f"Only the {which} build's falloff has the lamp's own unevenness removed; the other's is of lens "
            "and lamp together."
        )
    for report, name in ((before, "earlier"), (after, "later")):
        if any(warning.code == "incomparable" for warning in report.warnings):
            yield f"The {name} build was measured from developed pictures, not raw: sharpness isn't comparable."


def shared_apertures(before: Report, after: Report) -> list[str]:
    """The apertures that both were measured at, as the user calls them, in the later report's order."""
    earlier = {setting.label for setting in before.settings if not setting.lens_turn_deg}
    return list(dict.fromkeys(s.label for s in after.settings if not s.lens_turn_deg and s.label in earlier))


def setups_at(report: Report, aperture: str) -> list[Setting]:
    """The setups of one aperture, the lens not turned in its mount."""
    return [s for s in report.settings if s.label == aperture and not s.lens_turn_deg]


def _scale_apart(before: Report, after: Report) -> float | None:
    scales = [report.geometry.magnification if report.geometry else None for report in (before, after)]
    if scales[0] is None or scales[1] is None:
        return None
    return abs(scales[1].value / scales[0].value - 1)


def _lamp_removed(report: Report) -> bool | None:
    removed = [bool(s.falloff.panel and s.falloff.panel.removed) for s in report.settings if s.falloff]
    return any(removed) if removed else None
