"""A report's folder: drawn whole, then put in the place of this session's earlier report and of nothing else."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Sequence
from pathlib import Path

from lensbench.errors import BenchError
from lensbench.files import check_writable
from lensbench.findings import REPORT_FILE, Report, encode_with_files, read_report
from lensbench.reporter.folders import Written, put_in_folder, refuse_the_users_own
from lensbench.reporter.page import page_text
from lensbench.reporter.plots.zone_map import zone_map_png
from lensbench.reporter.tables.csv_files import csv_files
from lensbench.reporter.tile_view import TileView

_LONGEST_NAME = 60
_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}


def folder_name(build_name: str) -> str:
    """A build's name as a folder name that every file system takes.

    Latin letters lose their accents; what is neither letter, digit nor dot becomes a dash.
    """
    plain = re.sub(r"([A-Za-z])[\u0300-\u036f]+", r"\1", unicodedata.normalize("NFKD", build_name))
    plain = unicodedata.normalize("NFC", plain)
    name = re.sub(r"[^\w.]+", "-", plain.lower()).strip("-._")[:_LONGEST_NAME].rstrip("-._")
    if not name or name.split(".")[0] in _RESERVED:
        return f"build-{name}".rstrip("-")
    return name


def check_report_place(parent: str | Path, build_name: str) -> None:
    """Refuse, before any work, a place where no report can or may be written.

    Parameters
    ----------
    parent : path
        The folder of all reports.
    build_name : str
        Names the report's own folder there.

    Raises
    ------
    BenchError
        Where the report's folder is a file, can't be written to, or holds shots, a session file or a target file.
    """
    folder = Path(parent) / folder_name(build_name)
    refuse_the_users_own(folder)
    check_writable(folder, "Choose another place with --out.")


def write_report(
    report: Report, parent: str | Path, replace: bool = False, views: Sequence[TileView] = ()
) -> Written:
    """Write the zone map, page, tables and report.json into ``parent/<build>/``, whole or not at all.

    A report there is replaced where this one holds every shot of it. Otherwise, and where anything there is not as
    the program wrote it, the new report goes beside it, into ``<build>-2`` and so on. What else lies there stays.

    Parameters
    ----------
    report : Report
        What to write.
    parent : path
        The folder of all reports; made where missing.
    replace : bool
        Whether a report of other shots is replaced too.
    views : sequence of TileView
        Pictures of the target's tiles, as `run.measure_with_views` gives them: the page then shows them.

    Returns
    -------
    Written

    Raises
    ------
    BenchError
        Where the folder holds shots, a session file or a target file, or can't be written to.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from lensbench import Report, write_report
    >>> from lensbench.findings import Build, Camera
    >>> report = Report(Build("Porthole"), Camera((6000, 4000)))
    >>> folder, note = write_report(report, tempfile.mkdtemp())
    >>> folder.name, note
    ('porthole', None)
    >>> sorted(path.name for path in folder.iterdir() if path.suffix != ".csv")
    ['report.html', 'report.json', 'zone_map.png']
    """
    contents = _contents(report, views)
    reason_to_keep = functools.partial(_reason_to_keep, report=report, replace=replace)
    return put_in_folder(parent, folder_name(report.build.name), contents, REPORT_FILE, reason_to_keep)


def _contents(report: Report, views: Sequence[TileView]) -> dict[str, bytes]:
    """Every file of a report by name, report.json with the list of all of them."""
    zone_map = zone_map_png(report)
    others = {
        "report.html": page_text(report, zone_map, views).encode(),
        "zone_map.png": zone_map,
        **csv_files(report),
    }
    return {**others, REPORT_FILE: encode_with_files(report, others)}


def _reason_to_keep(folder: Path, report: Report, replace: bool) -> str | None:
    if replace or _holds_every_shot(report, folder):
        return None
    return "holds the report of other shots (--replace would replace it)"


def _holds_every_shot(report: Report, folder: Path) -> bool:
    """Whether a report is of every shot that a folder's report is of."""
    try:
        earlier = {shot.sha256 for shot in read_report(folder / REPORT_FILE).shots}
    except BenchError:
        return False
    return bool(earlier) and earlier <= {shot.sha256 for shot in report.shots}
