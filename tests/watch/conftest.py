import pytest

from lensbench.watch import bench_of, look_at
from tests.watch.bench_shots import FOCAL_MM, write_bench_shots


@pytest.fixture(scope="session")
def bench_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("live") / "shots"
    write_bench_shots(folder)
    return folder


@pytest.fixture(scope="session")
def seen(bench_folder):
    """A look at every shot, by the name of its scene."""
    bench = bench_of(bench_folder, focal_mm=FOCAL_MM)
    return {path.stem: look_at(path, bench) for path in sorted(bench_folder.glob("*.dng"))}
