"""The JSON Schema that ships, and reports held against it by the reference library jsonschema.

After a change to the findings, write it anew: python -m tests.test_report_schema
"""

import json
from pathlib import Path

import jsonschema
import pytest

import lensbench
from lensbench.findings import encode_report, report_schema
from tests.reporter.invented import invented_report

SHIPPED = Path(lensbench.__file__).parent / "report.schema.json"


def test_the_schema_that_ships_is_that_of_the_findings():
    assert json.loads(SHIPPED.read_text()) == report_schema(), __doc__


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(report_schema())


def short_report(*f_numbers):
    """An invented report with a few edges and tiles only, since jsonschema takes its time."""
    report = invented_report(f_numbers, (300, 200))
    for setting in report.settings:
        del setting.sharpness.edges[20:], setting.sharpness.zones[9:], setting.fringing.tiles[20:]
    return json.loads(encode_report(report))


@pytest.mark.parametrize("f_numbers", [(), (2.8,), (2.8, 5.6, 11)])
def test_a_report_passes(f_numbers):
    report = short_report(*f_numbers)
    jsonschema.validate(report, json.loads(SHIPPED.read_text()))


@pytest.mark.parametrize(
    "damage",
    [
        lambda report: report.pop("build"),
        lambda report: report["settings"][0].update(f_number="wide open"),
        lambda report: report["settings"][0]["sharpness"]["zones"][0]["mtf50"].pop("low"),
        lambda report: report["camera"].update(size_px=[300]),
        lambda report: report["warnings"].append({"code": "x"}),
    ],
)
def test_a_damaged_report_does_not(damage):
    report = short_report(2.8)
    damage(report)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(report, json.loads(SHIPPED.read_text()))


def test_the_keys_of_the_format_stay():
    """The format's own list of keys: programs of others read them."""
    report = short_report(2.8)
    assert report["format"] == "lensbench-report/2"
    setting = report["settings"][0]
    kept = {
        "": (report, "build camera warnings settings geometry verdict"),
        "camera": (report["camera"], "sensor_mm size_px pixel_pitch_um"),
        "warning": (report["warnings"][0], "code shot text"),
        "setting": (setting, "f_number aperture lens_turn_deg setup shots magnification"),
        "edge": (
            setting["sharpness"]["edges"][0],
            "column row leg direction channel x y h angle_deg mtf50 used reason",
        ),
        "zone": (setting["sharpness"]["zones"][0], "zone channel direction mtf50 mtf50_lp_mm edges"),
        "tile": (setting["fringing"]["tiles"][0], "column row x y h red blue"),
        "red": (setting["fringing"]["tiles"][0]["red"], "dx dy radial_px around_px"),
        "fringing zone": (setting["fringing"]["zones"][0], "zone channel radial_px around_px"),
        "falloff": (setting["falloff"], "zones grid centre_px covers_frame"),
        "grid": (setting["falloff"]["grid"], "x y stops"),
        "mark": (
            setting["dust"]["marks"][0],
            "x y kind width_px length_px depth_percent signal_to_noise zone",
        ),
        "geometry": (
            report["geometry"],
            "magnification distortion_percent target_turn_deg target_tilt_deg field_of_view_deg",
        ),
        "figure": (setting["magnification"], "value low high unit"),
    }
    for what, (found, keys) in kept.items():
        assert set(keys.split()) <= set(found), what


if __name__ == "__main__":
    SHIPPED.write_text(json.dumps(report_schema(), indent=1, ensure_ascii=False) + "\n")
