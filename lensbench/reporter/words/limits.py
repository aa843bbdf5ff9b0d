"""What is possible and what belongs to whom, in sentences: beside the sharpness, never apart from it."""

from __future__ import annotations

from lensbench.findings import Limits, Report, Setting, ZoneLimits
from lensbench.formatting import brief
from lensbench.reporter.plots.sharpness import sharpness_unit, shown_channel
from lensbench.reporter.words.sentences import in_the
from lensbench.wording import listed


def mean_limits(setting: Setting) -> dict[str, ZoneLimits]:
    """The limits of each zone in the shown channel, mean of both directions."""
    channel = shown_channel(setting)
    zones = setting.limits.zones if setting.limits else []
    return {zone.zone: zone for zone in zones if zone.channel == channel and zone.direction == "mean"}


def reached_in_short(setting: Setting, zone: str) -> str:
    """Such as ``The centre reaches 64 % of what f/8 can give at 0.5×.``; or what is missing to say so."""
    if setting.limits is None:
        return ""
    limits = mean_limits(setting).get(zone)
    if limits is None or limits.achieved_percent is None:
        return missing_in_words(setting.limits)
    where = in_the(zone).capitalize()
    return f"{where} reaches {brief(limits.achieved_percent)} % of what {setting.label} can give{_scale(setting)}."


def missing_in_words(limits: Limits) -> str:
    """What has to be known before anything can be said of what is possible."""
    if not limits.missing:
        return ""
    return f"How near that is to what is possible can't be told without {' and '.join(limits.missing)}."


def mind_in_words(setting: Setting) -> str:
    """What besides the lens sets a setting's figures; empty where nothing does."""
    mind = setting.sharpness.mind if setting.sharpness else []
    return f"Not the lens alone: these figures also show {listed(mind)}." if mind else ""


def minds_in_words(report: Report) -> list[str]:
    """What besides the lens sets figures, a sentence a setting that has such."""
    pairs = [(setting.name, mind_in_words(setting)) for setting in report.settings]
    return [f"{name}: {words}" for name, words in pairs if words]


def limits_in_words(report: Report) -> list[str]:
    """A sentence a setting on what diffraction and pixels allow, and on the print."""
    lines = [line for setting in report.settings if setting.limits for line in _of_setting(report, setting)]
    return list(dict.fromkeys(lines))


def _of_setting(report: Report, setting: Setting) -> list[str]:
    limits = setting.limits
    if limits.effective_f_number is None:
        return [f"{setting.name}: {missing_in_words(limits)}"] if limits.missing else []
    allowed = [zone for zone in mean_limits(setting).values() if zone.best_possible_mtf50 is not None]
    if not allowed:
        return []
    in_mm = sharpness_unit(report) == "lp/mm"
    values = [zone.best_possible_mtf50_lp_mm if in_mm else zone.best_possible_mtf50 for zone in allowed]
    most = f"{sum(values) / len(values):.3g} {sharpness_unit(report)}"
    reached = [zone.achieved_percent for zone in allowed]
    low, high = min(reached, key=lambda f: f.value), max(reached, key=lambda f: f.value)
    lines = [
        f"{setting.name}{_scale(setting)} is f/{limits.effective_f_number:.2g} for the sensor. A flawless lens "
        f"would reach {most} there with these pixels; this one reaches {brief(low)} to {brief(high)} % of that."
    ]
    if limits.print_blur is not None:
        told = "measured on its edges" if limits.print_blur.source == "raggedness" else "by the printer's dots"
        lines.append(
            f"The print itself blurs by {brief(limits.print_blur.sigma_px)} px ({told}); that is taken "
            "out of the lens's own figures below."
        )
    return lines


def _scale(setting: Setting) -> str:
    return f" at {setting.magnification.value:.2g}×" if setting.magnification else ""
