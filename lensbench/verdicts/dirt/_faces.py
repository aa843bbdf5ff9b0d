"""Where a mark lies on the glass and on the sensor as one faces them, and on which of them it can lie.

A lens turns its picture upside down and side for side. So a mark seen at the picture's left lies, for a level
camera, at the right of the front glass as one looks into the lens, half a turn round on the rear glass as one
looks at it from the mount, and top for bottom on the sensor as one faces it.
"""

from __future__ import annotations

from lensbench.findings import UNTOLD, Mark
from lensbench.frame import centre_of, place_in_words
from lensbench.verdicts.dirt._surfaces import LENS, LENS_FRONT, LENS_REAR, SENSOR

PICTURE = "in the picture"
FRONT = "on the front glass, looking into the lens"
REAR = "on the rear glass, looking from the mount"
SENSOR_FACE = "on the sensor, facing it"

FACES = {PICTURE: (1, 1), FRONT: (-1, 1), REAR: (-1, -1), SENSOR_FACE: (1, -1)}
"""What one can face, and whether it keeps (1) or swaps (-1) the picture's left and right, top and bottom. A light
panel seen from the camera is as in the picture."""

ON_IT = {FRONT: (LENS_FRONT, LENS), REAR: (LENS_REAR, LENS), SENSOR_FACE: (SENSOR,)}
"""Places of marks (`Mark.lies_on`) that may be found on each face; one on the lens may be on either glass."""


def seen_on(face: str, mark: Mark, size: tuple[int, int]) -> tuple[float, float]:
    """Where a mark lies on one of `FACES` (x, y), in pixels of a frame laid over it."""
    cx, cy = centre_of(size)
    across, down = FACES[face]
    return cx + across * (mark.x - cx), cy + down * (mark.y - cy)


def words_on(face: str, mark: Mark, size: tuple[int, int]) -> str:
    """Where a mark lies on one of `FACES`, in words."""
    return place_in_words(*seen_on(face, mark, size), size)


def where_to_look(mark: Mark, size: tuple[int, int]) -> str:
    """Where a mark is found on each thing that it may lie on, as one faces that; empty on the light panel."""
    faces = [face for face in (FRONT, REAR, SENSOR_FACE) if lies_on(face, mark) is not False]
    sure = len(faces) == 1 and lies_on(faces[0], mark) is True
    return "; ".join(f"{'' if sure else 'if '}{face}: {words_on(face, mark, size)}" for face in faces)


def lies_on(face: str, mark: Mark) -> bool | None:
    """Whether a mark lies on one of `FACES`; None where it may."""
    if face == PICTURE:
        return True
    places = mark.lies_on.split(" or ")
    if places[0] in ("", UNTOLD):
        return None
    if not any(place in ON_IT[face] for place in places):
        return False
    return True if places == [ON_IT[face][0]] else None
