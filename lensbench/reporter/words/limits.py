"""What is possible, and what besides the lens sets the figures, in sentences that stand beside the sharpness."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import Limits, PrintBlur, Report, Setting
from lensbench.formatting import brief, listed
from lensbench.reporter.values.sharpness import mean_limits, sharpness_unit
from lensbench.reporter.values.zones import in_the


def achieved_in_short(setting: Setting, zone: str) -> str:
    """Such as ``The centre achieves 64 % of the best possible at f/8, 0.5×.``; or what is missing to say so."""
    if setting.limits is None:
        return ""
    limits = mean_limits(setting).get(zone)
    if limits is None or limits.achieved_percent is None:
        return missing_in_words(setting.limits)
    where, share = in_the(zone).capitalize(), brief(limits.achieved_percent)
    return f"{where} achieves {share} % of the best possible at {setting.label}{_scale(setting)}."


def missing_in_words(limits: Limits) -> str:
    """What has to be known before anything can be said of what is possible."""
    if not limits.missing:
        return ""
    return f"To compare that with the best possible, {listed(limits.missing)} must be known."


def caveat_in_words(setting: Setting) -> str:
    """What besides the lens sets a setting's figures; empty where nothing does."""
    caveats = setting.sharpness.caveats if setting.sharpness else []
    return f"Not the lens alone: these figures also show {listed(caveats)}." if caveats else ""


def caveats_in_words(report: Report) -> list[str]:
    """What besides the lens sets figures, a sentence a setting that has such."""
    pairs = [(setting.name, caveat_in_words(setting)) for setting in report.settings]
    return [f"{name}: {words}" for name, words in pairs if words]


def nearly_level_in_words(nearly_level: int, measured: int) -> str:
    """That MTF50 tells little at some of the edges measured; empty where there are none."""
    if not nearly_level:
        return ""
    return (
        f"At {nearly_level} of {measured} edges the contrast runs nearly level about a half, as in a glow: small "
        "doubts of contrast move MTF50 far, so its interval is wide there. Compare the contrast curves instead."
    )


def level_curves_in_words(report: Report) -> list[str]:
    """Where contrast runs nearly level about a half, a sentence a setting that has such edges."""
    edges = [
        (setting.name, [edge for edge in setting.sharpness.edges if edge.used])
        for setting in report.settings
        if setting.sharpness
    ]
    pairs = [(name, nearly_level_in_words(sum(e.nearly_level for e in used), len(used))) for name, used in edges]
    return [f"{name}: {words}" for name, words in pairs if words]


def linearity_in_words(report: Report) -> str:
    """Whether stored numbers were found to follow the light, and how nearly; or how to find out."""
    if report.linearity is None:
        return (
            "Whether the stored numbers are proportional to the light was not checked: no two shots were taken "
            "alike. Take the target twice in a row, nothing touched, and list both."
        )
    (first, second), departure = report.linearity.shots, report.linearity.departure_percent
    return (
        f"By the noise of {first} and {second} the stored numbers lie {brief(departure)} % of white"
        " above a straight line half-way up; 0 is linear."
    )


def limits_in_words(report: Report) -> list[str]:
    """A sentence a setting on what diffraction and pixels allow, and on the print."""
    lines = [
        line
        for setting in report.settings
        if setting.limits
        for line in _of_setting(setting, setting.limits, sharpness_unit(report))
    ]
    return list(dict.fromkeys(lines))


def _of_setting(setting: Setting, limits: Limits, unit: str) -> Iterator[str]:
    if limits.effective_f_number is None:
        if limits.missing:
            yield f"{setting.name}: {missing_in_words(limits)}"
        return
    possible, achieved = [], []
    for zone in mean_limits(setting).values():
        best = zone.best_possible_mtf50_lp_mm if unit == "lp/mm" else zone.best_possible_mtf50
        if best is not None and zone.achieved_percent is not None:
            possible.append(best)
            achieved.append(zone.achieved_percent)
    if not possible:
        return
    most = f"{sum(possible) / len(possible):.3g} {unit}"
    low, high = min(achieved, key=lambda f: f.value), max(achieved, key=lambda f: f.value)
    yield (
        f"{setting.name}{_scale(setting)} works as f/{limits.effective_f_number:.2g} at the sensor. A flawless "
        f"lens would have {most} there with these pixels; this one achieves {brief(low)} to {brief(high)} % of "
        "that."
    )
    if limits.print_blur is not None:
        yield _print_in_words(limits.print_blur)


def _print_in_words(blur: PrintBlur) -> str:
    source = "measured on its edges" if blur.source == "raggedness" else "from the printer's resolution"
    return (
        f"The print itself is blurred by {brief(blur.sigma_px)} px, standard deviation ({source}); the figures of "
        "the lens alone below are corrected for that."
    )


def _scale(setting: Setting) -> str:
    return f" at {setting.magnification.value:.2g}×" if setting.magnification else ""
