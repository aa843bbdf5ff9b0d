"""Apertures that the session file beside a shot tells, for shots that can't tell themselves."""

from lensbench.correction._choice import Taken
from lensbench.correction._listing import taken_of
from lensbench.loaders.apertures import Aperture, apertures_beside

SESSION = """
[[shot]]
file = "a.dng"
f_number = 5.6

[[shot]]
file = "b.dng"
aperture = "third click"

[[shot]]
file = "c.dng"
f_number = "wide open"
"""


def test_what_is_wrong_or_missing_in_the_session_file_is_not_there(tmp_path):
    assert apertures_beside(tmp_path / "a.dng") == {}
    (tmp_path / "session.toml").write_text(SESSION)
    told = apertures_beside(tmp_path / "a.dng")
    assert told == {"a.dng": Aperture(5.6, None), "b.dng": Aperture(None, "third click")}
    (tmp_path / "session.toml").write_text("no toml [")
    assert apertures_beside(tmp_path / "a.dng") == {}


def test_a_bench_shot_is_corrected_by_its_session_file_unless_told_otherwise(tmp_path):
    (tmp_path / "session.toml").write_text(SESSION)
    told = Taken(magnification=0.12)
    assert taken_of(tmp_path / "a.dng", told, {}) == Taken(5.6, None, 0.12)
    assert taken_of(tmp_path / "b.dng", told, {}) == Taken(None, "third click", 0.12)
    assert taken_of(tmp_path / "a.dng", told, {"a.dng": Taken(8.0)}).f_number == 8.0
    assert taken_of(tmp_path / "a.dng", Taken(2.8), {"a.dng": Taken(8.0)}).f_number == 2.8
