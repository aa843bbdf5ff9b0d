"""The process that unpacks raw files, so that LibRaw's crash on a broken file is that file's and nobody else's."""

from __future__ import annotations

import atexit
import contextlib
import json
import os
import signal
import subprocess
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lensbench.errors import BenchError
from lensbench.loaders._decoder_process import DecoderProcess, start_process

if TYPE_CHECKING:
    from numpy.typing import NDArray

_LENGTH_BYTES = 4


class DecoderDied(Exception):
    """The process ended while it unpacked a file; the reason in a few words."""


class Decoder:
    """A process that unpacks one raw file after the other, started anew when it has died."""

    def __init__(self) -> None:
        self._process: DecoderProcess | None = None
        self._lock = threading.Lock()
        self._owner = 0

    def start(self) -> None:
        """Start the process, if it doesn't run: it loads its libraries while the caller loads theirs."""
        with self._lock:
            self._started()

    def unpack(self, path: Path) -> tuple[dict[str, Any], NDArray | None]:
        """The head of the answer for a file, and its samples.

        Raises
        ------
        DecoderDied
            Where the process crashed, or was ended because the file took too long.
        """
        with self._lock:
            process = self._started()
            try:
                return _asked(process, path)
            except BaseException as error:
                # Half an answer may be on its way; whoever asks next needs a fresh process.
                reason = self._end()
                if isinstance(error, OSError | EOFError | ValueError):
                    raise DecoderDied(reason) from None
                raise

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._end()

    def _started(self) -> DecoderProcess:
        # A copy of this process by fork has no right to the pipes of the one that it was copied from.
        if self._process is None or self._owner != os.getpid() or self._process.poll() is not None:
            self._process, self._owner = start_process(), os.getpid()
        return self._process

    def _end(self) -> str:
        """End the process; why it had died, if it had."""
        process, self._process = self._process, None
        if process is None or self._owner != os.getpid():
            return ""
        with contextlib.suppress(OSError):
            if process.stdin:
                process.stdin.close()
        try:
            code = process.wait(timeout=0.5)
        except subprocess.TimeoutExpired:
            process.kill()
            code = process.wait()
        if process.stdout:
            process.stdout.close()
        return _why_dead(code)


def _asked(process: DecoderProcess, path: Path) -> tuple[dict[str, Any], NDArray | None]:
    if process.stdin is None or process.stdout is None:
        raise EOFError
    name = os.fsencode(path.absolute())
    process.stdin.write(len(name).to_bytes(_LENGTH_BYTES, "big") + name)
    process.stdin.flush()
    head = json.loads(_read(process, int.from_bytes(_read(process, _LENGTH_BYTES), "big")))
    if "shape" not in head:
        return head, None
    import numpy as np

    samples = np.empty(head["shape"], np.dtype(head["dtype"]))
    _fill(process, samples.reshape(-1).view(np.uint8).data)
    return head, samples


def _read(process: DecoderProcess, count: int) -> bytes:
    buffer = bytearray(count)
    _fill(process, memoryview(buffer))
    return bytes(buffer)


def _fill(process: DecoderProcess, into: memoryview) -> None:
    done = 0
    while done < len(into):
        count = process.stdout.readinto(into[done:]) if process.stdout else 0  # type: ignore[attr-defined]
        if not count:
            raise EOFError
        done += count


def _why_dead(code: int) -> str:
    if code == -getattr(signal, "SIGVTALRM", 0):
        return "it takes far longer than any camera's file"
    if code < 0:
        return f"LibRaw crashed on it: {signal.strsignal(-code) or f'signal {-code}'}"
    return f"LibRaw ended with code {code}"


decoder = Decoder()
"""This process's one."""

atexit.register(decoder.close)


def crashed(name: str, reason: str) -> BenchError:
    """What to say of a file on which the process died."""
    return BenchError(
        f"{name}: can't be unpacked ({reason}). It is damaged, or made to do harm; copy it from the card again. "
        "If the "
        "camera's own file does this too, please report it to the LibRaw project, with the file."
    )
