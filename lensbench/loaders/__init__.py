"""Files and folders to shots and sessions.

What each needs loads when it is first used: a single shot needs none of what session files need.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable

_HOMES = {"load_session": "session", "load_shot": "shot_file", "start_session": "session_start"}

__all__ = ["load_session", "load_shot", "start_session"]


def __getattr__(name: str) -> Callable:
    if name in _HOMES:
        return getattr(importlib.import_module(f"lensbench.loaders.{_HOMES[name]}"), name)
    raise AttributeError(f"module 'lensbench.loaders' has no attribute {name!r}")
