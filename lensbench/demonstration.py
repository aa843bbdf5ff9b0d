"""The demo: an invented build simulated, measured like any other, and held against what is true of it."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import msgspec

from lensbench.comparing_truth import Bar, Beside, compare
from lensbench.findings import Report
from lensbench.loaders.session import load_session
from lensbench.pipeline import Progress, measure_session
from lensbench.reporter.write import write_report_folder
from lensbench.simulator.demo import demo_takes, write_demo

SESSION = "lensbench-demo"
"""What the demo's reports are known by, wherever its shots lay."""


@dataclass(frozen=True, eq=False)
class Demonstration:
    """What the demo measured, where its report lies, and how it compares with the truth."""

    report: Report
    folder: Path
    beside: list[Beside]
    bars: list[Bar]

    @property
    def passed(self) -> bool:
        """Whether every bar is reached."""
        return all(bar.reached for bar in self.bars)


def run_demo(out: str | Path, keep: str | Path | None = None, progress: Progress | None = None) -> Demonstration:
    """Simulate the invented build's session, measure it and write its report.

    Parameters
    ----------
    out : path
        The folder of all reports.
    keep : path, optional
        Where to keep the simulated shots; they are thrown away otherwise.
    progress : callable, optional
        Told of every shot simulated and of every piece of work measured.
    """
    if keep is not None:
        return _run(Path(keep), out, progress)
    with tempfile.TemporaryDirectory(prefix="lensbench-demo-") as folder:
        return _run(Path(folder), out, progress)


def _run(folder: Path, out: str | Path, progress: Progress | None) -> Demonstration:
    progress = progress or (lambda done, total, what: None)
    shots = len(demo_takes())
    taken: list[str] = []

    def simulated(name: str) -> None:
        taken.append(name)
        progress(len(taken), 2 * shots, f"simulated {name}")

    progress(0, 2 * shots, "")
    truths = write_demo(folder, progress=simulated)
    report = measure_session(
        load_session(folder),
        lambda done, total, what: progress(shots + shots * done // total, 2 * shots, f"measured {what}".strip()),
    )
    report = msgspec.structs.replace(report, session=SESSION)
    return Demonstration(report, write_report_folder(report, out), *compare(report, truths))
