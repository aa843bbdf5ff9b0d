"""The frame's geometry, with places and signs written by hand."""

import numpy as np
import pytest

from lensbench import frame

SIZE = (600, 400)  # centre (299.5, 199.5), half-diagonal 360.56


def test_h_reaches_one_at_the_outer_corner_of_the_corner_pixel():
    assert frame.h_of(299.5, 199.5, SIZE) == 0
    assert frame.h_of(599.5, 399.5, SIZE) == pytest.approx(1)
    assert frame.h_of(-0.5, 399.5, SIZE) == pytest.approx(1)


def test_there_are_thirteen_zones():
    assert len(frame.ZONES) == len(set(frame.ZONES)) == 13


@pytest.mark.parametrize(
    ("x", "y", "zone"),
    [
        (299.5, 199.5, "centre"),
        (299.5 - 0.24 * 360.56, 199.5, "centre"),
        (299.5 - 0.26 * 360.56, 199.0, "inner top-left"),
        (299.5 + 0.54 * 360.56, 199.0, "inner top-right"),
        (299.5 + 0.56 * 360.56, 201.0, "outer bottom-right"),
        (30, 380, "corner bottom-left"),
        (0, 0, "corner top-left"),
        (599, 0, "corner top-right"),
    ],
)
def test_zones(x, y, zone):
    assert frame.zone_of(x, y, SIZE) == zone


def test_outward_and_anticlockwise_as_seen():
    outward, around = frame.radial_axes([500, 299.5, 100], [199.5, 20, 199.5], SIZE)
    assert outward == pytest.approx(np.array([[1, 0], [0, -1], [-1, 0]]))
    # At the right, anticlockwise goes up; at the top, left; at the left, down.
    assert around == pytest.approx(np.array([[0, -1], [-1, 0], [0, 1]]))


@pytest.mark.parametrize(
    ("x", "y", "angle", "name"),
    [
        (500, 199.5, 0, "sagittal"),
        (500, 199.5, 90, "tangential"),
        (500, 199.5, 45, "oblique"),
        (500, 199.5, 179, "sagittal"),
        (500, 199.5, 11, "oblique"),
        (499.5, -0.5, 45, "sagittal"),  # up and to the right: anticlockwise from x right is positive
        (499.5, -0.5, 135, "tangential"),
        (499.5, 399.5, 135, "sagittal"),
    ],
)
def test_directions(x, y, angle, name):
    assert str(frame.edge_direction(x, y, angle, SIZE)) == name


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        (310, 190, "in the middle"),
        (420, 199, "half-way to the right"),
        (299, 30, "half-way to the top"),
        (50, 150, "far to the left"),
        (130, 60, "far to the top left"),
        (590, 390, "near the bottom right corner"),
    ],
)
def test_places_in_words(x, y, words):
    assert frame.place_in_words(x, y, SIZE) == words
