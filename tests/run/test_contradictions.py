"""Mistakes of the user's hand in a session: named, with the entry to check, and nothing headlined that hangs on
them."""

import json
import re
import shutil
from dataclasses import replace

import numpy as np
import pytest

from lensbench.dng import write_dng
from lensbench.errors import BenchError
from lensbench.loaders import load_session, read_shot
from lensbench.run import measure_session
from lensbench.shot import Exposure
from lensbench.simulator.lens import Colour
from lensbench.simulator.scene import Scene
from lensbench.simulator.session import Bench, write_session
from tests.rail_series import rail_series
from tests.simulator.benches import even_lens, grey_camera, small_layout

AWAY_MM = np.linspace(-0.4, 0.24, 5)


@pytest.fixture(scope="module")
def on_rail(tmp_path_factory):
    """Five shots at half life size and f/4, along a rail that reads 10 mm and less or more."""
    folder = tmp_path_factory.mktemp("rail")
    camera = grey_camera((660, 480))
    lens = even_lens(focal_mm=35, open_f_number=4.0, image_radius_mm=2.4, colours={"grey": Colour((0.55,))})
    takes = rail_series("r", 4.0, Scene(magnification=0.5, defocus_mm=0.02), AWAY_MM, 10 + AWAY_MM)
    write_session(folder, Bench("On a rail", (), "", lens, camera, small_layout(camera, 0.5, 0.55)), takes)
    return folder


@pytest.fixture
def mended(on_rail, tmp_path):
    """A way to measure the series with other words in its session file."""

    def measure(*changes):
        folder = tmp_path / "bench"
        shutil.copytree(on_rail, folder)
        text = (folder / "session.toml").read_text()
        for pattern, by in changes:
            text, count = re.subn(pattern, by, text)
            assert count
        (folder / "session.toml").write_text(text)
        return measure_session(load_session(folder), workers=1)

    return measure


def texts(report, code):
    return [warning.text for warning in report.warnings if warning.code == code]


def test_what_is_written_down_rightly_is_not_doubted(mended):
    report = mended()
    codes = {warning.code for warning in report.warnings}
    assert not codes & {"too-sharp", "rail-scale", "rail-readings", "rulers", "odd-light", "dark-centre"}
    (setting,) = report.settings
    assert setting.focus is not None
    assert all(zone.achieved_percent for zone in setting.limits.zones)


def test_f_32_for_f_4_is_sharper_than_any_lens(mended):
    report = mended((r"f_number = 4(\.0)?\b", "f_number = 32"))
    (setting,) = report.settings
    (said,) = texts(report, "too-sharp")
    assert "diffraction at f/32" in said
    assert "Check f_number of r_00.dng in session.toml first" in said
    assert report.warnings[0].code in ("too-sharp", "rail-scale")
    assert not any(zone.achieved_percent or zone.best_possible_mtf50 for zone in setting.limits.zones)
    assert setting.limits.missing == ["an f_number that fits the sharpness (see the warnings)"]
    # Nor is an aperture recommended by that number.
    assert report.verdict.aperture == []


def test_rail_readings_ten_times_too_small(mended):
    # ± 0.158 mm is the quarter-wave depth at f/4 and 0.5×, 2 λ N_eff² / m² (Smith, Modern Optical Engineering).
    report = mended((r"rail_mm = ([\d.]+)", lambda m: f"rail_mm = {float(m[1]) / 10:.4f}"))
    (said,) = texts(report, "rail-scale")
    assert "no lens has less than ± 0.16 mm" in said
    assert "check rail_mm (in millimetres)" in said
    assert report.settings[0].focus is None


def test_one_rail_reading_far_off_is_named(mended):
    report = mended((rf"rail_mm = {10 + AWAY_MM[1]:g}\b", "rail_mm = 12.76"))
    (said,) = texts(report, "rail-readings")
    assert "r_01.dng: its rail_mm of 12.76 doesn't fit" in said
    # It was 9.76; sizes tell it to a few hundredths of a millimetre.
    assert abs(float(re.search(r"at about ([\d.]+) mm", said)[1]) - 9.76) < 0.1
    setting = report.settings[0]
    assert setting.geometry.misread_rail == "r_01.dng"
    assert "r_01.dng" not in setting.focus.shots


@pytest.mark.parametrize(
    ("measured", "says"),
    [
        ((27.77, 16.66), "They look like centimetres"),
        ((10.93, 6.56), "They look like inches"),
        ((166.6, 277.7), "They look swapped"),
        ((277.7, 186.6), "The one that runs up looks misread"),
        ((297.7, 166.6), "The one that runs across looks misread"),
    ],
)
def test_rulers_that_no_printer_makes(session, measured, says):
    _, write = session
    # The bars of the outside session are drawn 555.5 and 333.3 mm long.
    load = write([{"file": "sheet.dng", "shows": "target"}], rulers=[2 * measured[0], 2 * measured[1]])
    with pytest.raises(BenchError, match=rf"session\.toml, line \d+: rulers_measured_mm = .*{says}"):
        measure_session(load(), workers=1)


@pytest.fixture
def session(outside, tmp_path):
    """A copy of the outside session, and a way to write its file anew."""
    folder = tmp_path / "bench"
    shutil.copytree(outside[0], folder)
    head = (folder / "session.toml").read_text().split("[[shot]]")[0]

    def write(shots, rulers=None):
        said = (
            head if rulers is None else re.sub(r"rulers_measured_mm = .*", f"rulers_measured_mm = {rulers}", head)
        )
        tables = ["[[shot]]\n" + "\n".join(f"{k} = {json.dumps(v)}" for k, v in shot.items()) for shot in shots]
        (folder / "session.toml").write_text(said + "\n".join(tables) + "\n")
        return lambda: load_session(folder)

    return folder, write


def test_one_ruler_misread_by_a_little_is_said(session):
    _, write = session
    load = write([{"file": "sheet.dng", "shows": "target", "f_number": 5.6}], rulers=[555.5, 343.3])
    report = measure_session(load(), workers=1)
    (said,) = texts(report, "rulers")
    assert "rulers_measured_mm" in said
    assert report.settings[0].magnification is None


def test_the_same_picture_twice_in_one_setting_counts_once(session):
    folder, write = session
    shutil.copy(folder / "even.dng", folder / "repeat.dng")
    shots = [{"file": name, "shows": "flat", "f_number": 5.6} for name in ("even.dng", "repeat.dng")]
    report = measure_session(write(shots)(), workers=1)
    (said,) = texts(report, "left-out")
    assert said.startswith("repeat.dng: holds the same picture as even.dng, to the last sample")
    assert report.settings[0].shots == ["even.dng"]


def test_the_same_picture_as_two_apertures_is_neither(session):
    folder, write = session
    even = read_shot(folder / "even.dng")
    # Another program wrote it again with another f-number: other bytes, the same samples.
    write_dng(folder / "closed.dng", replace(even, exposure=replace(even.exposure, f_number=16.0)))
    shots = [
        {"file": "even.dng", "shows": "flat", "f_number": 5.6},
        {"file": "closed.dng", "shows": "flat", "f_number": 16},
        {"file": "sheet.dng", "shows": "target", "f_number": 5.6},
    ]
    report = measure_session(write(shots)(), workers=1)
    said = texts(report, "left-out")
    assert len(said) == 2
    assert "even.dng (flat, f/5.6) and closed.dng (flat, f/16) hold the same picture" in said[0]
    assert [setting.shots for setting in report.settings] == [["sheet.dng"]]


def test_the_same_target_as_two_setups_is_no_repeat(session):
    folder, write = session
    shutil.copy(folder / "sheet.dng", folder / "again.dng")
    shots = [
        {"file": "even.dng", "shows": "flat", "f_number": 5.6},
        {"file": "sheet.dng", "shows": "target", "f_number": 5.6},
        {"file": "again.dng", "shows": "target", "f_number": 5.6, "setup": 2},
    ]
    report = measure_session(write(shots)(), workers=1)
    assert len(texts(report, "left-out")) == 2
    assert report.repeats == []
    assert [setting.shots for setting in report.settings] == [["even.dng"]]


def lit(folder, name, light, **exposure):
    """A shot of even light, brighter by a factor than the outside session's, its noise its own."""
    even = read_shot(folder / "even.dng")
    rng = np.random.default_rng(len(name) + int(1000 * np.max(light)))
    samples = np.clip(512 + light * (even.samples - 512.0) + rng.normal(0, 3, even.samples.shape), 0, 65535)
    write_dng(folder / name, replace(even, samples=samples.astype(np.uint16), exposure=Exposure(**exposure)))


def test_light_that_contradicts_the_f_numbers(session):
    """By the square of the f-number: f/5.6 to f/11 are two stops, a quarter of the light in the same time."""
    folder, write = session
    lit(folder, "a.dng", 1.0, shutter_s=1 / 16, iso=100.0)
    lit(folder, "b.dng", 1.02, shutter_s=1 / 8, iso=100.0)
    lit(folder, "c.dng", 0.5, shutter_s=1 / 8, iso=100.0)
    lit(folder, "d.dng", 0.97, shutter_s=1 / 4, iso=200.0)
    right = [("a.dng", 5.6), ("b.dng", 8), ("c.dng", 11), ("d.dng", 16)]
    shots = [{"file": name, "shows": "flat", "f_number": f} for name, f in right]
    assert texts(measure_session(write(shots)(), workers=1), "odd-light") == []
    shots[0]["f_number"] = 22
    (said,) = texts(measure_session(write(shots)(), workers=1), "odd-light")
    assert said.startswith("a.dng: is 3.9 stops brighter than f/22, 0.0625 s and ISO 100 make it")
    assert "speaks for about f/5.6. Check its f_number in session.toml" in said
    # With two apertures either may be the wrong one.
    (said,) = texts(measure_session(write(shots[:2])(), workers=1), "odd-light")
    assert "Check both f_numbers" in said


def test_a_centre_darker_than_the_corners(session):
    folder, write = session
    height, width = read_shot(folder / "even.dng").samples.shape
    y, x = np.mgrid[0:height, 0:width]
    h = np.hypot(x - width / 2, y - height / 2) / np.hypot(width / 2, height / 2)
    # The outside session's flat falls off by a stop, 2^-h²; this lamp rises by one and a half.
    lit(folder, "ring.dng", 0.6 * 2 ** (1.5 * h**2))
    report = measure_session(write([{"file": "ring.dng", "shows": "flat", "f_number": 5.6}])(), workers=1)
    (said,) = texts(report, "dark-centre")
    assert "check shows and file of ring.dng" in said
    assert report.settings[0].falloff is None
