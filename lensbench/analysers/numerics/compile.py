"""Loops over samples, compiled when they are first run and kept on disk for the next time.

What thousands of samples or systems need one by one is written as the plain loop that it is, instead of as a
dozen passes over arrays. Such a loop takes and gives arrays and numbers only, and lets other threads run beside
it. It is compiled anew when its own file changes, and only then: it must use nothing of other files but what it is
given.
"""

from __future__ import annotations

from collections.abc import Callable

from numba import njit


def compiled(function: Callable) -> Callable:
    """Decorator for a function of arrays and numbers."""
    try:
        return njit(function, cache=True, nogil=True, error_model="numpy")
    except RuntimeError:
        # Neither the package's folder nor the user's can be written to: compiled anew in every run.
        return njit(function, nogil=True, error_model="numpy")
