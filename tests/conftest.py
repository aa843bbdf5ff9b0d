"""Fixtures that several parts' tests share, and which tests make up the shortened suite."""

import os
from pathlib import Path

# Before numpy is loaded: two processes of tests whose linear algebra takes a thread a core each wait for one
# another most of the time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest

from lensbench.target.layout import make_layout, write_layout
from lensbench.watch import bench_of, look_at
from tests.outside.renderer import OutsideLens, write_outside_session
from tests.watch.bench_shots import FOCAL_MM, write_bench_shots

SMOKE = (
    *("test_library.py", "test_readme.py", "test_shot.py", "test_dng.py", "test_noise.py"),
    *("findings/", "files/", "loaders/test_raw.py", "loaders/test_tiff.py"),
    *("analysers/numerics/test_b_splines.py", "analysers/numerics/test_banded.py"),
    *("analysers/numerics/test_jit.py", "analysers/numerics/test_rank_filters.py"),
    *("analysers/numerics/test_strips.py", "analysers/numerics/test_surfaces.py"),
    *("loaders/test_rendered.py", "loaders/test_session.py", "loaders/test_session_start.py"),
    *("target/test_layout.py", "target/test_printing.py", "reporter/test_write.py", "reporter/test_page.py"),
    *("test_report_schema.py", "cli/test_command_line.py"),
)
"""Tests marked `smoke`: those that call every dependency and every public name, in less than two minutes."""

# An error that nobody foresaw fails a test instead of becoming a sentence.
os.environ["LENSBENCH_TRACEBACK"] = "1"

SIZE = (900, 600)
SENSOR_MM = (36.0, 24.0)


def pytest_collection_modifyitems(items):
    """Mark the shortened suite."""
    here = Path(__file__).parent
    for item in items:
        if item.path.relative_to(here).as_posix().startswith(SMOKE):
            item.add_marker(pytest.mark.smoke)


@pytest.fixture(scope="session")
def outside(tmp_path_factory):
    """A small session by the outside renderer: its folder, the renderer's frame, and the layout's file.

    One target shot and one flat at f/5.6; the coarse lattice, little bending, one stop of falloff.
    """
    folder = tmp_path_factory.mktemp("outside")
    layout = folder.parent / "outside-layout.json"
    write_layout(layout, make_layout(SENSOR_MM, 0.1, "coarse"))
    lens = OutsideLens(
        px_per_mm=SIZE[0] / 360, turn_deg=2.0, bend=(-0.03, 0.0), fringe_px=(1.5, 0.0, -1.0), falloff_stops=1.0
    )
    return folder, write_outside_session(folder, layout, lens, SIZE, SENSOR_MM), layout


@pytest.fixture(scope="session")
def bench_folder(tmp_path_factory):
    """A folder of shots by the simulator that go wrong one way each, a good one, and a flat."""
    folder = tmp_path_factory.mktemp("live") / "shots"
    write_bench_shots(folder)
    return folder


@pytest.fixture(scope="session")
def seen(bench_folder):
    """A look at each of these shots, by the name of its scene."""
    bench = bench_of(bench_folder, focal_mm=FOCAL_MM)
    return {path.stem: look_at(path, bench) for path in sorted(bench_folder.glob("*.dng"))}
