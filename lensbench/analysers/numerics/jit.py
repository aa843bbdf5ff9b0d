"""Loops over samples, compiled when they are first run (just in time) and kept on disk for later runs.

What thousands of samples or systems need one by one is written as a plain loop, instead of as a dozen passes over
arrays. Such a loop takes and returns arrays and numbers only, and releases the interpreter lock, so that other
threads run beside it. It is compiled again when its own file changes, and only then: it must use nothing of other
files but what it is passed.
"""

from __future__ import annotations

from collections.abc import Callable

from numba import njit


def compiled(function: Callable) -> Callable:
    """Decorator that compiles a function of arrays and numbers.

    Parameters
    ----------
    function : callable
        A plain loop; divisions by zero give inf or NaN as in NumPy.

    Returns
    -------
    callable
        The same function, compiled at its first call.
    """
    try:
        return njit(function, cache=True, nogil=True, error_model="numpy")
    except RuntimeError:
        # Neither the package's folder nor the user's is writable: compiled again in every run.
        return njit(function, nogil=True, error_model="numpy")
