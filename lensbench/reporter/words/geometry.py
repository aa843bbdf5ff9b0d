"""What geometry means, in sentences with their figures."""

from __future__ import annotations

from lensbench.findings import Alignment, Distortion, Figure, Geometry
from lensbench.formatting import bare, listed, magnitude, with_interval
from lensbench.reporter.values.figures import beyond_chance

_SHAPES = {
    "barrel": "Straight lines bow outward (barrel distortion)",
    "cushion": "Straight lines bow inward (pincushion distortion)",
    "wave": "Straight lines bow one way in the middle and the other farther out (wave distortion)",
    "none": "Straight lines stay straight, as far as these shots can tell",
}


def geometry_in_words(geometry: Geometry | None) -> list[str]:
    """Sentences on how big, how straight and how square the lens draws."""
    if geometry is None:
        return []
    said = []
    if geometry.magnification is not None:
        said.append(_ratio(geometry.magnification))
    if geometry.distortion is not None:
        said.append(_distortion(geometry.distortion, geometry.distortion_percent))
    if geometry.alignment is not None:
        said.append(_alignment(geometry.alignment))
    return said


def _ratio(magnification: Figure) -> str:
    """The reproduction ratio, and where it holds one of the ratios that people build for, that one."""
    text = f"The picture on the sensor is {with_interval(magnification, unit=False)} times as large as the thing"
    for ratio, name in ((1.0, "life size"), (0.5, "half life size"), (2.0, "twice life size")):
        if magnification.low <= ratio <= magnification.high:
            return f"{text}: {name}, within the uncertainty."
    return f"{text}."


def _distortion(distortion: Distortion, corner: Figure | None) -> str:
    text = _SHAPES.get(distortion.shape, distortion.shape)
    if corner is None or distortion.shape == "none":
        return f"{text}."
    way = "farther out" if corner.value > 0 else "farther in"
    return f"{text}: the corners lie {with_interval(magnitude(corner))} {way} than without distortion."


def _alignment(alignment: Alignment) -> str:
    """How the target leaned, as something to put right."""
    if alignment.right_away_deg is None and alignment.bottom_away_deg is None:
        return _larger_side(alignment)
    leans = ((alignment.right_away_deg, "right", "left"), (alignment.bottom_away_deg, "bottom", "top"))
    parts = [
        f"its {far if angle.value > 0 else near} side is turned {with_interval(magnitude(angle))} away"
        for angle, far, near in leans
        if angle is not None and beyond_chance(angle)
    ]
    text = "The target was square to the camera."
    if parts:
        text = f"The target was not square to the camera: {listed(parts)}."
    if not alignment.distinguished_from_decentring:
        text += (
            " A decentred element would look much the same: turn the lens in its mount to find out which it is."
        )
    return text


def _larger_side(alignment: Alignment) -> str:
    """The same without the image distance: by how much one side is drawn larger."""
    sides = [(alignment.wider_left_percent, "left", "right"), (alignment.wider_top_percent, "top", "bottom")]
    parts = [
        f"{bare(magnitude(figure))} % larger at the {near if figure.value > 0 else far}"
        for figure, near, far in sides
        if beyond_chance(figure)
    ]
    if not parts:
        return "The target was square to the camera."
    return f"The target was not square to the camera: it appears {listed(parts)}."
