"""How large a print stays sharp, by figures worked by hand.

The eye: one minute of arc a line, so that a line pair at 300 mm takes 2 · 300 mm · tan(1/60°) = 0.1745 mm: 5.73 a
millimetre (handbook value; memory). Sheets: ISO 216, Writing paper and certain classes of printed matter (2007).
"""

import itertools
import math

import pytest

from lensbench import frame
from lensbench.findings import Camera, Figure, Setting, Sharpness, ZoneSharpness
from lensbench.reporter.words.print_size import paper_in_words, prints_in_words, sure_size
from lensbench.verdicts.aperture import judge_aperture
from lensbench.verdicts.print_size import EYE_LP_MM, PAPERS_CM, judge_print_size

SIZE = (6000, 4000)
FULL_FRAME = Camera(SIZE, (36.0, 24.0), 6.0)


def setting(f_number, centre, corner, half=0.1, setup=1):
    values = {"centre": centre, "inner": centre, "outer": corner, "corner": corner}
    zones = [
        ZoneSharpness(zone, "green", "mean", Figure.of(value / 200, half / 200, "cy/px"), figure, 9)
        for zone in frame.ZONES
        for value in [values[zone.split()[0]]]
        for figure in [Figure.of(value - (zone == "corner top-left"), half, "lp/mm")]
    ]
    return Setting(f_number, setup=setup, sharpness=Sharpness(zones=zones))


def prints(settings, camera=FULL_FRAME):
    return {one.part: one for one in judge_print_size(settings, judge_aperture(settings, SIZE), camera)}


def test_the_eye_resolves_a_minute_of_arc_a_line():
    assert pytest.approx(1 / (2 * 300 * math.tan(math.radians(1 / 60))), rel=0.01) == EYE_LP_MM


def test_each_sheet_is_half_of_the_next_one():
    """ISO 216: √2 to 1, each half as large as the next, rounded to whole millimetres."""
    sheets = list(PAPERS_CM.values())
    for small, large in itertools.pairwise(sheets):
        assert large[0] == pytest.approx(2 * small[1], abs=0.11)
        assert large[1] == small[0]


def test_sides_are_the_sensor_s_enlarged_to_the_eye_s_limit():
    """57 lp/mm over 5.7 is ten times: 36 × 24 cm. 19 lp/mm in the softest corner is 3.33 times: 12 × 8 cm."""
    found = prints([setting(8.0, 57.0, 20.0)])
    assert found["centre"].long_cm.value == pytest.approx(36.0)
    assert found["centre"].short_cm.value == pytest.approx(24.0)
    assert found["frame"].zone == "corner top-left"
    assert found["frame"].long_cm.value == pytest.approx(12.0)
    assert found["frame"].long_cm.half_width == pytest.approx(12.0 * 0.1 / 19)


def test_the_sharpest_aperture_is_taken_with_all_its_setups():
    """20, 21 and 22 lp/mm: mean 21 ± 4.303 / √3 (Student's t for 2 degrees of freedom; tables)."""
    settings = [setting(8.0, v, v, setup=k) for k, v in enumerate((20, 21, 22), 1)] + [setting(4.0, 15.0, 15.0)]
    centre = prints(settings)["centre"]
    assert centre.aperture == "f/8"
    assert centre.enlargement.value == pytest.approx(21 / 5.7)
    assert centre.enlargement.half_width == pytest.approx(4.303 / 3**0.5 / 5.7, rel=1e-3)


@pytest.mark.parametrize(
    ("mtf50", "half", "surely", "perhaps", "said"),
    [
        # A4 asks 297 / 36 = 8.25 times of a 3 : 2 picture, 47.0 lp/mm; A5 5.83 times, 33.25; A6 4.11 times, 23.4.
        (48.0, 0.5, "A4", "A4", "is an A4."),
        (47.0, 0.5, "A5", "A4", "is an A5; A4 is too close to call."),
        (30.0, 0.5, "postcard (A6)", "postcard (A6)", "is a postcard (A6)."),
        (
            23.4,
            0.5,
            "",
            "postcard (A6)",
            "a postcard (A6) print stays sharp all over is too close to call.",
        ),
        (15.0, 0.5, "", "", "Even a postcard print is soft somewhere."),
    ],
)
def test_a_sheet_counts_only_where_the_whole_interval_allows_it(mtf50, half, surely, perhaps, said):
    even = prints([setting(8.0, mtf50 + 1, mtf50 + 1, half)])["frame"]
    assert (even.surely, even.perhaps) == (surely, perhaps)
    assert paper_in_words(even).endswith(said)


def test_sizes_in_words_are_those_that_are_sure():
    """19 ± 0.5 lp/mm: 18.5 / 5.7 · 3.6 = 11.68 cm by 7.79, rounded down."""
    (centre, frame_) = prints([setting(8.0, 57.0, 20.0, half=0.5)]).values()
    assert sure_size(frame_).replace("\xa0", " ") == "11.6 × 7.7 cm"
    text = prints_in_words([centre, frame_]).replace("\xa0", " ")
    assert "sharp to at least 11.6 × 7.7 cm all over, 35 × 23 cm in the centre (seen from 30 cm" in text
    assert "the top left corner goes soft first" in text


def test_without_the_sensor_s_size_nothing_is_said():
    assert prints([setting(8.0, 50.0, 20.0)], Camera(SIZE)) == {}
    assert prints([Setting(8.0)]) == {}
