"""What a corrected copy says of itself, and how it is known to be one that nobody has changed since."""

from __future__ import annotations

import hashlib
from pathlib import Path

import msgspec

from lensbench.correction._directory import Content, read_directories

FORMAT = "lensbench-correction/1"

DESCRIPTION = 270
"""ImageDescription, where the record stands."""

_UNSEALED = "0" * 64
_MARK = b'"sha256":"'


class Record(msgspec.Struct):
    """What was done to a picture; `sha256` is the digest of the whole file with zeros in its place."""

    done: list[str]
    caveats: list[str]
    report: str
    report_sha256: str
    original: str
    original_sha256: str
    f_number: float | None = None
    aperture: str | None = None
    magnification: float | None = None
    exposure_stops: float = 0.0
    made_by: str = ""
    format: str = FORMAT
    sha256: str = _UNSEALED


def sealed(content: bytes) -> bytes:
    """A file's content with the digest put into its record."""
    at = content.index(_MARK + _UNSEALED.encode()) + len(_MARK)
    digest = hashlib.sha256(content).hexdigest().encode()
    return content[:at] + digest + content[at + len(digest) :]


def record_of(content: Content) -> Record | None:
    """The record in a file's content; None where there is none."""
    try:
        first, _, _ = read_directories(content)
        return msgspec.json.decode(first[DESCRIPTION].packed.rstrip(b"\0"), type=Record)
    except (ValueError, KeyError, msgspec.DecodeError):
        return None


def is_corrected_copy(path: Path) -> bool:
    """Whether a file carries the record of a correction, changed since or not."""
    try:
        record = record_of(path.read_bytes()) if path.is_file() else None
    except OSError:
        return False
    return record is not None and record.format == FORMAT


def is_as_written(path: Path) -> bool:
    """Whether a file is a corrected copy, and byte for byte as this program wrote it."""
    try:
        if path.is_symlink() or not path.is_file():
            return False
        content = path.read_bytes()
    except OSError:
        return False
    record = record_of(content)
    if record is None or record.format != FORMAT or len(record.sha256) != len(_UNSEALED):
        return False
    at = content.find(_MARK + record.sha256.encode()) + len(_MARK)
    unsealed = content[:at] + _UNSEALED.encode() + content[at + len(_UNSEALED) :]
    return hashlib.sha256(unsealed).hexdigest() == record.sha256
