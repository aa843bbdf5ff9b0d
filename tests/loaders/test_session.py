"""The session file: what is right comes through; every mistake is named with its line and what would be right."""

import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lensbench.errors import BenchError
from lensbench.findings import Build
from lensbench.loaders import load_session
from lensbench.loaders.session import Session, refuse_odd_rulers
from lensbench.loaders.session_keys import SHOT_KEYS, TABLE_KEYS, CameraEntry, LensEntry, ShotEntry, TargetEntry
from lensbench.loaders.toml_lines import line_of
from tests.loaders.refusals import loaded_or_sentence

WHOLE = """\
# the evening after the tube was lengthened
[build]
name = "Brass tube"   # the second one
parts = [
  "front group",
  "tube",
]
notes = ""
date = 2024-05-06
[camera]
sensor_mm = [36.0, 24]
[lens]
pupil_ratio = 0.8
flange_width_mm = 52
[target]
layout = "sheets/a4.json"
rulers_measured_mm = [149.8, 150.1]
print_dpi = 2400
[[shot]]
file = "t_056.dng"
shows = "target"
f_number = 5.6
setup = 2
rail_mm = -1.5
lens_turn_deg = 90
turned = "front group"
panel = 3
[[shot]]
file = "more/f.tif"
shows = "flat"
aperture = "third click"
encoding = "srgb"
"""


@pytest.fixture
def folder(tmp_path):
    """A folder with the files that WHOLE names."""
    for name in ("t_056.dng", "f_056.dng", "more/f.tif", "sheets/a4.json", "target.json"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.touch()
    return tmp_path


def write(folder, text, coding="utf-8"):
    (folder / "session.toml").write_bytes(text.encode(coding))


def test_everything_comes_through(folder):
    write(folder, WHOLE)
    session = load_session(folder)
    assert isinstance(session, Session)
    assert session.folder == folder
    build = session.build
    assert (build.name, build.parts, build.notes) == ("Brass tube", ["front group", "tube"], "")
    assert build.date == "2024-05-06"
    assert session.camera == CameraEntry((36, 24))
    assert session.lens == LensEntry(0.8, 52)
    assert session.target == TargetEntry("sheets/a4.json", (149.8, 150.1), 2400)
    assert session.shots == [
        ShotEntry(
            "t_056.dng", "target", 5.6, setup=2, rail_mm=-1.5, lens_turn_deg=90, turned="front group", panel=3
        ),
        ShotEntry("more/f.tif", "flat", aperture="third click", encoding="srgb"),
    ]


def test_only_a_shot_is_needed(folder):
    write(folder, '[[shot]]\nfile = "t_056.dng"\nshows = "target"\n')
    session = load_session(str(folder))
    assert session.build.name == folder.name
    assert session.camera.sensor_mm is None
    assert session.lens.pupil_ratio == 1
    assert session.target.layout == "target.json"
    assert session.shots == [ShotEntry("t_056.dng", "target")]


@pytest.mark.parametrize("ends", ["\r\n", "\n"])
@pytest.mark.parametrize("mark", ["\ufeff", ""])
def test_windows_editors_are_understood(ends, mark, folder):
    write(folder, mark + WHOLE.replace("\n", ends))
    assert len(load_session(folder).shots) == 2


MISTAKES = {
    "negative f-number": ("f_number = 5.6", "f_number = -5.6", r"f_number = -5\.6 is not allowed.*such as 5\.6"),
    "f-number of nought": ("f_number = 5.6", "f_number = 0", r"f_number = 0 is not allowed"),
    "f-number in words": ("f_number = 5.6", 'f_number = "5.6"', r'f_number = "5\.6" is not allowed'),
    "f-number without limit": ("f_number = 5.6", "f_number = inf", r"f_number = inf is not allowed"),
    "f-number that is none": ("f_number = 5.6", "f_number = nan", r"f_number = nan is not allowed"),
    "f-number yes": ("f_number = 5.6", "f_number = true", r"f_number = true is not allowed"),
    "shows something else": ('shows = "target"', 'shows = "tarket"', r'"flat", "dark" or.*did you mean target\?'),
    "shows nothing": ('shows = "target"', 'shows = ""', r"shows is still empty"),
    "shows a number": ('shows = "target"', "shows = 3", r"shows = 3 is not allowed"),
    "unknown key": ("f_number = 5.6", "f_numbr = 5.6", r"key f_numbr is unknown here; did you mean f_number\?"),
    "key of another table": ("pupil_ratio = 0.8", "sensor_mm = [36, 24]", r"key sensor_mm is unknown here"),
    "unknown table": ("[camera]", "[camra]", r"table \[camra\] is unknown; did you mean camera\?"),
    "missing file": ('"t_056.dng"', '"t_56.dng"', r"no file t_56\.dng in .*; did you mean t_056\.dng\?"),
    "missing file there": ('"more/f.tif"', '"more/g.tif"', r"no file more/g\.tif in .*did you mean f\.tif\?"),
    "missing folder": ('"more/f.tif"', '"mor/f.tif"', r"no file mor/f\.tif in .*nor a folder"),
    "file that is a folder": ('"more/f.tif"', '"more"', r"more is a folder, not a picture"),
    "file is empty": ('"more/f.tif"', '""', r"file is still empty.*name of the shot's file"),
    "listed twice": ('"more/f.tif"', '"./t_056.dng"', r"t_056\.dng is listed twice \(it is also shot 1\)"),
    "one ruler": ("[149.8, 150.1]", "[149.8]", r"= \[149\.8\] is not allowed.*\[149\.8, 150\.1\]"),
    "rulers in words": ("[149.8, 150.1]", '["149.8", 150.1]', r"rulers_measured_mm = .*is not allowed"),
    "sensor in another unit": ("[36.0, 24]", "[3600, 2400]", r"\[3600, 2400\] is not allowed.*\[36\.0, 24\.0\]"),
    "sensor below nought": ("[36.0, 24]", "[-36.0, 24]", r"sensor_mm = \[-36\.0, 24\] is not allowed"),
    "sensor in words": ("[36.0, 24]", '"36 x 24"', r'sensor_mm = "36 x 24" is not allowed'),
    "unknown encoding": ('"srgb"', '"sRGB"', r'encoding = "sRGB" is not allowed.*did you mean srgb\?'),
    "turned what is no part": ('"front group"\npanel', '"frontgroup"\npanel', r"did you mean front group\?"),
    "flange in inches": ("_mm = 52", "_mm = 2", r"flange_width_mm = 2 is not allowed.*such as 52"),
    "setup in half": ("setup = 2", "setup = 1.5", r"setup = 1\.5 is not allowed"),
    "setup nought": ("setup = 2", "setup = 0", r"setup = 0 is not allowed"),
    "no such layout": ("sheets/a4.json", "sheets/a3.json", r"no a3\.json in .*sheets, which says where"),
    "parts in a word": ('parts = [\n  "front group",\n  "tube",\n]', 'parts = "tube"', r'"tube" is not allowed'),
    "name is a number": ('name = "Brass tube"', "name = 3", r"name = 3 is not allowed"),
    "pupil ratio": ("pupil_ratio = 0.8", "pupil_ratio = -1", r"pupil_ratio = -1 is not allowed"),
}  # fmt: skip


@pytest.mark.parametrize("case", MISTAKES)
def test_a_mistake_is_named_with_its_line(case, folder):
    right, wrong, said = MISTAKES[case]
    assert WHOLE.count(right) == 1
    write(folder, WHOLE.replace(right, wrong))
    line = WHOLE[: WHOLE.index(right)].count("\n") + 1
    with pytest.raises(BenchError, match=rf"^\S*session\.toml, line {line}: .*{said}") as caught:
        load_session(folder)
    assert "\n" not in str(caught.value)


def test_f_number_and_aperture_cannot_both_be_true(folder):
    write(folder, WHOLE.replace("setup = 2", 'aperture = "open"'))
    with pytest.raises(BenchError, match=r"line 23: f_number and aperture are both given"):
        load_session(folder)


def test_all_mistakes_come_at_once_in_the_file_s_order(folder):
    write(folder, WHOLE.replace('"flat"', '"plain"').replace("5.6", "-5.6").replace("pupil", "pupli"))
    with pytest.raises(BenchError) as caught:
        load_session(folder)
    lines = str(caught.value).split("\n")
    assert [line.partition(": ")[0].rpartition(" ")[2] for line in lines] == ["13", "22", "30"]


def test_what_a_shot_lacks_is_named_at_its_head(folder):
    write(folder, '[[shot]]\nfile = "t_056.dng"\n\n[[shot]]\nshows = "flat"\n')
    with pytest.raises(BenchError) as caught:
        load_session(folder)
    first, second = str(caught.value).split("\n")
    assert "line 1: this [[shot]] has no shows. Add shows = " in first
    assert "line 4: this [[shot]] has no file. Add file = " in second


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[shot]\nfile = "t_056.dng"', r"line 1: every shot begins with \[\[shot\]\]"),
        ("shot = 3", r"line 1: every shot begins with \[\[shot\]\]"),
        ("\n\nfile = 'a'\n[[shot]]", r"line 3: file is outside of any table. Put it under a \[\[shot\]\]"),
        ('name = "x"', r"line 1: name is outside of any table. Put it under \[build\]"),
        ("colour = 3", r"line 1: the key colour is unknown here. Every key belongs under \[build\]"),
        ("build = 3", r"line 1: build must be a table: write \[build\]"),
        ("", r"session\.toml: lists no shots.*lensbench session"),
        ("[build]\nname = 'x'", r"session\.toml: lists no shots"),
    ],
)
def test_tables_gone_wrong(text, said, folder):
    write(folder, text)
    with pytest.raises(BenchError, match=said):
        load_session(folder)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[shot]]\nf_number = 5,6\n", r"line 2: 'f_number = 5,6' can't be understood.*decimals with a point"),
        ("[[shot]]\nf_number = f/4\n", r"line 2: .*without f/"),
        ("[[shot]]\nfile = t_056.dng\n", r"line 2: .*Put words and file names in quotes"),
        ("[[shot]]\nfile = “t_056.dng”\n", r"line 2: .*plain straight quotes"),
        ("[[shot]]\nfile\n", r"line 2: .*Write key = value"),
        ("[build]\nname = 'a'\nname = 'b'\n", r"line 3: .*a second time"),
        ("[build]\n[build]\n", r"line 2: .*a second time"),
        ("[build\nname = 'a'\n", r"line 1: .*missing quote or bracket"),
        ('[build]\nname = "a\n', r"line 2: .*missing quote or bracket"),
        ("[build]\nparts = ['a'", r"line 2: .*missing quote or bracket"),
    ],
)
def test_what_is_no_toml_gets_a_hint(text, said, folder):
    write(folder, text)
    with pytest.raises(BenchError, match=rf"session\.toml, {said}"):
        load_session(folder)


def test_another_coding_is_named(folder):
    write(folder, '[build]\nname = "Röhre"\n', coding="latin-1")
    with pytest.raises(BenchError, match=r"session\.toml: is not a UTF-8 text file"):
        load_session(folder)


def test_folders_gone_wrong(tmp_path):
    (tmp_path / "evening_2").mkdir()
    with pytest.raises(BenchError, match=r"evening_2: is empty. Copy the shots into it"):
        load_session(tmp_path / "evening_2")
    (tmp_path / "evening_2" / "t.dng").touch()
    with pytest.raises(BenchError, match=r"evening_2: has no session\.toml.*Run: lensbench session"):
        load_session(tmp_path / "evening_2")
    with pytest.raises(BenchError, match=r"t\.dng: is a file. Name the folder"):
        load_session(tmp_path / "evening_2" / "t.dng")
    with pytest.raises(BenchError, match=r"evening_3: there is no such folder; did you mean evening_2\?"):
        load_session(tmp_path / "evening_3")
    with pytest.raises(BenchError, match=r"there is no such folder"):
        load_session(tmp_path / "nowhere" / "at" / "all")


def test_a_session_file_that_may_not_be_read(folder, monkeypatch):
    write(folder, WHOLE)

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)
    with pytest.raises(BenchError, match=r"session\.toml: can't be read \(Permission denied\)"):
        load_session(folder)


def test_lines_of_keys():
    text = 'a = 1\n\n# note\nb = [\n  1,\n\n  2]\n[c]\nd.e = 1\nf = {g = 1, h = """\n\n"""}\n'
    text += "[[s]]\nk = 1\n[[s]]\nk = 2\n"
    wanted = {("a",): 1, ("b",): 4, ("b", 1): 4, ("c",): 8, ("c", "d", "e"): 9, ("c", "f", "h"): 10}
    wanted |= {("s",): 13, ("s", 0, "k"): 14, ("s", 1): 15, ("s", 1, "k"): 16, ("z",): None, ("a", "b"): None}
    assert {key: line_of(text, key) for key in wanted} == wanted


VALUES = st.recursive(
    st.one_of(
        st.sampled_from(["1", "-5.6", "nan", "inf", "true", '""', '"flat"', '"target"', '"t_056.dng"', "1e400"]),
        st.sampled_from(["2024-05-06", "12:30:00", "{}", "[]", "'''\n'''", '"\\u0000"', '"../.."', "]", "5,6"]),
        st.text(max_size=6).map(lambda text: f'"{text}"'),
    ),
    lambda inner: st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]"),
    max_leaves=4,
)
KEYS = st.sampled_from(
    [
        *("file", "shows", "f_number", "aperture", "setup", "rail_mm", "lens_turn_deg", "panel", "encoding"),
        *("name", "parts", "notes", "date", "sensor_mm", "pupil_ratio", "layout", "rulers_measured_mm"),
        *("print_dpi", "shot", "build", '"a b"', "file.name"),
    ]
)
LINES = st.one_of(
    st.sampled_from(["[build]", "[camera]", "[lens]", "[target]", "[[shot]]", "[[build]]", "[shot]", "#", ""]),
    st.tuples(KEYS, VALUES).map(" = ".join),
    st.text(max_size=12),
)


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(LINES, max_size=10))
def test_any_session_file_gives_a_sentence_or_a_session(folder, lines):
    (folder / "session.toml").write_text("\n".join(lines), encoding="utf-8", errors="replace", newline="")
    session = loaded_or_sentence(load_session, folder)
    if isinstance(session, str):
        assert "session.toml" in session
        return
    for shot in session.shots:
        assert shot.shows in ("target", "flat", "dark", "blade")
        assert (folder / shot.file).is_file()
        assert shot.f_number is None or 0.3 <= shot.f_number <= 512
    assert tomllib.loads((folder / "session.toml").read_text(encoding="utf-8"))["shot"]


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, len(WHOLE) - 1), st.characters(codec="utf-8"), st.booleans())
def test_a_slip_of_a_finger_gives_a_sentence_or_a_session(folder, place, character, replaced):
    write(folder, WHOLE[:place] + character + WHOLE[place + replaced :])
    session = loaded_or_sentence(load_session, folder)
    assert "session.toml" in session if isinstance(session, str) else session.shots


# Printers scale by a percent or few, both ways about alike (common practice).
@pytest.mark.parametrize("measured", [[186.0, 285.0], [28.5, 18.6], [28.5, 186.0], [285.0, 200.0]])
def test_bars_that_no_printer_makes_of_those_drawn(folder, measured):
    write(folder, f'[target]\nrulers_measured_mm = {measured}\n[[shot]]\nfile = "f_056.dng"\nshows = "flat"\n')
    session = load_session(folder)
    with pytest.raises(
        BenchError, match=r"session\.toml, line 2: rulers_measured_mm = \[.*drawn 285\.0 mm across"
    ):
        refuse_odd_rulers(session, (285.0, 186.0))


@pytest.mark.parametrize("measured", [[285.0, 186.0], [268.0, 175.5], [287.9, 184.2]])
def test_bars_as_printers_make_them_pass(folder, measured):
    write(folder, f'[target]\nrulers_measured_mm = {measured}\n[[shot]]\nfile = "f_056.dng"\nshows = "flat"\n')
    refuse_odd_rulers(load_session(folder), (285.0, 186.0))


@pytest.mark.parametrize(
    ("entry", "keys"),
    [
        (ShotEntry, SHOT_KEYS),
        (CameraEntry, TABLE_KEYS["camera"]),
        (LensEntry, TABLE_KEYS["lens"]),
        (TargetEntry, TABLE_KEYS["target"]),
        (Build, TABLE_KEYS["build"]),
    ],
)
def test_every_key_has_a_place_to_go(entry, keys):
    assert set(entry.__struct_fields__) == set(keys)
