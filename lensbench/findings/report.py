"""The report: everything a session showed; read, written and checked here."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec

from lensbench.errors import BenchError
from lensbench.files import written_whole
from lensbench.findings.build import Build, Camera
from lensbench.findings.figure import Notice
from lensbench.findings.geometry import Geometry
from lensbench.findings.setting import Setting
from lensbench.findings.verdict import Repeats, Verdict

FORMAT = "lensbench-report/1"


class Report(msgspec.Struct):
    """Everything a session showed. `settings` stand in rising f-number."""

    build: Build
    camera: Camera
    warnings: list[Notice] = []
    settings: list[Setting] = []
    geometry: Geometry | None = None
    repeats: list[Repeats] = []
    verdict: Verdict | None = None
    format: str = FORMAT
    made_by: str = ""
    session: str = ""


def encode_report(report: Report) -> bytes:
    """The report as indented JSON."""
    return msgspec.json.format(msgspec.json.encode(report), indent=1)


def write_report(report: Report, path: str | Path) -> None:
    """Write a report as JSON, whole or not at all."""
    with written_whole(path) as temporary:
        temporary.write_bytes(encode_report(report))


def read_report(path: str | Path) -> Report:
    """Read a report.

    Raises
    ------
    BenchError
        Where the file is missing, isn't a report, or is one of another format.
    """
    path = Path(path)
    try:
        report = msgspec.json.decode(path.read_bytes(), type=Report)
    except OSError as error:
        raise BenchError(
            f"{path}: can't be read ({error.strerror}). Name a report.json that lensbench wrote."
        ) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise BenchError(
            f"{path}: is no lensbench report ({error}). Name a report.json that lensbench wrote."
        ) from None
    if report.format != FORMAT:
        raise BenchError(
            f"{path}: has the format {report.format!r}; this version reads {FORMAT!r}. Measure again."
        )
    return report


def report_schema() -> dict:
    """The JSON Schema of report.json (what ships as ``report.schema.json``)."""
    return json.loads(json.dumps(msgspec.json.schema(Report)))
