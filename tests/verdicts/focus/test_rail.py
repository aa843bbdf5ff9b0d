"""Advice on the rail: steps from handbook depths, and what is said of series that fall short."""

from lensbench.analysers.focus import Sheet, measure_focus
from lensbench.findings import Figure, Setting, Sharpness
from lensbench.verdicts.focus import RailShot, advise_rail, rail_notices, single_shot_notices
from tests.analysers.focus.invented_focus import RAIL, SIZE, Surface, series
from tests.findings.alter import alter

DEPTH = 0.172
"""Of the invented series: the blur of 0.8 px that grows by 3 px a mm."""


def life_size(f_number=2.8, magnification=1.0, **what):
    return Setting(f_number, magnification=Figure.of(magnification, 0.001, "×"), sharpness=Sharpness(), **what)


def with_series(surface, away=RAIL, reading=None):
    """A setting with its focus and advice, and its notices by code."""
    shots = series(surface, away=away, reading=reading)
    setting = life_size(focus=measure_focus(shots, SIZE, 6.0, Sheet(50.0, 0.3)))
    alter(setting, rail_advice=advise_rail(setting))
    sharp = [RailShot(s.shot, s.rail_mm, max(t.sagittal.value for t in s.tiles)) for s in shots]
    return setting, {notice.code: notice.text for notice in rail_notices(setting, sharp)}


def test_step_is_a_quarter_of_the_depth_of_field():
    """± 34 µm at 1× and f/2.8 by the quarter-wave rule (Smith; memory): 69 µm in all, a step of 17 µm."""
    advice = advise_rail(life_size())
    assert round(advice.depth_mm, 4) == 0.0345
    assert advice.step_mm == 0.017
    assert advice.shots == 9
    assert advise_rail(life_size(8.0)).step_mm == 0.14
    assert advise_rail(Setting(aperture="third click", magnification=Figure.of(1.0, 0.01, "×"))) is None


def test_single_shots_close_up_are_warned_of_once():
    settings = [life_size(5.6), life_size(2.8), life_size(4.0)]
    for setting in settings:
        alter(setting, rail_advice=advise_rail(setting))
    (notice,) = single_shot_notices(settings)
    assert notice.text.startswith("f/2.8: at 1 × life size the depth of field is ± 0.034 mm")
    assert "9 shots along the rail in steps of 0.017 mm" in notice.text
    for easy in (life_size(2.8, 0.1), life_size(16.0, 0.5)):
        alter(easy, rail_advice=advise_rail(easy))
        assert single_shot_notices([easy]) == []


def test_a_good_series_only_says_which_shot_speaks():
    setting, notices = with_series(Surface(0.02, bow=(-0.1, -0.1)))
    assert set(notices) == {"rail-shot"}
    assert "t_08.dng is nearest to the centre's best focus (0.019 mm off" in notices["rail-shot"]
    # Measured depth, not the handbook's: this blur is no perfect lens's.
    assert abs(setting.rail_advice.depth_mm / DEPTH - 1) < 0.05
    assert abs(setting.rail_advice.step_mm / (DEPTH / 2) - 1) < 0.1


def test_what_the_series_itself_notes_is_a_warning():
    setting, _ = with_series(Surface(0.02, bow=(-0.1, -0.1)))
    setting.focus.notes.append("t_03.dng is softer.")
    codes = {
        notice.code: notice.text for notice in rail_notices(setting, [RailShot("a", 0, 1), RailShot("b", 1, 1)])
    }
    assert codes["rail-note"] == "f/2.8: t_03.dng is softer."


def test_steps_too_wide():
    _, notices = with_series(Surface(), away=RAIL[::3])
    assert "only 2 shots of the series lie within ± 0.3" in notices["rail-step"]
    assert "Step the rail by 0.08" in notices["rail-step"]


def test_a_peak_outside_says_which_way_to_go_on():
    """The corners focus farther than the series goes: larger readings, or smaller where the scale runs back."""
    curved = Surface(bow=(1.6, 1.6))
    setting, notices = with_series(curved)
    assert "corner" in notices["rail-range"] or "outer" in notices["rail-range"]
    assert "Add shots from 0.8 to 1" in notices["rail-range"]
    assert setting.rail_advice.to_mm > RAIL[-1]
    setting, notices = with_series(curved, reading=20 - RAIL)
    assert "to 19.2 mm in steps of" in notices["rail-range"]
    assert setting.rail_advice.from_mm < 20 - RAIL[-1]


def test_a_centre_outside_says_on_which_side():
    _, notices = with_series(Surface(centre=1.2))
    assert "t_16.dng is the sharpest of 17 shots" in notices["rail"]
    assert "Go on above 0.8 mm" in notices["rail"]
    _, notices = with_series(Surface(), away=RAIL[7:10])
    assert "too few" in notices["rail"]
    _, notices = with_series(Surface(), away=RAIL[:1])
    assert notices == {}
