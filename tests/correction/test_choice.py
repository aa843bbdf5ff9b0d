"""Which settings a picture's correction comes from."""

import pytest

from lensbench.correction._choice import Measured, Taken, aperture_from_words, choose
from lensbench.errors import BenchError

APERTURES = [Measured(0, 4.0, None, 0.1), Measured(1, 8.0, None, 0.1), Measured(2, 16.0, None, 0.1)]
TWO_DISTANCES = [
    Measured(0, 4.0, None, 0.1),
    Measured(1, 8.0, None, 0.1),
    Measured(2, 4.0, None, 0.5),
    Measured(3, 8.0, None, 0.5),
]
NAMED = [Measured(0, None, "wide open", None), Measured(1, None, "third click", None)]


def weights(settings, **taken):
    return {w.number: w.weight for w in choose("falloff", settings, Taken(**taken))}


def test_the_setting_itself():
    assert weights(APERTURES, f_number=8.0) == {1: 1.0}
    # f-numbers are marked in round figures: f/7.7 is the same click.
    assert weights(APERTURES, f_number=7.7) == {1: 1.0}


def test_between_apertures_weights_go_by_stops():
    # f/5.6 lies one stop from f/4 and one from f/8 (ISO 517: full stops are √2 apart).
    assert weights(APERTURES, f_number=4 * 2**0.5) == pytest.approx({0: 0.5, 1: 0.5})
    assert weights(APERTURES, f_number=8 * 2**0.75) == pytest.approx({1: 0.25, 2: 0.75})


def test_between_magnifications_weights_go_by_magnification():
    assert weights(TWO_DISTANCES, f_number=8.0, magnification=0.2) == pytest.approx({1: 0.75, 3: 0.25})
    assert weights(TWO_DISTANCES, f_number=4 * 2**0.5, magnification=0.3) == pytest.approx(
        dict.fromkeys(range(4), 0.25)
    )


def test_a_setting_without_a_magnification_of_its_own_belongs_to_the_only_one():
    settings = [Measured(0, 4.0, None, 0.1), Measured(1, 8.0, None, None)]
    assert weights(settings, f_number=8.0, magnification=0.1) == {1: 1.0}


def test_apertures_by_name():
    assert weights(NAMED, aperture="third click") == {1: 1.0}


def test_one_setting_needs_no_telling():
    assert weights(APERTURES[:1]) == {0: 1.0}
    assert weights(NAMED[1:]) == {1: 1.0}


@pytest.mark.parametrize(
    ("settings", "taken", "says"),
    [
        (APERTURES, {}, "f/4, f/8 and f/16, and a home-built lens records no aperture"),
        (APERTURES, {"f_number": 2.8}, "f/2.8 lies outside"),
        (APERTURES, {"f_number": 22.0}, "f/22 lies outside"),
        (APERTURES, {"aperture": "third click"}, "third click lies outside"),
        (NAMED, {"f_number": 8.0}, "wide open and third click, and f/8 lies outside"),
        (TWO_DISTANCES, {"f_number": 4.0}, "0.1× and 0.5×"),
        (TWO_DISTANCES, {"f_number": 4.0, "magnification": 0.6}, "0.6× lies outside"),
        (APERTURES, {"f_number": 4.0, "magnification": 0.0}, "measured at 0.1×, and a picture taken at 0×"),
        (NAMED, {"aperture": "third click", "magnification": 1.0}, "doesn't say at which magnification"),
    ],
)
def test_nothing_is_guessed(settings, taken, says):
    with pytest.raises(BenchError, match=says):
        weights(settings, **taken)


def test_apertures_as_typed():
    assert aperture_from_words("5.6") == aperture_from_words("f/5.6") == Taken(f_number=5.6)
    assert aperture_from_words("third click") == Taken(aperture="third click")
    for wrong in ("f/", "f/wide", "0", "-4", "nan"):
        with pytest.raises(BenchError, match="no f-number"):
            aperture_from_words(wrong)
