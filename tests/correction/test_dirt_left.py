"""Dirt that stays in a picture is said to, and what a correction leaves of a shadow is measured."""

import msgspec
import numpy as np
import pytest

from lensbench.correction._dirt_left import dirt_left_in_words
from lensbench.correction._dirt_proof import deepest_shadow
from lensbench.shot import Shot
from tests.analysers import flats
from tests.verdicts.dirt.invented_marks import mark


@pytest.mark.parametrize(
    ("lies_on", "count", "parts"),
    [
        ("", 2, ("2 marks of dirt stay, since what they lie on is not known", "lens turned", "panel moved")),
        ("can't tell", 1, ("1 mark of dirt stays, since what it lies on is not known",)),
        ("sensor or light panel", 1, ("it lies on the sensor or the light panel", "panel = 2")),
        ("sensor or lens", 3, ("they lie on the sensor or the lens", "lens_turn_deg")),
        ("front of the lens", 1, ("it lies on the front of the lens",)),
        ("sensor", 1, ("too deep",)),
    ],
)
def test_what_stays_is_said_with_the_shot_that_would_tell(lies_on, count, parts):
    marks = [msgspec.structs.replace(mark(10, 20), lies_on=lies_on)] * count
    (said,) = dirt_left_in_words(marks)
    assert all(part in said for part in parts), said
    if "light panel" in lies_on:
        assert "lens_turn_deg" not in said


def test_no_dirt_is_nothing_to_say():
    assert dirt_left_in_words([]) == []


def test_the_deepest_shadow_is_measured_alike_in_a_mosaic_and_in_planes():
    """Two discs of known depth, drawn by the tests' own flats; in so small a frame falloff itself would count."""
    light = flats.cos4((400, 300), 0.02)
    flats.disc(light, 120, 100, 24, 0.10, 2)
    flats.disc(light, 280, 200, 24, 0.04, 2)
    marks = [mark(120, 100, width=24), mark(280, 200, width=24)]
    mosaic = flats.flat(light, seed=71)
    planes = Shot(
        "p", np.repeat(light[..., None], 3, 2), None, ("red", "green", "blue"), np.zeros(3), 1.0, np.ones(3)
    )
    for shot in (mosaic, planes):
        assert deepest_shadow(shot, marks) == pytest.approx(10.0, abs=0.4)
        assert deepest_shadow(shot, marks[1:]) == pytest.approx(4.0, abs=0.4)
    assert deepest_shadow(mosaic, []) is None
