"""LibRaw's part of reading a raw file, as plain numbers and arrays.

Run as a program it serves one file after the other, in a process that may die: LibRaw can crash on broken files.
It imports little, so that it is ready before it is needed.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
from collections.abc import Iterator
from typing import Any, BinaryIO

import numpy as np
import rawpy
from numpy.typing import NDArray

from lensbench.loaders._unpacked import FLAT, OTHER, STACK, Facts, Unpacked, UnpackError

_REPEAT = 48
"""A multiple of every mosaic's repeat that LibRaw knows (2, 6, 8 and 16)."""


@contextlib.contextmanager
def unpacked(path: str) -> Iterator[Unpacked]:
    """Open and unpack a raw file; the arrays are LibRaw's and go when it is closed.

    Raises
    ------
    UnpackError
        Where LibRaw objects to it.
    """
    with rawpy.RawPy() as raw:
        try:
            raw.open_file(path)
            raw.unpack()
        except (rawpy.LibRawFileUnsupportedError, rawpy.LibRawNotImplementedError) as error:
            raise UnpackError("unsupported", _reason(error)) from None
        except (rawpy.LibRawError, MemoryError) as error:
            raise UnpackError("damaged", _reason(error)) from None
        yield _as_plain(raw)


def _reason(error: Exception) -> str:
    """LibRaw's own words, which come as bytes."""
    said = error.args[0] if error.args else "no reason given"
    said = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
    return said[:1].lower() + said[1:]


def _as_plain(raw: rawpy.RawPy) -> Unpacked:
    kind = {rawpy.RawType.Flat: FLAT, rawpy.RawType.Stack: STACK}.get(raw.raw_type, OTHER)
    visible = raw.raw_image_visible if kind != OTHER else None
    sizes, other = raw.sizes, raw.other
    taken = other.timestamp
    facts = Facts(
        kind=kind if visible is not None else OTHER,
        raw_width=sizes.raw_width,
        raw_height=sizes.raw_height,
        width=sizes.width,
        height=sizes.height,
        top_margin=sizes.top_margin,
        left_margin=sizes.left_margin,
        flip=sizes.flip,
        pixel_aspect=float(sizes.pixel_aspect),
        num_colors=int(raw.num_colors),
        letters=raw.color_desc.decode("ascii", "replace"),
        black=[float(level) for level in raw.black_level_per_channel],
        white=float(raw.white_level),
        whites=[float(level) for level in raw.camera_white_level_per_channel or []],
        shutter_s=_number(other.shutter_speed),
        iso=_number(other.iso_speed),
        f_number=_number(other.aperture),
        focal_mm=_number(other.focal_length),
        # The first year of the epoch is what LibRaw gives where there is no date.
        taken=taken.strftime("%Y-%m-%d %H:%M:%S") if taken and taken.year > 1970 else None,
        # What a corrected copy carries on of the camera's colours and the lens.
        as_shot=[float(factor) for factor in raw.camera_whitebalance],
        daylight=[float(factor) for factor in raw.daylight_whitebalance],
        xyz_to_camera=np.array(raw.rgb_xyz_matrix, dtype=float)[:3].tolist(),
        lens=[_words(getattr(raw.lens, name, None)) for name in ("make", "model")],
    )
    if visible is None:
        return Unpacked(facts, None, None)
    if kind == STACK:
        return Unpacked(facts, visible[:, :, : raw.num_colors], None)
    return Unpacked(facts, visible, _repeat(raw) if raw.num_colors > 1 else np.zeros((1, 1), np.uint8))


def _number(value: Any) -> float | None:
    """A number above zero, or None."""
    return float(value) if value is not None and 0 < float(value) < float("inf") else None


def _words(value: Any) -> str:
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value or "")


def _repeat(raw: rawpy.RawPy) -> NDArray[np.uint8]:
    rows = range(raw.sizes.top_margin, raw.sizes.top_margin + _REPEAT)
    columns = range(raw.sizes.left_margin, raw.sizes.left_margin + _REPEAT)
    return np.array([[raw.raw_color(row, column) for column in columns] for row in rows], dtype=np.uint8)


# -- the process ----------------------------------------------------------------------------------------------

LENGTH_BYTES = 4
"""The lengths that go before a path and before a head of an answer."""

LEAST_CPU_S, CPU_S_A_BYTE, MOST_CPU_S = 2.0, 5e-8, 9.0
"""Processor time that a file may take by its size; the slowest compression takes some 20 ns a byte."""

MOST_MEMORY = 2 * 2**30
"""Memory that a file may take."""

_BLOCK_ROWS = 64


def main() -> None:
    """Serve paths from the standard input until it ends."""
    # The terminal's interrupt is for whoever asked, who ends this process by closing its input.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    serve(sys.stdin.buffer, sys.stdout.buffer)


def serve(asked: BinaryIO, answers: BinaryIO) -> None:
    """Unpack one file after the other, with a limit to memory and time, until no more are asked for."""
    _limit_memory()
    while True:
        length = asked.read(LENGTH_BYTES)
        if len(length) < LENGTH_BYTES:
            return
        path = os.fsdecode(asked.read(int.from_bytes(length, "big")))
        _limit_time(_time_for(path))
        try:
            with unpacked(path) as found:
                _answer(answers, found)
        except UnpackError as error:
            _write_head(answers, {"error": error.kind, "why": error.why})
        except MemoryError:
            _write_head(answers, {"error": "damaged", "why": "it asks for more memory than any picture takes"})
        answers.flush()
        _limit_time(0)


def _limit_memory() -> None:
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource

        resource.setrlimit(resource.RLIMIT_DATA, (MOST_MEMORY, MOST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _time_for(path: str) -> float:
    size = os.stat(path).st_size if os.path.isfile(path) else 0
    return min(LEAST_CPU_S + CPU_S_A_BYTE * size, MOST_CPU_S)


def _limit_time(seconds: float) -> None:
    """Be ended after so much processor time; 0 for no end."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_VIRTUAL, seconds)


def _answer(answers: BinaryIO, found: Unpacked) -> None:
    head: dict[str, Any] = {"facts": found.facts}
    if found.samples is not None:
        head |= {"shape": found.samples.shape, "dtype": found.samples.dtype.str}
    if found.repeat is not None:
        head["repeat"] = found.repeat.tolist()
    _write_head(answers, head)
    if found.samples is not None:
        rows = range(0, found.samples.shape[0], _BLOCK_ROWS)
        answers.writelines(np.ascontiguousarray(found.samples[row : row + _BLOCK_ROWS]).data for row in rows)


def _write_head(answers: BinaryIO, head: dict[str, Any]) -> None:
    words = json.dumps(head).encode()
    answers.write(len(words).to_bytes(LENGTH_BYTES, "big") + words)


if __name__ == "__main__":
    main()
