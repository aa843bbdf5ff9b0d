"""How the process that unpacks raw files starts: as a copy of this one where that is safe, else from nothing.

A copy has numpy loaded already, which is most of what a process from nothing costs.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
import warnings
from pathlib import Path
from typing import BinaryIO, Never

_PIPE_BYTES = 1 << 20
"""A pipe that holds more hands a frame over in fewer turns."""


class CopiedProcess:
    """A copy of this process, with as much of `subprocess.Popen` as its caller needs."""

    def __init__(self, number: int, stdin: BinaryIO, stdout: BinaryIO) -> None:
        self._number, self.stdin, self.stdout = number, stdin, stdout
        self._code: int | None = None

    def poll(self) -> int | None:
        """The code that it ended with, minus the signal's number if one ended it; None while it runs."""
        if self._code is None:
            ended, status = os.waitpid(self._number, os.WNOHANG)
            self._code = os.waitstatus_to_exitcode(status) if ended else None
        return self._code

    def wait(self, timeout: float | None = None) -> int:
        """Wait until it ends; raises `subprocess.TimeoutExpired`."""
        until = time.monotonic() + (float("inf") if timeout is None else timeout)
        while (code := self.poll()) is None:
            if time.monotonic() > until:
                raise subprocess.TimeoutExpired("decoder", timeout or 0.0)
            time.sleep(0.001)
        return code

    def kill(self) -> None:
        """End it at once."""
        if self.poll() is None:
            os.kill(self._number, signal.SIGKILL)


DecoderProcess = CopiedProcess | subprocess.Popen[bytes]


def start_process() -> DecoderProcess:
    """Start the process: it serves paths on its standard input until that ends (`_unpack.main`)."""
    process = _copied() if _may_be_copied() else _from_nothing()
    with contextlib.suppress(ImportError, AttributeError, OSError):
        import fcntl

        if process.stdout:
            fcntl.fcntl(process.stdout, fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
    return process


def _may_be_copied() -> bool:
    """Whether no other thread may hold a lock that the copy would wait for, LibRaw's threads included."""
    try:
        return len(os.listdir("/proc/self/task")) == 1 and "rawpy" not in sys.modules
    except OSError:
        return False


def _copied() -> CopiedProcess:
    # Whoever asks needs it as well; the copy must not load it a second time.
    import numpy  # noqa: F401

    (asked, ask), (answers, answer) = os.pipe(), os.pipe()
    # Until the copy leaves the terminal's interrupt to whoever asks.
    held = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
    try:
        with warnings.catch_warnings():
            # Python warns of numpy's idle threads, which hold nothing that the copy needs.
            warnings.simplefilter("ignore", DeprecationWarning)
            number = os.fork()
        if number == 0:
            # It ends when the process that asks does, so it must hold no end of that one's.
            os.close(ask)
            os.close(answers)
            _be_the_copy(asked, answer, held)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, held)
    os.close(asked)
    os.close(answer)
    return CopiedProcess(number, os.fdopen(ask, "wb"), os.fdopen(answers, "rb"))


def _be_the_copy(asked: int, answer: int, held: set[int | signal.Signals]) -> Never:
    """Serve, and end without anything that the copied process would do at its end."""
    code = 1
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, held)
        nothing = os.open(os.devnull, os.O_RDWR)
        for number, old in ((0, asked), (1, answer), (2, nothing)):
            os.dup2(old, number)
        from lensbench.loaders import _unpack

        with os.fdopen(0, "rb", closefd=False) as paths, os.fdopen(1, "wb", closefd=False) as told:
            _unpack.serve(paths, told)
        code = 0
    finally:
        os._exit(code)


def _from_nothing() -> subprocess.Popen[bytes]:
    package = Path(__file__).parents[2]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(package), *sys.path])}
    # One thread: there is no linear algebra to share.
    environment |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    # By its path and without the working folder among the places for modules: that may be a stranger's.
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "lensbench.loaders._unpack"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=environment,
    )
