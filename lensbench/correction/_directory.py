"""TIFF directories as bytes: read with every entry's own type, and written with directories under the first one.

tifffile reads and writes pictures; it neither writes EXIF and GPS directories nor keeps the types of entries
that are carried over from another file.

References
----------
TIFF Revision 6.0 (1992), sections 2 and 8; Exif 2.32, section 4.6.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from fractions import Fraction
from mmap import mmap
from typing import Any, NamedTuple

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL, FLOAT, DOUBLE = 1, 2, 3, 4, 5, 7, 10, 11, 12

_UNITS = {
    1: (1, "B"), 2: (1, "s"), 3: (2, "H"), 4: (4, "I"), 5: (8, "I"), 6: (1, "b"), 7: (1, "B"), 8: (2, "h"),
    9: (4, "i"), 10: (8, "i"), 11: (4, "f"), 12: (8, "d"), 13: (4, "I"),
}  # fmt: skip
"""Bytes a value, and what it is packed as, by the type's number."""

EXIF_DIRECTORY, GPS_DIRECTORY = 34665, 34853
"""Entries that hold where another directory lies."""

_STRIP_OFFSETS, _STRIP_SIZES, _TILE_OFFSETS, _TILE_SIZES, _TILE_WIDTH = 273, 279, 324, 325, 322

_MOST_ENTRIES = 2000
_LARGEST_FRACTION = 10**6


Content = bytes | memoryview | mmap


class Entry(NamedTuple):
    """One entry of a directory: its number, its type's number, and its values packed in little-endian order."""

    code: int
    kind: int
    packed: bytes


def entry(code: int, kind: int, values: Any) -> Entry:
    """An entry of numbers, text or bytes; fractions of real numbers are found for the rational types."""
    if kind == ASCII:
        return Entry(code, kind, str(values).encode("utf-8") + b"\0")
    if isinstance(values, bytes):
        return Entry(code, kind, values)
    values = list(values) if isinstance(values, Sequence) or hasattr(values, "__iter__") else [values]
    if kind in (RATIONAL, SRATIONAL):
        parts = [Fraction(float(value)).limit_denominator(_LARGEST_FRACTION) for value in values]
        values = [number for part in parts for number in (part.numerator, part.denominator)]
    return Entry(code, kind, struct.pack(f"<{len(values)}{_UNITS[kind][1]}", *values))


def values_of(item: Entry) -> tuple[float, ...]:
    """The numbers of an entry; rational ones as quotients."""
    _, letter = _UNITS[item.kind]
    numbers = struct.unpack(f"<{len(item.packed) // struct.calcsize(letter)}{letter}", item.packed)
    if item.kind not in (RATIONAL, SRATIONAL):
        return numbers
    return tuple(a / b if b else float("nan") for a, b in zip(numbers[::2], numbers[1::2], strict=True))


# -- reading --------------------------------------------------------------------------------------------------


def read_directories(content: Content) -> tuple[dict[int, Entry], dict[int, Entry], dict[int, Entry]]:
    """The first directory of a TIFF, its EXIF directory and its GPS directory, by number; empty where missing.

    Raises
    ------
    ValueError
        Where this is no TIFF, or it leads beyond its end.
    """
    order = {b"II": "<", b"MM": ">"}.get(bytes(content[:2]))
    if order is None or len(content) < 8:
        raise ValueError("is no TIFF")
    try:
        (offset,) = struct.unpack_from(order + "I", content, 4)
        first = _directory_at(content, order, offset)
        below = [
            _directory_at(content, order, int(values_of(first[code])[0])) if code in first else {}
            for code in (EXIF_DIRECTORY, GPS_DIRECTORY)
        ]
    except (struct.error, IndexError) as error:
        raise ValueError(f"has a damaged directory ({error})") from None
    return first, below[0], below[1]


def _directory_at(content: Content, order: str, offset: int) -> dict[int, Entry]:
    (count,) = struct.unpack_from(order + "H", content, offset)
    found = {}
    for number in range(min(count, _MOST_ENTRIES)):
        at = offset + 2 + 12 * number
        code, kind, values = struct.unpack_from(order + "HHI", content, at)
        if kind not in _UNITS:
            continue
        size, letter = _UNITS[kind]
        start = at + 8 if size * values <= 4 else struct.unpack_from(order + "I", content, at + 8)[0]
        raw = bytes(content[start : start + size * values])
        if len(raw) == size * values:
            found[code] = Entry(code, kind, _little_endian(raw, letter, order))
    return found


def _little_endian(raw: bytes, letter: str, order: str) -> bytes:
    if order == "<" or letter in "sBb":
        return raw
    count = len(raw) // struct.calcsize(letter)
    return struct.pack(f"<{count}{letter}", *struct.unpack(f">{count}{letter}", raw))


# -- writing --------------------------------------------------------------------------------------------------


def tiff_bytes(
    first: Sequence[Entry], pieces: Sequence[bytes], below: Mapping[int, Sequence[Entry]] | None = None
) -> bytes:
    """A little-endian TIFF of one picture.

    Parameters
    ----------
    first : sequence of Entry
        The first directory, without where its pieces lie and how long they are.
    pieces : sequence of bytes
        The picture's strips, or its tiles where `first` gives a tile's width, as they go into the file.
    below : mapping of int to sequence of Entry, optional
        Directories under the first one, by the entry that points to them (`EXIF_DIRECTORY`, `GPS_DIRECTORY`).
    """
    tiled = any(item.code == _TILE_WIDTH for item in first)
    offsets_code, sizes_code = (_TILE_OFFSETS, _TILE_SIZES) if tiled else (_STRIP_OFFSETS, _STRIP_SIZES)
    directories = {code: list(entries) for code, entries in (below or {}).items() if entries}
    sizes = entry(sizes_code, LONG, [len(piece) for piece in pieces])
    # Where things lie does not change how long a directory is, so it is laid out twice: once to find that.
    places = dict.fromkeys(directories, 0)
    starts = [0] * len(pieces)
    for _ in range(2):
        main = [*first, sizes, entry(offsets_code, LONG, starts)]
        main += [entry(code, LONG, place) for code, place in places.items()]
        parts, at = [struct.pack("<2sHI", b"II", 42, 8)], 8
        parts.append(_directory_bytes(main, at))
        at += len(parts[-1])
        for code, entries in directories.items():
            places[code] = at
            parts.append(_directory_bytes(entries, at))
            at += len(parts[-1])
        for number, piece in enumerate(pieces):
            starts[number] = at
            at += len(piece) + len(piece) % 2
    for piece in pieces:
        parts += [piece, b"\0" * (len(piece) % 2)]
    return b"".join(parts)


def _directory_bytes(entries: Sequence[Entry], at: int) -> bytes:
    """A directory that lies at a place in the file; values too long for their entries stand behind it."""
    ordered = sorted(entries, key=lambda item: item.code)
    head, tail = [struct.pack("<H", len(ordered))], b""
    beyond = at + 2 + 12 * len(ordered) + 4
    for code, kind, packed in ordered:
        count = len(packed) // _UNITS[kind][0]
        if len(packed) <= 4:
            held = packed.ljust(4, b"\0")
        else:
            held = struct.pack("<I", beyond + len(tail))
            tail += packed + b"\0" * (len(packed) % 2)
        head.append(struct.pack("<HHI", code, kind, count) + held)
    return b"".join([*head, struct.pack("<I", 0), tail])
