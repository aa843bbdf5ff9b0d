"""An aperture series: choices, prices, marks against light, blur, focus shift and rings, worked by hand.

Sources: f-numbers go with the square of the light, a stop a factor of √2 (ISO 517, Apertures and related
properties). Extension for a magnification is the focal length times it (Newton's equation; handbook optics, from
memory). Closing the iris on undercorrected spherical aberration moves focus away from the lens behind it, and with
the sensor fixed before it too (Smith, Modern Optical Engineering; memory).
"""

from dataclasses import replace

import numpy as np
import pytest
from msgspec import structs

from lensbench.findings import (
    CentreLight,
    Dust,
    Figure,
    Geometry,
    Glow,
    Goal,
    Mark,
    Setting,
    View,
    ZoneGlow,
)
from lensbench.optics import defocused_mtf
from lensbench.reporter.words.apertures import choice_in_words, light_in_words, rings_in_words, shift_in_words
from lensbench.simulator.lens import Colour
from lensbench.verdicts.aperture import judge_series
from lensbench.verdicts.rings import missing_rings
from tests.bench.series import TRUE, drawn, rail_setting, through_focus
from tests.findings.alter import alter
from tests.simulator.benches import even_lens

SIZE = (6000, 4000)


def lit(f_number, light, shutter=0.1, setup=1, aperture=None):
    light = CentreLight(Figure.of(light, 0.001 * light, ""), shutter, 100.0, ["w.dng"])
    return Setting(f_number, aperture, setup=setup, centre_light=light)


@pytest.fixture
def series():
    return judge_series(drawn(np.random.default_rng(2), 1, 0.0), SIZE, 6.0)


def choice(series, purpose):
    return next(one for one in series.choices if one.purpose == purpose)


def test_each_purpose_has_its_aperture(series):
    """Of `TRUE`: 60 lp/mm at f/5.6; corners 28 / 30 of the centre at f/16; f/8 keeps 54 / 60, f/11 72 %."""
    assert choice(series, "sharpest centre").aperture == "f/5.6"
    assert choice(series, "most even").aperture == "f/16"
    assert choice(series, "most even").value.value == pytest.approx(100 * 28 / 30, rel=0.02)
    deepest = choice(series, "deepest field")
    assert (deepest.aperture, deepest.kept_percent, deepest.equal) == ("f/8", 80.0, [])
    assert deepest.next_deeper.aperture == "f/11"
    assert deepest.next_deeper.kept_percent.value == pytest.approx(72, abs=2)
    said = choice_in_words(deepest)
    assert "of those whose centre keeps 80 % of its best or more" in said
    assert "f/11 reaches ± " in said
    assert "mm, its centre keeps 7" in said


def test_the_price_names_what_others_have_better(series):
    """At f/16 the centre has 30 lp/mm of 60, the corners 28 of f/8's 40."""
    prices = {price.what: price for price in choice(series, "most even").prices}
    assert prices["centre"].best_at == "f/5.6"
    assert prices["centre"].value.value == pytest.approx(TRUE[16.0][0], rel=0.02)
    assert prices["corners"].best_at == "f/8"
    assert "evenness_percent" not in prices
    text = choice_in_words(choice(series, "most even"))
    assert text.startswith("Most even: f/16 (the softest zone has 9")
    assert "the centre's MTF50 30." in text
    assert "lp/mm at f/5.6" in text


def test_what_can_t_be_told_apart_is_equal():
    """Three setups that scatter by 15 %, each anew at each aperture: 60 and 55 lp/mm can't be told apart."""
    settings = drawn(np.random.default_rng(4), 3, 0.15)
    found = choice(judge_series(settings, SIZE, 6.0), "sharpest centre")
    assert {"f/4", "f/5.6", "f/8"} <= {found.aperture, *found.equal}


def test_a_depth_whose_sharpness_is_too_close_to_the_share_is_not_sure():
    """48.0 ± 1.0 of 60 lp/mm lies about the 80 % asked for."""
    settings = drawn(np.random.default_rng(2), 1, 0.0)
    for zone in settings[4].sharpness.zones:
        alter(zone, mtf50_lp_mm=Figure.of(48.0, 1.0, "lp/mm"))
    found = choice(judge_series(settings, SIZE, 6.0), "deepest field")
    assert (found.aperture, found.equal) == ("f/8", ["f/11"])
    assert "f/11 is too close to call" in choice_in_words(found)


def test_dirt_shows_from_the_widest_aperture_with_a_mark():
    figure = Figure.of(9.0, 1.0, "px")
    mark = Mark(100, 100, "spot", figure, figure, Figure.of(2.0, 0.1, "%"), 12.0, "inner top-left")
    settings = [Setting(f, dust=Dust([mark] * count)) for f, count in ((4.0, 0), (8.0, 1), (16.0, 3))]
    found = choice(judge_series(settings, SIZE), "dirt shows from")
    assert found.aperture == "f/8"
    assert choice_in_words(found) == "Dirt shows from f/8 on (1 mark there)."
    clean = [Setting(f, dust=Dust([])) for f in (4.0, 8.0)]
    assert judge_series(clean, SIZE).choices == []


@pytest.mark.parametrize("planted", [-0.6, 0.0, 0.4])
def test_marks_are_held_against_the_light(planted):
    """From f/5.6 to f/8 the marks say 2 · log₂(8 / 5.6) = 1.029 stops."""
    (one,) = judge_series([lit(5.6, 1.0), lit(8.0, 2.0 ** -(1.029146 + planted))], SIZE).light
    assert one.marked_stops == pytest.approx(1.029146)
    assert one.off_stops.value == pytest.approx(planted, abs=1e-5)
    # One shutter time for both: nothing but noise, 0.1 % of each, which is 0.0014 stop.
    assert one.off_stops.half_width == pytest.approx(np.hypot(0.001, 0.001) / np.log(2), rel=1e-6)
    if planted == 0.4:
        assert light_in_words(one).startswith("Marked f/8 passes 0.400 ± 0.002 stop less than f/5.6 says")


def test_other_shutter_times_may_be_rounded():
    """1/60 is 1/64 s, 0.09 stop (APEX): both times by at most 0.1, evenly likely, so 1.96 · 0.1 · √(2/3)."""
    (one,) = judge_series([lit(4.0, 1.0, 1 / 60), lit(8.0, 0.25 * 64 / 60, 1 / 15)], SIZE).light
    assert one.off_stops.half_width == pytest.approx(1.96 * 0.1 * (2 / 3) ** 0.5, rel=0.01)
    assert one.off_stops.low < 0 < one.off_stops.high


def test_a_light_that_was_changed_is_no_wrong_mark():
    (one,) = judge_series([lit(4.0, 1.0), lit(8.0, 1.0)], SIZE).light
    assert one.off_stops is None
    assert "can't be told" in light_in_words(one)


def test_an_iris_without_marks_gets_stops_from_the_light():
    clicks = {"shut": 0.125, "open": 1.0, "middle": 0.5}
    settings = [lit(None, light, aperture=name) for name, light in clicks.items()]
    found = judge_series(settings, SIZE).light
    assert [(one.aperture, one.against) for one in found] == [("middle", "open"), ("shut", "open")]
    assert [one.less_stops.value for one in found] == pytest.approx([1.0, 3.0])
    assert light_in_words(found[0]).startswith("middle passes 1.000 ± 0.002 stop less light than open")


def test_light_of_another_setup_is_not_compared():
    assert judge_series([lit(4.0, 1.0), lit(8.0, 0.5, setup=2)], SIZE).light == []


def test_blur_tells_the_f_number_of_a_perfect_lens():
    """Hopkins' formula for a defocused pupil itself, without pixels of a width that would matter (2 µm)."""
    effective, m = 11.2, 0.5
    position = np.linspace(-1.2, 1.2, 9)
    frequency = np.linspace(1e-4, 0.3, 6000)
    half = [
        frequency[np.argmax(defocused_mtf(frequency, 0.55, effective, 1000 * m**2 * dz) < 0.5)] for dz in position
    ]
    setting = rail_setting("third click", position, 2.0 * np.array(half), m)
    (found,) = judge_series([setting], SIZE, 2.0).blur
    assert found.effective_f_number.value == pytest.approx(effective, rel=0.01)
    assert found.f_number.low <= effective / 1.5 <= found.f_number.high
    assert found.f_number.half_width < 0.1 * found.f_number.value


def test_blur_near_focus_tells_nothing():
    position = np.linspace(-0.1, 0.1, 9)
    setting = rail_setting("third click", position, np.full(9, 0.2), 0.5)
    assert judge_series([setting], SIZE, 6.0) is None


def shifted(wide, small, larger_is="farther"):
    settings = []
    for f_number, reading in ((4.0, wide), (8.0, small)):
        setting = rail_setting("", np.linspace(-1, 1, 5), np.full(5, 0.2), 0.5, Figure.of(reading, 0.012, "mm"))
        settings.append(replace_focus(setting, f_number, larger_is))
    return judge_series(settings, SIZE).focus_shifts


def replace_focus(setting, f_number, larger_is):
    alter(setting.focus, larger_is=larger_is)
    return Setting(f_number, magnification=setting.magnification, focus=setting.focus)


def test_focus_shift_is_told_with_its_direction():
    """12.00 to 12.12 mm: farther where the scale counts away from the lens; ± 0.012 · √2."""
    (one,) = shifted(12.0, 12.12)
    assert (one.farther_mm.value, one.farther_mm.half_width) == pytest.approx((0.12, 0.017), abs=1e-3)
    assert shift_in_words(one).startswith("Refocus 0.120 ± 0.017 mm nearer after stopping down from f/4 to f/8")
    (other,) = shifted(12.0, 12.12, "nearer")
    assert other.farther_mm.value == pytest.approx(-0.12)
    assert "mm farther after stopping down" in shift_in_words(other)
    (none,) = shifted(12.0, 12.01)
    assert shift_in_words(none).startswith(
        "Stopping down from f/4 to f/8 moves focus by less than 0.03 mm, if at all"
    )


def test_the_sign_is_that_of_undercorrected_spherical_aberration():
    lens = even_lens(
        focal_mm=35, open_f_number=2.8, image_radius_mm=2.4, colours={"grey": Colour((0.55,))}, spherical_um=1.5
    )
    fine = np.linspace(-0.5, 0.5, 101)
    under, over = (
        [fine[np.argmax(through_focus(replace(lens, spherical_um=um), n, 0.5, fine))] for n in (2.8, 5.6)]
        for um in (1.5, -1.5)
    )
    assert under[1] - under[0] > 0.05
    assert over[1] - over[0] < -0.05
    (one,) = shifted(*under)
    assert "nearer" in shift_in_words(one)


def view(focal):
    figure = Figure.of(50.0, 0.5, "°")
    mm = Figure.of(60.0, 0.5, "mm")
    return View(figure, figure, figure, Figure.of(9000, 10, "px"), mm, mm, focal, "t.dng", ["t.dng"])


def test_rings_are_the_focal_length_times_what_is_missing():
    """32 ± 0.3 mm and 0.903 ± 0.001: for 1:1 32 · 0.097 = 3.104 mm, ± hypot(0.097 · 0.3, 32 · 0.001) = 0.043."""
    geometry = Geometry(magnification=Figure.of(0.903, 0.001, "×"), view=view(Figure.of(32.0, 0.3, "mm")))
    rings = missing_rings(geometry, [Goal("magnification", least=1.0)])
    assert rings.extension_mm.value == pytest.approx(3.104)
    assert rings.extension_mm.half_width == pytest.approx(0.0433, abs=1e-4)
    assert rings_in_words(rings).startswith("For 1× add 3.10 ± 0.04 mm of rings: the focal length, 32.0 ± 0.3 mm")
    assert missing_rings(geometry, [Goal("magnification", least=0.9)]) is None
    assert missing_rings(geometry, [Goal("marks", most=0.0)]) is None
    assert (
        missing_rings(Geometry(magnification=geometry.magnification), [Goal("magnification", least=1.0)]) is None
    )


def test_glow_stands_in_the_series_with_its_interval():
    def glow(percent):
        figure = Figure.of(percent, 0.2, "%")
        frame = ZoneGlow("frame", "green", figure, Figure.of(0.1, 0.0, "%"), 6.0, None, None, 300)
        return Glow(60.0, 200.0, "f-number", [frame])

    settings = drawn(np.random.default_rng(5), 1, 0.0)
    settings = [structs.replace(one, glow=glow(8.0 / (k + 1))) for k, one in enumerate(settings)]
    series = judge_series(settings, SIZE, 6.0)
    first = series.figures[0].glow_percent
    assert (first.value, first.half_width) == (8.0, pytest.approx(0.2))
    # f/5.6, the third, has the sharpest centre; the last aperture glows least.
    price = next(one for one in choice(series, "sharpest centre").prices if one.what == "glow_percent")
    assert (price.value.value, price.best_at) == (pytest.approx(8 / 3), series.figures[-1].aperture)
