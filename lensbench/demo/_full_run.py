"""The full demo: two builds simulated, measured, graded and compared, by the calls that anyone has."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from lensbench.demo._full_evening import leaning_bench, leaning_takes, mended_bench, mended_takes
from lensbench.errors import BenchError
from lensbench.findings import Report
from lensbench.findings.comparison import Comparison
from lensbench.loaders import load_session
from lensbench.reporter.write import check_report_place, write_report
from lensbench.reporter.write_comparison import write_comparison
from lensbench.run import Progress, measure_with_views
from lensbench.simulator.session import Bench, Take, write_session
from lensbench.verdicts.comparison import compare_builds

JOBS = 2

EVENINGS = "before", "after"
"""The folders of both evenings' shots, where they are kept."""

FULL_DEMO_S = 150.0
"""About how many seconds both evenings take (measured on two cores of a usual computer)."""


@dataclass(frozen=True, eq=False)
class MeasuredBuild:
    """One build's report and where it lies; `note` says why it is beside an earlier one, if it does."""

    report: Report
    folder: Path
    note: str | None


@dataclass(frozen=True, eq=False)
class FullDemonstration:
    """Both builds, the earlier one first, how they compare, and where that page lies."""

    builds: list[MeasuredBuild]
    comparison: Comparison
    compared: Path


def run_full_demo(
    out: str | Path, keep: str | Path | None = None, progress: Progress | None = None
) -> FullDemonstration:
    """Simulate two evenings with an invented build, measure, grade and compare them.

    Parameters
    ----------
    out : path
        The folder of all reports.
    keep : path, optional
        A new or empty folder to keep the simulated shots in, a folder a build; they are thrown away otherwise.
    progress : callable, optional
        Told of every shot simulated and of every piece of work measured.

    Raises
    ------
    BenchError
        Where the reports can't be written, or `keep` holds anything.
    """
    evenings = [(leaning_bench(), leaning_takes()), (mended_bench(), mended_takes())]
    for bench, _ in evenings:
        check_report_place(out, bench.name)
    if keep is not None:
        if Path(keep).is_dir() and any(Path(keep).iterdir()):
            raise BenchError(f"{keep}: is not empty. Name a new folder for the simulated shots.")
        return _run(Path(keep), evenings, out, progress)
    with tempfile.TemporaryDirectory(prefix="lensbench-demo-") as folder:
        return _run(Path(folder), evenings, out, progress)


def _run(
    folder: Path, evenings: list[tuple[Bench, list[Take]]], out: str | Path, progress: Progress | None
) -> FullDemonstration:
    counted = _Counted(2 * sum(len(takes) for _, takes in evenings), progress)
    builds = []
    for name, (bench, takes) in zip(EVENINGS, evenings, strict=True):
        write_session(folder / name, bench, takes, JOBS, counted.simulated)
        report, views = measure_with_views(load_session(folder / name), counted.measuring(len(takes)))
        builds.append(MeasuredBuild(report, *write_report(report, out, views=views)))
    reports = [build.report for build in builds]
    comparison = compare_builds(reports)
    compared, _ = write_comparison(comparison, reports, out)
    return FullDemonstration(builds, comparison, compared)


class _Counted:
    """Progress through both evenings: a step a shot simulated, and a step a shot measured."""

    def __init__(self, total: int, progress: Progress | None) -> None:
        self._total, self._done = total, 0
        self._tell = progress or (lambda done, total, what: None)

    def simulated(self, name: str) -> None:
        """One more shot is written."""
        self._done += 1
        self._tell(self._done, self._total, f"simulated {name}")

    def measuring(self, shots: int) -> Progress:
        """What to tell of one session's measurement."""
        begun = self._done
        self._done += shots

        def progress(done: int, total: int, what: str) -> None:
            self._tell(begun + shots * done // total, self._total, f"measured {what}".strip())

        return progress
