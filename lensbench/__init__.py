"""Lensbench: measure a home-built camera lens from raw shots of two printed sheets.

Submodules load when they are first used, so that ``import lensbench`` costs next to nothing.
"""

import importlib
from types import ModuleType

__version__ = "0.1.0"

_SUBMODULES = (
    "analysers", "cli", "correction", "demo", "dng", "figure", "findings", "formatting", "frame", "loaders",
    "noise", "optics", "reporter", "run", "shot", "simulator", "target", "verdicts",
)  # fmt: skip


def __getattr__(name: str) -> ModuleType:
    if name in _SUBMODULES:
        return importlib.import_module(f"lensbench.{name}")
    raise AttributeError(f"module 'lensbench' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *_SUBMODULES])
