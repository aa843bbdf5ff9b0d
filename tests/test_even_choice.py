"""A few of many in a row."""

import pytest

from lensbench.even_choice import evenly_chosen


@pytest.mark.parametrize(
    ("count", "most", "chosen"),
    [(0, 5, []), (1, 5, [0]), (4, 5, [0, 1, 2, 3]), (9, 3, [0, 4, 8]), (101, 5, [0, 25, 50, 75, 100])],
)
def test_ends_are_chosen_and_steps_are_alike(count, most, chosen):
    assert evenly_chosen(count, most).tolist() == chosen
