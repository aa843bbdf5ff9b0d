"""How much extension is missing for a magnification: the focal length times what is missing of it.

With the focus untouched, extension moves the lens from the sensor, and the image distance is f (1 + m): each
further m takes f (Newton's equation; handbook optics).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from lensbench.figure import Figure
from lensbench.findings import Geometry, Goal, Rings


def missing_rings(geometry: Geometry | None, wanted: Sequence[Goal]) -> Rings | None:
    """The rings to add for the magnification that the goals ask for.

    Returns
    -------
    Rings or None
        None where no goal asks for one, it is reached, or magnification or focal length aren't known.
    """
    least = next((goal.least for goal in wanted if goal.what == "magnification" and goal.least), None)
    found = geometry.magnification if geometry else None
    focal = geometry.view.focal_length_mm if geometry and geometry.view else None
    if least is None or found is None or focal is None or found.high >= least:
        return None
    missing = least - found.value
    half = math.hypot(missing * focal.half_width, focal.value * found.half_width)
    return Rings(least, found, focal, Figure.of(focal.value * missing, half, "mm"))
