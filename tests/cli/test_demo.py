"""`lensbench demo`: what it prints of an invented report that agrees with its truth; nothing is simulated here."""

import json

import pytest

from lensbench.demo import _run as demonstration
from tests.cli.command import run
from tests.demo.agreeing import agreeing


@pytest.fixture
def invented(monkeypatch):
    """The demo's session taken from the invented report."""
    report, truths = agreeing()
    monkeypatch.setattr(demonstration, "write_demo", lambda *arguments, **options: truths)
    monkeypatch.setattr(demonstration, "load_session", lambda folder: None)
    monkeypatch.setattr(demonstration, "measure_session", lambda *arguments, **options: report)
    return report


def test_json_has_every_figure_and_its_allowed_error(capsys, invented, tmp_path):
    ran = run(capsys, "demo", "--out", tmp_path, "--json")
    assert ran.code == 0
    shown = json.loads(ran.out)
    assert shown["passed"] is True
    held = next(one for one in shown["statistics"] if "intervals that hold" in one["what"])
    # 494 edges: the standard error of a share of 95 % is √(0.95 · 0.05 / 494) = 0.981 %; twice 1.96 of it.
    assert (held["least"], held["most"]) == pytest.approx((91.156, 98.844), abs=0.001)
    assert {entry["what"].split(",")[0] for entry in shown["beside"]} >= {"magnification", "falloff"}
