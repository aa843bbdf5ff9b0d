"""How processes that share the work behave: they end with the one that asked, and leave interrupts to it."""

from __future__ import annotations

import os
import signal
import threading
import time
from typing import Any

from joblib.parallel import get_active_backend

LOOKS_S = 0.5
"""Seconds between two looks at whether the process that asked is still there."""


def worker_options(workers: int) -> dict[str, Any]:
    """What `joblib.Parallel` needs for it: nothing where the work stays in this process or leaves this machine."""
    backend, _ = get_active_backend()
    if workers == 1 or type(backend).__name__ != "LokyBackend":
        return {}
    return {"initializer": _begin, "initargs": (os.getpid(),)}


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
