"""`lensbench demo`: what it prints of an invented report that agrees with its truth; nothing is simulated here."""

import json
import re

import pytest

from lensbench.demo import _run as demonstration
from lensbench.findings import Figure
from lensbench.run import Measured
from tests.cli.command import run
from tests.demo.agreeing import agreeing
from tests.findings.alter import alter


@pytest.fixture
def invented(monkeypatch):
    """The demo's session taken from the invented report."""
    report, truths = agreeing()
    monkeypatch.setattr(demonstration, "write_demo", lambda *arguments, **options: truths)
    monkeypatch.setattr(demonstration, "load_session", lambda folder: None)
    monkeypatch.setattr(demonstration, "measure_with_views", lambda *arguments, **options: Measured(report, []))
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


def test_answers_stand_at_the_end_and_the_truth_where_asked(capsys, invented, tmp_path):
    ran = run(capsys, "demo", "--out", tmp_path)
    assert ran.code == 0
    assert "Which aperture" in ran.out
    assert "comparisons with the truth are within their allowed error: see --truth." in ran.out
    assert "in its interval" not in ran.out
    shown = run(capsys, "demo", "--out", tmp_path, "--truth").out
    assert "interval" in shown
    assert "allowed" in shown
    for printed in (ran.out, shown):
        assert max(map(len, printed.split("\nNow open")[0].split("\n"))) <= 80


def test_a_figure_beyond_its_allowed_error_is_code_1_and_counted(capsys, invented, tmp_path):
    for edge in invented.settings[0].sharpness.edges:
        if edge.channel == "green":
            alter(edge, mtf50=Figure.of(edge.mtf50.value * 1.01, edge.mtf50.half_width, "cy/px"))
    ran = run(capsys, "demo", "--out", tmp_path)
    assert ran.code == 1
    assert re.search(r"2 of \d+ comparisons with the truth are beyond", ran.out)
    assert run(capsys, "demo", "--out", tmp_path, "--quiet").code == 1
