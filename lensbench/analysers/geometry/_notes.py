"""What geometry could not measure, and what to do about it: the sentences of `Geometry.notes`."""

from __future__ import annotations

from lensbench.findings import Geometry

UNMEASURED_RULERS = (
    "The ruler bars were not measured, so sizes are only as accurate as the printer (about 1 %). Measure both "
    "bars on the sheet and put their lengths into rulers_measured_mm."
)
MISREAD_RULERS = (
    "The target's length across against up is not what the ruler bars say. Measure both bars again: the first "
    "number in rulers_measured_mm is the bar that runs across."
)
UNEVEN_PRINT = (
    "The print is longer one way than the other, by more than is usual for printers. Measure both ruler bars: "
    "until then sizes are uncertain or unknown."
)
CORNERS_EMPTY = (
    "The target does not reach into the corners of the frame, so distortion is given only as far as it does. Fill "
    "the frame with the target."
)
TILT_OR_DECENTRING = (
    "This shot cannot distinguish a tilted target from a decentred lens. Shoot it again with the lens turned half "
    "round in its mount."
)
NO_SENSOR_SIZE = (
    "The sensor's size is not known, so sizes on the sensor are in pixels and there is no magnification. Put the "
    "sensor's width and height into sensor_mm."
)
ONE_RAIL_POSITION = (
    "Shots from one distance show how much of the target the frame covers, but not the field of view. Shoot the "
    "target twice, a known step apart on a rail and with the focus untouched, and put both readings into rail_mm."
)
RAIL_ASKEW = (
    "The target moved sideways by more than half of the rail's step, so the step does not give the field of view. "
    "Point the rail at the target."
)
SHORT_RAIL_STEP = (
    "The shots on the rail differ too little in size to give the field of view. Take a longer step, a tenth of "
    "the distance or more."
)
UNEVEN_RAIL = (
    "Sizes do not change evenly along the rail: the focus was touched, or a reading of the rail is wrong. The "
    "field of view's interval is widened for it."
)


def misread_rail(name: str, reading_mm: float, expected_mm: float) -> str:
    """Say that one reading of the rail contradicts all others."""
    return (
        f"{name}: its rail_mm of {reading_mm:g} doesn't fit the sizes in the pictures, which put it at about "
        f"{expected_mm:.3g} mm beside the other shots. Check rail_mm of this shot in session.toml; until then it "
        "is "
        "left out of the series."
    )


def wrong_sensor_size(misfit: str) -> str:
    """Say that a sensor's size was not used, after a sentence on what is wrong with it."""
    return f"{misfit} Until then sizes on the sensor are in pixels."


def uneven_sensor_size(sensor_mm: tuple[float, float], ratio: float) -> str:
    """Say that the sides of a sensor's size disagree by a relative amount."""
    return (
        f"The sensor's size of {sensor_mm[0]:g} × {sensor_mm[1]:g} mm would make pixels {100 * ratio:.1f} % "
        "longer one way than the other. Check sensor_mm: it is the size of the whole visible frame."
    )


def not_fitted(name: str, reason: str) -> str:
    """Say why a shot has no geometry."""
    return f"{name}: {reason}"


def mistakes_in(geometry: Geometry) -> list[tuple[str, str]]:
    """The notes that tell of a mistake in what was written down, each after a short code for its kind."""
    known = {MISREAD_RULERS: "rulers", UNEVEN_RAIL: "rail-readings"}
    found = [(known[note], note) for note in geometry.notes if note in known]
    if geometry.misread_rail is not None:
        start = f"{geometry.misread_rail}: its rail_mm"
        found += [("rail-readings", note) for note in geometry.notes if note.startswith(start)]
    return found
