"""The demo: an invented build simulated, measured like any other, and compared with the truth."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from lensbench.demo._beside_truth import compare
from lensbench.demo._build import demo_bench, demo_takes, write_demo
from lensbench.demo._statistics import Beside, Statistic
from lensbench.findings import Report
from lensbench.loaders.session import load_session
from lensbench.reporter.write import check_report_place, write_report
from lensbench.run import Progress, measure_with_views


@dataclass(frozen=True, eq=False)
class Demonstration:
    """What the demo measured, where its report is, and how it compares with the truth.

    `note` says why the report is beside an earlier one, if it does.
    """

    report: Report
    folder: Path
    note: str | None
    beside: list[Beside]
    statistics: list[Statistic]

    @property
    def passed(self) -> bool:
        """Whether every statistic is within its allowed error."""
        return not self.missed

    @property
    def missed(self) -> list[Statistic]:
        """The statistics that are not within their allowed error."""
        return [one for one in self.statistics if not one.within]


def run_demo(out: str | Path, keep: str | Path | None = None, progress: Progress | None = None) -> Demonstration:
    """Simulate the invented build's session, measure it and write its report.

    Parameters
    ----------
    out : path
        The folder of all reports.
    keep : path, optional
        A new or empty folder to keep the simulated shots in; they are thrown away otherwise.
    progress : callable, optional
        Told of every shot simulated and of every piece of work measured.
    """
    check_report_place(out, demo_bench().name)
    if keep is not None:
        return _run(Path(keep), out, progress)
    with tempfile.TemporaryDirectory(prefix="lensbench-demo-") as folder:
        return _run(Path(folder), out, progress)


SIMULATED_S, MEASURED_S, REST_S = 5.0, {"t": 3.5, "w": 1.5}, 10.0
"""What a shot takes to be simulated and, by the first letter of its name, measured; and the report (measured on
two cores of a usual computer; put right as the work goes on)."""


def expected_s() -> dict[str, float]:
    """About how many seconds each piece of the demo takes, by the name that `run_demo` tells when it is done."""
    files = [take.file for take in demo_takes()]
    simulated = {f"simulated {file}": SIMULATED_S for file in files}
    return simulated | {f"measured {file}": MEASURED_S[file[0]] for file in files} | {"the report": REST_S}


def _run(folder: Path, out: str | Path, progress: Progress | None) -> Demonstration:
    progress = progress or (lambda done, total, what: None)
    shots = len(demo_takes())
    taken: list[str] = []

    def simulated(name: str) -> None:
        taken.append(name)
        progress(len(taken), 2 * shots, f"simulated {name}")

    progress(0, 2 * shots, "")
    truths = write_demo(folder, progress=simulated)
    report, views = measure_with_views(
        load_session(folder),
        lambda done, total, what: progress(shots + shots * done // total, 2 * shots, f"measured {what}".strip()),
    )
    return Demonstration(report, *write_report(report, out, views=views), *compare(report, truths))
