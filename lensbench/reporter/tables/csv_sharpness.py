"""Rows for the CSV tables of what a zone's sharpness holds beside its figures: contrasts and whole curves."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import ContrastCurve, Setting


def contrast_rows(setting: Setting) -> Iterator[dict]:
    """A row for each zone, channel, direction and chosen frequency."""
    for zone in setting.sharpness.zones if setting.sharpness else ():
        for contrast in zone.contrast:
            yield {
                "zone": zone.zone,
                "channel": zone.channel,
                "direction": zone.direction,
                "frequency": contrast.frequency,
                "unit": contrast.unit,
                "mtf": contrast.mtf.value,
                "mtf_low": contrast.mtf.low,
                "mtf_high": contrast.mtf.high,
            }


def curve_rows(setting: Setting) -> Iterator[dict]:
    """A row for each zone, channel, direction and frequency of the curves; ``of`` says whose: system or lens."""
    zones = setting.sharpness.zones if setting.sharpness else ()
    limits = setting.limits.zones if setting.limits else ()
    for of, rows, name in (("system", zones, "curve"), ("lens", limits, "lens_only")):
        for row in rows:
            curve = getattr(row, name)
            if curve is not None:
                named = {"zone": row.zone, "channel": row.channel, "direction": row.direction, "of": of}
                yield from ({**named, **point} for point in _points(curve))


def _points(curve: ContrastCurve) -> Iterator[dict]:
    for frequency, mtf, low, high in zip(curve.frequency, curve.mtf, curve.low, curve.high, strict=True):
        yield {"frequency_cy_px": frequency, "mtf": mtf, "mtf_low": low, "mtf_high": high}
