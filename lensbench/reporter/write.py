"""A report's folder: written whole beside its place, then put there in one step."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Iterator
from pathlib import Path

from lensbench.errors import BenchError
from lensbench.findings import Report, read_report, write_report
from lensbench.reporter.page import write_page
from lensbench.reporter.tables import write_tables
from lensbench.reporter.zone_map import write_zone_map

REPORT = "report.json"
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


def write_report_folder(report: Report, parent: str | Path, replace: bool = False) -> Path:
    """Write the zone map, page, tables and report.json into ``parent/<build>/``, whole or not at all.

    Parameters
    ----------
    report : Report
        What to write.
    parent : path
        The folder of all reports; made where missing.
    replace : bool
        Whether a report of another session may be replaced. The same session's is replaced always.

    Returns
    -------
    Path
        The folder written.

    Raises
    ------
    BenchError
        Where the folder holds something else than this session's report, or can't be written.
    """
    folder = Path(parent) / folder_name(report.build.name)
    try:
        _check_replaceable(folder, report, replace)
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _folder_written_whole(folder) as temporary:
            write_report(report, temporary / REPORT)
            write_tables(report, temporary)
            write_zone_map(report, temporary / "zone_map.png")
            write_page(report, temporary / "report.html", temporary / "zone_map.png")
    except OSError as error:
        raise BenchError(
            f"{folder}: the report can't be written ({error.strerror}). Choose another place with --out."
        ) from error
    return folder


def _check_replaceable(folder: Path, report: Report, replace: bool) -> None:
    """Refuse to touch what isn't this session's own earlier report."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise BenchError(f"{folder}: is a file, where the report's folder should go. Move it, or choose --out.")
    if not any(folder.iterdir()):
        return
    if not (folder / REPORT).exists():
        raise BenchError(f"{folder}: holds files that are no report. Choose another place with --out.")
    if replace:
        return
    try:
        earlier = read_report(folder / REPORT).session
    except BenchError:
        raise BenchError(
            f"{folder}: holds a report that this version can't read. Add --replace to replace it."
        ) from None
    if earlier != report.session:
        raise BenchError(
            f"{folder}: holds the report of another session ({earlier or 'not named'}). "
            "Give this build another name in session.toml, or add --replace to replace that report."
        )


@contextlib.contextmanager
def _folder_written_whole(folder: Path) -> Iterator[Path]:
    """Give a temporary folder beside `folder`, and put it in its place only if all went well."""
    temporary = Path(tempfile.mkdtemp(prefix=".writing-", dir=folder.parent))
    aside = temporary.with_name(temporary.name.replace(".writing-", ".replaced-"))
    try:
        yield temporary
        umask = os.umask(0)
        os.umask(umask)
        temporary.chmod(0o777 & ~umask)
        if folder.exists():
            os.replace(folder, aside)
        try:
            os.replace(temporary, folder)
        except OSError:
            if aside.exists():
                os.replace(aside, folder)
            raise
    finally:
        shutil.rmtree(temporary, ignore_errors=True)
        shutil.rmtree(aside, ignore_errors=True)
