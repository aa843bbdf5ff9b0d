"""The report: everything a session showed; read, written and checked here."""

from __future__ import annotations

import inspect
import json
from collections.abc import Mapping
from pathlib import Path

import msgspec

from lensbench.errors import BenchError
from lensbench.figure import Notice
from lensbench.files import WrittenFile, is_as_written, read_whole
from lensbench.findings.build import Build, Camera, Linearity
from lensbench.findings.comparison import COMPARISON_FILE, Comparison
from lensbench.findings.geometry import Geometry
from lensbench.findings.layout import laid_out
from lensbench.findings.renamed import EARLIER_FORMAT, with_present_names
from lensbench.findings.setting import Setting
from lensbench.findings.tables import Tabular
from lensbench.findings.verdict import Repeats, Verdict

FORMAT = "lensbench-report/2"
REPORT_FILE = "report.json"

MOST_BYTES = 500_000_000
"""A report of a hundred shots has some 50 MB."""

_LIST_KEY = b'"files": '
"""What begins the list of the files written with a report; it comes last."""


class ShotDigest(Tabular, msgspec.Struct, frozen=True):
    """What a shot is known by, wherever it lies and whatever it is called: the digest of its samples."""

    file: str
    sha256: str


class Report(Tabular, msgspec.Struct, frozen=True):
    """Everything a session showed. `settings` are in rising f-number.

    `linearity` is None where no two like shots show it. `shots` are all that could be read, those left out too;
    `files` what was written with the report.
    """

    build: Build
    camera: Camera
    warnings: list[Notice] = []
    settings: list[Setting] = []
    geometry: Geometry | None = None
    repeats: list[Repeats] = []
    verdict: Verdict | None = None
    linearity: Linearity | None = None
    format: str = FORMAT
    made_by: str = ""
    session: str = ""
    shots: list[ShotDigest] = []
    files: list[WrittenFile] = []


def encode_report(report: Report | Comparison) -> bytes:
    """The report, or comparison, as JSON with a line for each row of its tables."""
    return laid_out(report)


def encode_with_files(report: Report | Comparison, others: Mapping[str, bytes]) -> bytes:
    """The report as JSON with the list of files written with it: `others`, and the report's own file last.

    A file can't hold its own digest: that of the report is of what comes before the list.
    """
    files = [WrittenFile.of(name, content) for name, content in others.items()]
    head = _before_list(encode_report(report))
    files.append(WrittenFile.of(REPORT_FILE if isinstance(report, Report) else COMPARISON_FILE, head))
    return encode_report(msgspec.structs.replace(report, files=files))


def files_as_written(folder: Path, own_file: str = REPORT_FILE) -> list[WrittenFile] | None:
    """The files that were written with a folder's report, its own included, with the digests of their content.

    Parameters
    ----------
    folder : Path
        Of a report, or of a comparison.
    own_file : str
        The file that lists them: `REPORT_FILE` or `COMPARISON_FILE`.

    Returns
    -------
    list of WrittenFile or None
        None where the report has no such list or is not as it was written: then nothing there is known.
    """
    try:
        content = (folder / own_file).read_bytes()
        files = msgspec.json.decode(content, type=_Listing).files
    except (OSError, msgspec.DecodeError, UnicodeDecodeError):
        return None
    head, own = _before_list(content), WrittenFile.of(own_file, content)
    # Earlier versions indented everything.
    listing = _Listing(files)
    ends = (laid_out(listing), msgspec.json.format(msgspec.json.encode(listing), indent=1))
    if not files or files[-1] != WrittenFile.of(own_file, head):
        return None
    if content not in [head + end[len(b"{\n ") :] for end in ends]:
        return None
    return [*files[:-1], own] if is_as_written(folder, own) else None


class _Listing(msgspec.Struct, frozen=True):
    """The list alone, as reports of any version end with it."""

    files: list[WrittenFile] = []


def _before_list(content: bytes) -> bytes:
    return content[: content.rfind(_LIST_KEY)]


def read_report(path: str | Path) -> Report:
    """Read a report, of this format or the one before it.

    Parameters
    ----------
    path : path
        The ``report.json`` in a report's folder.

    Returns
    -------
    Report

    Raises
    ------
    BenchError
        Where the file is missing, isn't a report, or is one of another format.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from lensbench import Report, read_report
    >>> from lensbench.findings import Build, Camera, encode_report
    >>> report = Report(Build("Porthole"), Camera((6000, 4000)))
    >>> path = Path(tempfile.mkdtemp()) / "report.json"
    >>> _ = path.write_bytes(encode_report(report))
    >>> read_report(path).build.name
    'Porthole'
    """
    path = Path(path)
    content = read_whole(path, MOST_BYTES, "Name a report.json that lensbench wrote.")
    try:
        report = _decoded(content)
    # Too large numbers and too deep brackets come as errors of Python's own; text may be cut within a character.
    except (msgspec.DecodeError, ValueError, OverflowError, RecursionError) as error:
        raise BenchError(
            f"{path}: is no lensbench report ({error}). Name a report.json that lensbench wrote."
        ) from None
    if report.format != FORMAT:
        raise BenchError(
            f"{path}: has the format {report.format!r}; this version reads {FORMAT!r}. Measure again."
        )
    return report


def _decoded(content: bytes) -> Report:
    plain = msgspec.json.decode(content)
    if isinstance(plain, dict) and plain.get("format") == EARLIER_FORMAT:
        plain = {**with_present_names(plain), "format": FORMAT}
    return msgspec.convert(plain, Report)


def report_schema() -> dict:
    """The JSON Schema of report.json (what ships as ``report.schema.json``)."""
    schema: dict = json.loads(json.dumps(msgspec.json.schema(Report)))
    for part in schema["$defs"].values():
        if "description" in part:
            # Docstrings keep their indents in some versions of Python.
            part["description"] = inspect.cleandoc(part["description"])
    return schema
