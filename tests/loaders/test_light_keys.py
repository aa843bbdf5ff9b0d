"""Session keys on the light panel and the target's black."""

import pytest

from lensbench.errors import BenchError
from lensbench.loaders.session import load_session

FLAT = '[[shot]]\nfile = "w.dng"\nshows = "flat"\n'


def load(tmp_path, text):
    (tmp_path / "w.dng").write_bytes(b"raw")
    (tmp_path / "session.toml").write_text(text)
    return load_session(tmp_path)


def test_how_the_panel_stood_and_what_is_black(tmp_path):
    text = "[target]\nink_reflectance = 0.04\nlight_traps = [[7, 5], [0, 0]]\n"
    session = load(tmp_path, text + FLAT + "panel = 2\npanel_turn_deg = 180\npanel_shift = [0.3, -0.1]\n")
    (shot,) = session.shots
    assert (shot.panel, shot.panel_turn_deg, shot.panel_shift) == (2, 180.0, (0.3, -0.1))
    assert session.target.ink_reflectance == 0.04
    assert session.target.light_traps == [(7, 5), (0, 0)]


@pytest.mark.parametrize(
    ("table", "shot", "said"),
    [
        ("", "panel_shift = 0.3\n", "panel_shift = 0.3 is not allowed"),
        ("", "panel_turn_deg = 720\n", "panel_turn_deg = 720 is not allowed"),
        ("[target]\nlight_traps = [7, 5]\n", "", "column and row of each"),
        ("[target]\nlight_traps = [[7, 5.5]]\n", "", "column and row of each"),
        ("[target]\nink_reflectance = 4\n", "", "a density of 1.4"),
    ],
)
def test_what_is_wrong_is_said(tmp_path, table, shot, said):
    with pytest.raises(BenchError) as caught:
        load(tmp_path, table + FLAT + shot)
    assert said in str(caught.value)
    assert "line" in str(caught.value)
