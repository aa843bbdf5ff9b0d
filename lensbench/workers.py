"""Processes that share work: they end with the one that asked, and leave interrupts to it."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
from collections.abc import Iterable, Iterator
from multiprocessing import resource_tracker
from typing import Any

import joblib
from joblib.externals.loky import ProcessPoolExecutor
from joblib.externals.loky.backend import resource_tracker as loky_tracker
from joblib.parallel import get_active_backend

LOOKS_S = 0.5
"""Seconds between two looks at whether the process that asked is still there."""


def in_processes(jobs: Iterable[Any], workers: int) -> Iterator[Any]:
    """What jobs give, in the order in which they are done.

    Parameters
    ----------
    jobs : iterable of joblib.delayed calls
        What they take and give must be picklable.
    workers : int
        How many at once; with 1 the work stays in this process.

    Raises
    ------
    concurrent.futures.process.BrokenProcessPool
        Where a process was killed.
    """
    backend, _ = get_active_backend()
    if workers == 1 or type(backend).__name__ != "LokyBackend":
        return iter(joblib.Parallel(n_jobs=workers, return_as="generator_unordered")(jobs))
    parallel = joblib.Parallel(
        n_jobs=workers, return_as="generator_unordered", initializer=_begin, initargs=(os.getpid(),)
    )
    with _interrupts_held():
        return iter(parallel(jobs))


def in_a_process_of_its_own(job: Any, *arguments: Any) -> Any:
    """What a function gives, called in a process that has nothing else to do and may be killed.

    Raises
    ------
    concurrent.futures.process.BrokenProcessPool
        Where it was.
    """
    with ProcessPoolExecutor(max_workers=1, initializer=_begin, initargs=(os.getpid(),)) as pool:
        with _interrupts_held():
            future = pool.submit(job, *arguments)
        return future.result()


@contextlib.contextmanager
def _interrupts_held() -> Iterator[None]:
    """Keep interrupts waiting while processes start, which inherit that until they deal with them on their own."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # Where they are started first, these processes let interrupts through again.
    resource_tracker.ensure_running()
    loky_tracker.ensure_running()
    held = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, held)


def _begin(parent: int) -> None:
    """Prepare a process for its work."""
    # A terminal interrupts all of them; the one that asked ends the others, and says so once.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    """End this process when its parent is gone: killed, it can't end it."""
    while os.getppid() == parent:
        time.sleep(LOOKS_S)
    os._exit(1)
