"""A session on a rail, and a second setup of it, from raw files to the report."""

import json

import jsonschema
import numpy as np
import pytest

from lensbench.findings import encode_report, report_schema
from lensbench.loaders import load_session
from lensbench.run import measure_session
from lensbench.simulator.lens import Colour
from lensbench.simulator.scene import Scene
from lensbench.simulator.session import Bench, write_session
from tests.rail_series import rail_series, remounted
from tests.simulator.benches import even_lens, grey_camera, small_layout

BEYOND_MM = 0.02
"""How far beyond the focus the sensor is in the series; at half life size the target must come 0.08 mm nearer."""


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rail")
    camera = grey_camera((660, 480))
    lens = even_lens(focal_mm=35, open_f_number=4.0, image_radius_mm=2.4, colours={"grey": Colour((0.55,))})
    scene = Scene(magnification=0.5, defocus_mm=BEYOND_MM)
    away = np.linspace(-0.4, 0.24, 5)
    takes = [
        *rail_series("r", 4.0, scene, away, 10 + away),
        remounted("again", 4.0, scene, 2, 0.01)[1],
        remounted("closed", 8.0, scene, 1, 0.0)[0],
    ]
    write_session(folder, Bench("On a rail", (), "", lens, camera, small_layout(camera, 0.5, 0.55)), takes)
    return measure_session(load_session(folder), workers=1)


def test_the_series_is_one_setting(report):
    assert [(s.f_number, s.setup, len(s.shots)) for s in report.settings] == [(4, 1, 5), (4, 2, 1), (8, 1, 1)]
    series, again, _ = report.settings
    assert again.focus is None
    centre = series.focus.centre_rail_mm
    assert centre.low <= 10 - BEYOND_MM / 0.5**2 <= centre.high
    assert series.focus.shot == "r_02.dng"
    assert {edge.shot for edge in series.sharpness.edges} == {"r_02.dng"}


def test_advice_and_warnings(report):
    """± 0.158 mm by the quarter-wave rule at f/4 and 0.5×, 2 λ N_eff² / m²; pixels make it a little more."""
    series, again, closed = report.settings
    assert 0.158 <= series.rail_advice.depth_mm <= 0.25
    assert again.rail_advice.depth_mm == pytest.approx(0.158, rel=0.02)
    assert closed.rail_advice.depth_mm == pytest.approx(4 * 0.158, rel=0.02)
    texts = {notice.code: notice.text for notice in report.warnings}
    assert texts["rail-shot"].startswith("f/4: of 5 shots along the rail, r_02.dng is nearest")
    # Of the single shots, the one with the least depth of field.
    assert texts["focus-unsure"].startswith("f/4, setup 2: at 0.5 × life size the depth of field is ± 0.16 mm")


def test_the_setups_are_held_against_each_other(report):
    (repeats,) = report.repeats
    assert (repeats.f_number, repeats.setups) == (4, [1, 2])
    centre = next(row for row in repeats.figures if (row.what, row.zone) == ("sharpness", "centre"))
    first = next(
        z.mtf50_at_centre_lp_mm.value
        for z in report.settings[0].focus.zones
        if (z.zone, z.direction) == ("centre", "mean")
    )
    second = next(
        z.mtf50_lp_mm.value
        for z in report.settings[1].sharpness.zones
        if (z.zone, z.direction) == ("centre", "mean")
    )
    assert centre.mean.value == pytest.approx((first + second) / 2)
    # Student's t with one degree of freedom, 12.706 (table; memory), times the deviation of two, |a - b| / √2.
    assert centre.smallest_difference == pytest.approx(12.706 * abs(first - second) / np.sqrt(2), rel=1e-3)


def test_the_report_keeps_to_its_schema(report):
    whole = json.loads(encode_report(report))
    for setting in whole["settings"]:
        # jsonschema takes its time.
        setting["sharpness"] = None
        del setting["focus" if setting["focus"] is None else "limits"]
    jsonschema.validate(whole, report_schema())
