"""Bent, looping, crossing and meeting fibres: each one mark, and none of the other sign beside it."""

import numpy as np
import pytest

from lensbench.analysers.dust._fibres import Fibre, join_of
from lensbench.findings import Figure
from tests.bench.fibres import result_of


@pytest.fixture(scope="module")
def results():
    """Twenty cases of the study: half plain, a fifth tight, a loop, a crossing and a meeting in ten."""
    return [result_of(300 + number) for number in range(20)]


def test_each_fibre_is_one_mark(results):
    outcomes = [word for _, words, _, _ in results for word in words]
    assert len(outcomes) == 24
    assert outcomes.count("whole") >= 0.95 * len(outcomes)


def test_nothing_of_the_other_sign_lies_beside_a_fibre(results):
    assert [other for _, _, other, _ in results if other] == []


def fibre_along(path, width=5.0, depth=2.0):
    figure = Figure.of(width, 0.1, "px")
    return Fibre(np.array(path, float), 2.0, figure, figure, Figure.of(depth, 0.1, "%"), 50.0)


def line(x0, y0, x1, y1):
    return np.linspace((x0, y0), (x1, y1), 60)


def test_what_continues_is_joined_and_what_meets_in_a_t_is_not():
    one = fibre_along(line(0, 0, 100, 0))
    assert len(join_of(one, fibre_along(line(110, 2, 200, 30))).path) > 100
    assert join_of(one, fibre_along(line(50, 8, 50, 100))) is None
    assert join_of(one, fibre_along(line(110, 2, 200, 30), depth=-2.0)) is None
    assert join_of(one, fibre_along(line(110, 2, 200, 30), width=14.0)) is None


def test_a_loop_is_put_into_the_fibre_that_it_belongs_to():
    angle = np.linspace(0.1, 2 * np.pi - 0.1, 120)
    ring = np.stack([100 + 60 * np.sin(angle), -60 + 60 * np.cos(angle)], axis=1)
    path = join_of(fibre_along(line(0, 0, 200, 0)), fibre_along(ring)).path
    assert np.hypot(*np.diff(path, axis=0).T).sum() == pytest.approx(200 + 2 * np.pi * 60, rel=0.06)


def test_a_closed_ring_is_put_in_wherever_it_was_found_to_begin():
    angle = np.linspace(0, 2 * np.pi, 150)
    ring = np.stack([100 + 60 * np.sin(angle), -62 - 60 * np.cos(angle)], axis=1)
    path = join_of(fibre_along(line(0, 0, 200, 0)), fibre_along(ring)).path
    assert np.hypot(*np.diff(path, axis=0).T).sum() == pytest.approx(200 + 2 * np.pi * 60, rel=0.06)
    assert np.abs(np.diff(np.unwrap(np.arctan2(*np.diff(path[::4], axis=0).T)))).max() < 1.2


def test_of_two_that_continue_a_fibre_the_straighter_is_the_better_join():
    one = fibre_along(line(0, 0, 100, 0))
    straight, aside = (join_of(one, fibre_along(line(106, 0, 190, y))) for y in (0, 60))
    assert straight.turn < aside.turn
