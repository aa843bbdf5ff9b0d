"""A whole session from another renderer, measured and held against what that renderer drew."""

import json
import os
import shutil
import signal
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from lensbench.dng import write_dng
from lensbench.errors import BenchError
from lensbench.findings import encode_report, report_schema
from lensbench.frame import ZONES, h_of, zone_index
from lensbench.loaders import load_session, read_shot
from lensbench.run import _work, measure_session
from lensbench.run._readings import Outcome
from lensbench.target.layout import make_layout, write_layout
from tests.drawn_blades import Blade, blades_shot, mtf50_of
from tests.outside.renderer import OutsideFrame, OutsideLens, draw_sheet, expose, true_figures, write_mosaic


@pytest.fixture(scope="module")
def report(outside):
    return measure_session(load_session(outside[0]), workers=1)


@pytest.fixture
def session(outside, tmp_path):
    """A copy of the session to spoil: its folder, and a way to write its list of shots anew."""
    folder = tmp_path / "bench"
    shutil.copytree(outside[0], folder)
    head = (folder / "session.toml").read_text().split("[[shot]]")[0]

    def with_shots(*shots):
        tables = [
            "[[shot]]\n" + "\n".join(f"{key} = {json.dumps(value)}" for key, value in shot.items())
            for shot in shots
        ]
        (folder / "session.toml").write_text(head + "\n".join(tables) + "\n")
        return load_session(folder)

    return folder, with_shots


SHEET = {"file": "sheet.dng", "shows": "target", "f_number": 5.6}
EVEN = {"file": "even.dng", "shows": "flat", "f_number": 5.6}


def test_figures_are_those_that_were_drawn(report, outside):
    """MTF50 edge by edge, lateral colour tile by tile, falloff by zone, in closed form from the other renderer."""
    _, frame, layout = outside
    truth = true_figures(frame, layout)
    (setting,) = report.settings
    edges = [e for e in setting.sharpness.edges if e.used and e.channel == "green" and (e.column, e.row) in truth]
    off = [e.mtf50.value / truth[e.column, e.row]["mtf50"][e.leg, "green"] - 1 for e in edges]
    assert len(edges) > 100
    assert abs(np.median(off)) < 0.01
    tiles = [t for t in setting.fringing.tiles if (t.column, t.row) in truth and t.red]
    shifts = [t.red.dx.value - truth[t.column, t.row]["fringe"]["red"][0] for t in tiles]
    assert abs(np.median(shifts)) < 0.02
    # One stop at h = 1, growing as h²: the mean light over each zone's pixels, below that at h < 0.1.
    light = frame.light()
    y, x = np.mgrid[: frame.height, : frame.width]
    h, zone = h_of(x, y, (frame.width, frame.height)), zone_index(x, y, (frame.width, frame.height))
    true = {name: np.log2(light[h < 0.1].mean() / light[zone == k].mean()) for k, name in enumerate(ZONES)}
    assert true["corner top-left"] == pytest.approx(0.800, abs=0.001)
    assert {one.zone for one in setting.falloff.zones} == set(ZONES)
    for one in setting.falloff.zones:
        assert one.stops.value == pytest.approx(true[one.zone], abs=0.005), one.zone
    assert setting.falloff.covers_frame


def test_magnification_follows_from_the_pixels_pitch(report, outside):
    """900 px over 36 mm are 40 µm each; 2.5 px a millimetre of the sheet are a tenth of life size."""
    assert report.camera.pixel_pitch_um == pytest.approx(40.0)
    magnification = report.settings[0].magnification
    assert magnification.low <= 0.1 <= magnification.high
    assert report.geometry.magnification == magnification


def test_another_cameras_sensor_gives_pixels_only(session):
    folder, with_shots = session
    with_shots(EVEN)
    text = (folder / "session.toml").read_text().replace("[36.0, 24.0]", "[36.0, 30.0]")
    (folder / "session.toml").write_text(text)
    report = measure_session(load_session(folder), workers=1)
    assert report.camera.pixel_pitch_um is None
    assert report.camera.sensor_mm is None
    assert any(notice.code == "sensor" and "25 % longer" in notice.text for notice in report.warnings)


def test_report_is_complete_and_passes_its_schema(report):
    plain = json.loads(encode_report(report))
    jsonschema.validate(plain, report_schema())
    assert "NaN" not in encode_report(report).decode()
    assert plain["settings"][0]["shots"] == ["sheet.dng", "even.dng"]
    assert plain["build"]["name"] == "Outside build"
    assert report.verdict.assembly is not None


def test_shots_are_only_read(outside, report):
    assert {path.name for path in outside[0].iterdir()} == {"sheet.dng", "even.dng", "session.toml", "target.json"}


def test_progress_is_told(outside, session):
    told = []
    _, with_shots = session
    measure_session(with_shots(EVEN), lambda *step: told.append(step), workers=1)
    assert told == [(0, 1, ""), (1, 1, "even.dng")]


def test_settings_are_those_taken_alike(session):
    """By aperture, lens turn and setup, in rising f-number, unnumbered apertures last; several flats are one."""
    folder, with_shots = session
    even = read_shot(folder / "even.dng")
    for number, name in enumerate("abcdef"):
        # One shot by one sample: files with the same samples are refused.
        samples = even.samples.copy()
        samples[0, number] += 1
        write_dng(folder / f"{name}.dng", replace(even, samples=samples))
    report = measure_session(
        with_shots(
            {"file": "a.dng", "shows": "flat", "aperture": "third click"},
            {"file": "b.dng", "shows": "flat", "f_number": 11},
            {"file": "c.dng", "shows": "flat", "f_number": 4, "setup": 2},
            {"file": "d.dng", "shows": "flat", "f_number": 4, "panel": 2},
            {"file": "e.dng", "shows": "flat", "f_number": 4},
            {"file": "f.dng", "shows": "flat", "f_number": 4, "lens_turn_deg": 90},
        ),
        workers=1,
    )
    names = [(s.label, s.setup, s.lens_turn_deg, s.shots) for s in report.settings]
    assert names == [
        ("f/4", 1, 0.0, ["d.dng", "e.dng"]),
        ("f/4", 2, 0.0, ["c.dng"]),
        ("f/4", 1, 90.0, ["f.dng"]),
        ("f/11", 1, 0.0, ["b.dng"]),
        ("third click", 1, 0.0, ["a.dng"]),
    ]


def test_one_bad_shot_is_named_and_left_out(session):
    folder, with_shots = session
    (folder / "short.dng").write_bytes((folder / "sheet.dng").read_bytes()[:300_000])
    report = measure_session(
        with_shots(EVEN, {"file": "short.dng", "shows": "target", "f_number": 5.6}), workers=1
    )
    (notice,) = [w for w in report.warnings if w.shot == "short.dng"]
    assert notice.code == "left-out"
    assert notice.text.startswith("short.dng: ")
    assert report.settings[0].shots == ["even.dng"]


def test_a_shot_of_another_size_is_left_out(session):
    folder, with_shots = session
    light = np.ones((400, 600), np.float32)
    write_mosaic(folder / "other.dng", expose(np.random.default_rng(1), [light] * 3, light))
    shots = (EVEN, SHEET, {"file": "other.dng", "shows": "flat", "f_number": 8})
    report = measure_session(with_shots(*shots), workers=1)
    (notice,) = [w for w in report.warnings if w.shot == "other.dng"]
    assert "600 × 400 pixels, the other shots 900 × 600" in notice.text
    assert len(report.settings) == 1


def test_clipped_shots_say_how_much_less(session):
    folder, with_shots = session
    lens = OutsideFrame(_plain_lens(), 900, 600)
    tiles = json.loads((folder / "target.json").read_text())["tiles"]
    sheet = draw_sheet(lens, tiles, 1)
    write_mosaic(folder / "bright.dng", expose(np.random.default_rng(1), [sheet * 1.6] * 3, np.ones_like(sheet)))
    with pytest.raises(BenchError, match=r"edges are clipped \(white at 100 %\). Expose a full stop less"):
        measure_session(with_shots({**SHEET, "file": "bright.dng"}), workers=1)
    write_mosaic(folder / "dim.dng", expose(np.random.default_rng(1), [sheet * 0.08] * 3, np.ones_like(sheet)))
    report = measure_session(with_shots({**SHEET, "file": "dim.dng"}), workers=1)
    assert any(
        "dim.dng: is dark (white at 6 %)" in w.text and "Expose 4 stops more" in w.text for w in report.warnings
    )


def _plain_lens():
    return OutsideLens(px_per_mm=2.5, turn_deg=2.0, bend=(0, 0), fringe_px=(0, 0, 0), falloff_stops=0)


def test_a_dark_frame_unlike_all_is_told(session):
    """Exposed as the flat it is taken off silently; with another ISO it is of no use, and that is said."""
    folder, with_shots = session
    even = read_shot(folder / "even.dng")
    black = np.full_like(even.samples, int(even.black[0]))
    for name, samples, iso in (
        ("even.dng", even.samples, 100),
        ("cap.dng", black, 100),
        ("odd.dng", black + 1, 400),
    ):
        write_dng(folder / name, replace(even, samples=samples, exposure=replace(even.exposure, iso=iso)))
    darks = [{"file": name, "shows": "dark"} for name in ("cap.dng", "odd.dng")]
    report = measure_session(with_shots(EVEN, *darks), workers=1)
    told = [warning.text for warning in report.warnings if warning.code == "dark-unused"]
    assert len(told) == 1
    assert told[0].startswith("odd.dng: was exposed like no flat")


def test_a_report_names_its_shots_by_their_samples_and_not_by_where_they_lie(session, tmp_path):
    folder, with_shots = session
    here = measure_session(with_shots(EVEN), workers=1)
    shutil.copytree(folder, tmp_path / "elsewhere" / "bench")
    there = measure_session(load_session(tmp_path / "elsewhere" / "bench"), workers=1)
    assert here.shots == there.shots
    assert len(here.shots) == 1
    assert here.session == there.session == "bench", "the folder's own name and nothing above it"


def test_blades_moved_about_fill_the_zone_map(tmp_path):
    """Two shots of dark rectangles along and across the radius: MTF50 in closed form, in every zone they reach."""
    for name, moved in (("b1.dng", 1), ("b2.dng", -1)):
        blades = [
            Blade((450 + x, 300 - moved * y), moved * np.degrees(np.arctan2(y, x)) + 4 * moved, (150.0, 110.0))
            for x, y in ((230, 150), (-230, -150))
        ]
        shot = blades_shot([*blades, Blade((450, 300), 4 * moved, (150.0, 120.0))], (900, 600), blur=1.3)
        write_dng(tmp_path / name, shot)
    tables = "".join(
        f'[[shot]]\nfile = "{name}"\nshows = "blade"\nf_number = 8\n' for name in ("b1.dng", "b2.dng")
    )
    (tmp_path / "session.toml").write_text(f'[build]\nname = "Foil"\n[camera]\nsensor_mm = [9.0, 6.0]\n{tables}')
    report = measure_session(load_session(tmp_path), workers=1)
    (setting,) = report.settings
    assert {edge.leg for edge in setting.sharpness.edges} == {"blade"}
    assert setting.geometry is None
    assert setting.fringing is None
    assert report.warnings == []
    green = {
        zone.zone: zone for zone in setting.sharpness.zones if (zone.channel, zone.direction) == ("green", "mean")
    }
    assert len(green) >= 5
    assert "centre" in green
    for zone in green.values():
        assert zone.mtf50.value == pytest.approx(mtf50_of(1.3), rel=0.02)
        # 10 µm pixels: 0.1 cy/px are 10 lp/mm.
        assert zone.mtf50_lp_mm.value == pytest.approx(100 * zone.mtf50.value)


def test_of_blades_along_a_rail_the_sharpest_speaks(tmp_path):
    for name, blur in (("near.dng", 3.0), ("far.dng", 1.3)):
        shot = blades_shot([Blade((310, 230), 7.0, (260.0, 200.0))], (640, 480), blur=blur)
        write_dng(tmp_path / name, shot)
    tables = "".join(
        f'[[shot]]\nfile = "{name}"\nshows = "blade"\nf_number = 8\nrail_mm = {place}\n'
        for name, place in (("near.dng", 0.0), ("far.dng", 0.5))
    )
    (tmp_path / "session.toml").write_text(f'[build]\nname = "Foil"\n{tables}')
    report = measure_session(load_session(tmp_path), workers=1)
    assert {edge.shot for edge in report.settings[0].sharpness.edges} == {"far.dng"}
    assert any(notice.code == "rail-shot" and notice.shot == "far.dng" for notice in report.warnings)


def test_a_blade_shot_without_a_clean_edge_is_left_out(session):
    _, with_shots = session
    report = measure_session(with_shots(SHEET, {**EVEN, "shows": "blade"}), workers=1)
    assert any("no clean straight edge" in notice.text for notice in report.warnings)


def test_a_target_file_without_a_name_is_said(session):
    folder, with_shots = session
    stored = json.loads((folder / "target.json").read_text())
    earlier = {key: value for key, value in stored.items() if key not in ("name", "sensor_mm", "magnification")}
    (folder / "target.json").write_text(json.dumps(earlier))
    report = measure_session(with_shots(SHEET), workers=1)
    (said,) = [warning.text for warning in report.warnings if warning.code == "unnamed-sheet"]
    # 360 × 240 mm over the coarse lattice's 9 × 7 tiles.
    assert "37.03 mm apart" in said


def test_another_print_s_target_file_is_refused_by_name(session):
    folder, with_shots = session
    write_layout(folder / "target.json", make_layout((36.0, 24.0), 0.2, "coarse", (555.492, 333.295)))
    with pytest.raises(BenchError, match=r"as on the sheet coarse-15x9-18\.516 \(for a sensor of 36 × 24 mm at"):
        measure_session(with_shots(SHEET), workers=1)


def test_a_fault_on_one_shot_is_told_and_takes_no_other_along(session, monkeypatch):
    _, with_shots = session

    def fail(*_):
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr("lensbench.run._read_edges.find_tiles", fail)
    monkeypatch.delenv("LENSBENCH_TRACEBACK")
    report = measure_session(with_shots(EVEN, SHEET), workers=1)
    (said,) = [warning.text for warning in report.warnings if warning.shot == "sheet.dng"]
    assert "sheet.dng: Lensbench failed by a mistake of its own (ZeroDivisionError: float division" in said
    assert "Please report it" in said
    assert [setting.shots for setting in report.settings] == [["even.dng"]]


class _KilledFor:
    """Work during which the process is killed, as where memory ran out."""

    def __init__(self, name, pid):
        self.name, self.pid = name, pid

    def __call__(self, threads):
        if os.getpid() != self.pid and self.name == "killer":
            os.kill(os.getpid(), signal.SIGKILL)
        return Outcome(None, [], [])


def test_a_killed_process_is_that_shot_s_misfortune():
    pieces = [_work._Piece((name,), _KilledFor(name, os.getpid())) for name in ("one", "killer", "two")]
    done = []
    one, killed, two = _work._in_parallel(pieces, done.append, 2)
    assert sorted(done) == ["killer", "one", "two"]
    assert (one.notices, two.notices) == ([], [])
    assert "killer: the process that measured it was killed" in killed.notices[0].text
