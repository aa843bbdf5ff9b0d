"""The folder of builds compared: page, picture, tables and comparison.json, whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from lensbench.findings import Report, encode_with_files
from lensbench.findings.comparison import COMPARISON_FILE, Comparison
from lensbench.reporter.folders import Written, put_in_folder
from lensbench.reporter.page.comparison import comparison_text
from lensbench.reporter.plots.difference_map import comparison_png
from lensbench.reporter.tables.comparison import comparison_csv
from lensbench.reporter.write import folder_name


def write_comparison(comparison: Comparison, reports: Sequence[Report], parent: str | Path) -> Written:
    """Write builds compared into ``parent/compared-<last build>/``, whole or not at all.

    A comparison of the same builds there is replaced; of other builds, or with anything changed in it, it is kept,
    and this one goes beside it.

    Parameters
    ----------
    comparison : Comparison
    reports : sequence of Report
        Those compared, in any order.
    parent : path
        The folder of all reports; made where missing.

    Returns
    -------
    Written

    Raises
    ------
    BenchError
        Where the folder holds shots, a session file or a target file, or can't be written to.
    """
    sizes = [_size_of(change.after.name, change.after.date, reports) for change in comparison.changes]
    others = {
        "comparison.html": comparison_text(comparison, sizes).encode(),
        "comparison.png": comparison_png(list(zip(comparison.changes, sizes, strict=True))),
        **comparison_csv(comparison),
    }
    contents = {**others, COMPARISON_FILE: encode_with_files(comparison, others)}

    def reason_to_keep(folder: Path) -> str | None:
        return None if _builds_in(folder) == comparison.builds else "holds a comparison of other builds"

    base = f"compared-{folder_name(comparison.builds[-1].name)}"
    return put_in_folder(parent, base, contents, COMPARISON_FILE, reason_to_keep)


def _size_of(name: str, date: str, reports: Sequence[Report]) -> tuple[int, int]:
    """The frame of the report of a build."""
    return next(r.camera.size_px for r in reports if (r.build.name, r.build.date) == (name, date))


def _builds_in(folder: Path) -> list | None:
    """The builds that a folder's comparison is of."""
    try:
        return msgspec.json.decode((folder / COMPARISON_FILE).read_bytes(), type=Comparison).builds
    except (OSError, msgspec.DecodeError, UnicodeDecodeError):
        return None
