"""Rows of the CSV table that holds what each setting's light looks like as a whole."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import Figure, Setting
from lensbench.reporter.values.light import image_circle


def shape_rows(setting: Setting) -> Iterator[dict]:
    """A row for each figure of the light's shape: gradient, hot spot, image circle, the panel's own light."""
    falloff = setting.falloff
    if falloff is None:
        return
    gradient, spot, panel = falloff.gradient, falloff.hot_spot, falloff.panel
    circle = image_circle(falloff)
    figures: list[tuple[str, Figure | None]] = []
    if falloff.worst_corner:
        figures.append((f"darkest: {falloff.worst_corner.zone}", falloff.worst_corner.stops))
    if falloff.centre_px:
        figures += [("centre, x", falloff.centre_px.x), ("centre, y", falloff.centre_px.y)]
    if gradient:
        figures += [
            ("darker to the right", gradient.across_stops),
            ("darker downwards", gradient.down_stops),
            (f"gradient, darker towards: {gradient.darker_at}", gradient.size_stops),
        ]
    if spot:
        figures += [("hot spot, strength", spot.percent), ("hot spot, radius", spot.radius_px)]
    if circle:
        figures += [
            ("image circle, radius", circle.radius_mm or circle.radius_px),
            ("image circle, width of its border", circle.width_px),
        ]
        figures += [(f"image circle cuts: {corner.zone}", corner.cut_percent) for corner in circle.corners]
    if panel:
        figures.append(("the panel's own light", panel.unevenness_stops))
    for what, figure in figures:
        if figure is not None:
            yield {
                "what": what, "value": figure.value, "low": figure.low, "high": figure.high, "unit": figure.unit
            }  # fmt: skip
