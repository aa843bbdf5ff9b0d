"""Any picture file to a Shot, by what the file holds, whatever its name ends in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from lensbench.errors import BenchError
from lensbench.formatting import printable
from lensbench.loaders.opening import JPEG, PNG, read_head
from lensbench.loaders.raw import load_raw
from lensbench.loaders.recorded import NOTHING, read_recorded
from lensbench.shot import Shot

RAW_ENDINGS = frozenset(
    (
        *(".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dcr", ".dng", ".erf", ".fff", ".gpr", ".iiq", ".kdc", ".mef"),
        *(".mos", ".mrw", ".nef", ".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".rwl", ".sr2", ".srf", ".srw"),
        ".x3f",
    )
)
"""How raw files end."""

_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
"""How TIFF and BigTIFF begin, and with them most makers' raw files."""

_NO_PICTURE = {
    b"%PDF": "a PDF",
    b"PK\x03\x04": "a ZIP archive or office document",
    b"GIF8": "a GIF",
    b"<svg": "an SVG drawing",
    b"BM": "a BMP picture",
}
"""Beginnings of files that people name by mistake."""


def read_shot(path: str | Path, encoding: str | None = None) -> Shot:
    """Read a shot from a raw file, TIFF, JPEG or PNG.

    Parameters
    ----------
    path : path
        The file.
    encoding : {'linear', 'srgb'}, optional
        How the numbers of a TIFF, JPEG or PNG follow the light, where the session file says; raw is linear.

    Returns
    -------
    Shot
        The samples as stored; the file is only read.

    Raises
    ------
    BenchError
        If the file can't be read or holds no picture that can be measured; the message says why and what to do.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import numpy as np
    >>> from lensbench import Shot, read_shot
    >>> from lensbench.dng import write_dng
    >>> path = Path(tempfile.mkdtemp()) / "w_056.dng"
    >>> write_dng(path, Shot.from_array(np.full((60, 90), 9000), 512, 15871, "RGGB"))
    >>> shot = read_shot(path)
    >>> shot.size, shot.channels, float(shot.white)
    ((90, 60), ('red', 'green', 'blue'), 15871.0)
    """
    shot = _read(Path(path), encoding)
    return shot if shot.name.isprintable() else replace(shot, name=printable(shot.name))


def _read(path: Path, encoding: str | None) -> Shot:
    head = read_head(path)
    # The decoders of developed pictures take longer to load than a raw file; most shots need none.
    if head.startswith((JPEG, PNG)):
        from lensbench.loaders.rendered import load_rendered

        return load_rendered(path, encoding)
    if head.startswith(_TIFF) and not _holds_raw(path, head):
        from lensbench.loaders.tiff import load_tiff

        return load_tiff(path, encoding)
    for start, kind in _NO_PICTURE.items():
        if head.startswith(start):
            raise BenchError(f"{path.name}: is {kind}. Name a raw file, TIFF, JPEG or PNG.")
    if _is_text(head):
        raise BenchError(f"{path.name}: is a text file, not a picture. Name a raw file, TIFF, JPEG or PNG.")
    return load_raw(path)


def _holds_raw(path: Path, head: bytes) -> bool:
    """Whether a file that begins as TIFF holds a sensor's samples."""
    ending = path.suffix.lower()
    recorded = read_recorded(path)
    if recorded is NOTHING:
        return ending in RAW_ENDINGS
    if recorded.is_dng or recorded.raw_page or head[8:10] == b"CR":
        return True
    # Makers hide their mosaics in ways of their own; a DNG never does.
    return ending in RAW_ENDINGS - {".dng"}


def _is_text(head: bytes) -> bool:
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as error:
        # A character may be cut in two where the first bytes end.
        if error.start < len(head) - 4:
            return False
        text = head[: error.start].decode("utf-8")
    return all(c.isprintable() or c.isspace() for c in text)
