"""Reports of the earlier format are still read."""

import json

import pytest

from lensbench.errors import BenchError
from lensbench.findings import LightPanel, PanelPosition, encode_report, read_report
from lensbench.findings.renamed import RENAMED, RENAMED_LISTS
from tests.findings.alter import alter
from tests.reporter.invented import invented_report


def as_earlier(value):
    """Plain data of a report as the earlier format had it."""
    old = {new: name for name, new in RENAMED.items()}
    old_lists = old | {new: name for name, new in RENAMED_LISTS.items()}
    if isinstance(value, dict):
        value = as_earlier_edge(value) if "reason" in value else value
        return {
            (old_lists if isinstance(part, list) else old).get(key, key): as_earlier(part)
            for key, part in value.items()
        }
    return [as_earlier(part) for part in value] if isinstance(value, list) else value


def as_earlier_edge(edge):
    """The reason and the percent that goes with it were one text."""
    percent = edge["deviation_percent"]
    before = "" if percent is None else f"{abs(percent)} % "
    others = {key: part for key, part in edge.items() if key not in ("reason", "deviation_percent")}
    return {**others, "why": f"{before}{edge['reason']}"}


def test_an_earlier_report_reads_like_one_of_today(tmp_path):
    report = invented_report((2.8, 5.6), (300, 200))
    alter(report.settings[0].falloff, panel=LightPanel([PanelPosition(1, 0.0, None)], removed=True))
    earlier = as_earlier(json.loads(encode_report(report))) | {"format": "lensbench-report/1"}
    text = json.dumps(earlier)
    assert "bright_spot" in text, "a key that has another name now"
    assert '"places": [{' in text, "a list that has another name now"
    (tmp_path / "report.json").write_text(json.dumps(earlier))
    assert read_report(tmp_path / "report.json") == report


def test_a_rise_without_an_interval_gets_the_one_that_was_promised(tmp_path):
    """Earlier reports said that it is relatively up to twice as uncertain as MTF50."""
    earlier = as_earlier(json.loads(encode_report(invented_report((2.8,), (300, 200)))))
    edge = earlier["settings"][0]["sharpness"]["edges"][0]
    edge["mtf50"] = {"value": 0.2, "low": 0.19, "high": 0.21, "unit": "cy/px"}
    edge["rise_px"] = 3.0
    (tmp_path / "report.json").write_text(json.dumps(earlier | {"format": "lensbench-report/1"}))
    rise = read_report(tmp_path / "report.json").settings[0].sharpness.edges[0].rise_px
    assert (rise.value, rise.low, rise.high) == pytest.approx((3.0, 2.7, 3.3))


def test_a_later_report_is_refused_by_its_format(tmp_path):
    (tmp_path / "report.json").write_text(
        '{"build": {"name": "x"}, "camera": {"size_px": [3, 2]}, "format": "lensbench-report/9"}'
    )
    with pytest.raises(BenchError, match="lensbench-report/9"):
        read_report(tmp_path / "report.json")
