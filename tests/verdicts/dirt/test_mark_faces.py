"""Where a mark is looked for: places reckoned by hand on paper, for a level camera.

A lens's picture stands upside down on the sensor. The front glass is passed before the picture is turned over, so
looking in, left and right change and top stays; seen from the mount the rear glass carries the picture turned by
half; on the sensor, seen from the front, only top and bottom change.
"""

import msgspec
import pytest

from lensbench.simulator.lens import turned
from lensbench.verdicts.dirt._faces import (
    FACES,
    FRONT,
    PICTURE,
    REAR,
    SENSOR_FACE,
    lies_on,
    seen_on,
    where_to_look,
    words_on,
)
from lensbench.verdicts.dirt._pairs import Move
from tests.verdicts.dirt.invented_marks import mark

SIZE = (1200, 800)


@pytest.mark.parametrize(
    ("face", "place", "words"),
    [
        (PICTURE, (100, 200), "far to the left"),
        (FRONT, (1099, 200), "far to the right"),
        (REAR, (1099, 599), "far to the right"),
        (SENSOR_FACE, (100, 599), "far to the left"),
    ],
)
def test_a_mark_at_the_left_and_above_the_middle(face, place, words):
    assert seen_on(face, mark(100, 200), SIZE) == pytest.approx(place)
    assert words_on(face, mark(100, 390), SIZE) == words


@pytest.mark.parametrize(
    ("place", "front", "rear", "sensor"),
    [
        ("", None, None, None),
        ("can't tell", None, None, None),
        ("lens", None, None, False),
        ("front of the lens", True, False, False),
        ("rear of the lens", False, True, False),
        ("sensor", False, False, True),
        ("sensor or light panel", False, False, None),
        ("sensor or lens", None, None, None),
        ("light panel", False, False, False),
    ],
)
def test_on_which_faces_a_mark_can_lie(place, front, rear, sensor):
    one = msgspec.structs.replace(mark(100, 200), lies_on=place)
    assert [lies_on(face, one) for face in FACES] == [True, front, rear, sensor]


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("sensor", "on the sensor, facing it: far to the left"),
        ("sensor or light panel", "if on the sensor, facing it: far to the left"),
        ("front of the lens", "on the front glass, looking into the lens: far to the right"),
        ("light panel", ""),
    ],
)
def test_where_to_look_is_said_in_one_way(place, said):
    one = msgspec.structs.replace(mark(100, 390), lies_on=place)
    assert where_to_look(one, SIZE) == said


def test_the_simulated_lens_turns_its_dirt_the_same_way():
    """Both anticlockwise as seen in the picture: the mapping by hand of (3, 0) is (0, -3), y down."""
    assert turned((3.0, 0.0), 90.0) == pytest.approx([0.0, -3.0], abs=1e-12)
    assert Move(90.0).of([602.5, 399.5], SIZE) == pytest.approx([599.5, 396.5])
