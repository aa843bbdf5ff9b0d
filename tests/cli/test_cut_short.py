"""Runs that are cut short from outside; `tests/bench/faults.py` does it at many more moments, and fills disks."""

import shutil
import signal
import time

import pytest

from tests.bench.faults import Bench, cut_short, no_home, whole


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """A bench, a report of it, and how long that took."""
    bench = Bench(tmp_path_factory.mktemp("faults"))
    began = time.monotonic()
    assert whole(bench) == []
    return bench, time.monotonic() - began


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT], ids=["killed", "interrupted"])
def test_a_run_that_is_cut_short_leaves_everything_whole_and_nobody_behind(measured, how):
    """Shots as they were, a whole report or none, no process left, no traceback; then a run that works."""
    bench, took = measured
    shutil.rmtree(bench.reports)
    for share in (0.2, 0.5, 0.9):
        assert cut_short(bench, how, share * took) == []
    assert whole(bench) == []


def test_nobody_needs_a_home(measured):
    assert no_home(measured[0]) == []
