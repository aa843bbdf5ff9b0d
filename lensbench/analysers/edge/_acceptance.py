"""Which edges have figures, by what their fit shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge._edge_fit import EdgeFit
from lensbench.analysers.edge._intervals import mtf50_by_slope
from lensbench.findings.reasons import Reason

LEAST_REACH, WHOLE_REACH = 3.1, 2.7
"""Blur widths of the dark and of the bright side that must be seen, or there are no plateaus to tell shares of: of
the core's, and of those that the first look saw, core and glow together."""

MAX_GUESSED = 0.2
"""Contrast that may lie where nothing is seen, as a share of what is: more, and the plateaus are a guess."""

MAX_GAP = 1.0
"""Widest gap between samples across the rise, in blur widths, that a profile can be drawn over."""

WIDE_GAP = 0.6
"""A gap that is wide where, besides, the samples can't tell a turned line from a stretched profile ..."""

MAX_CONFOUNDING = 8.0
"""... for the turn's variance is more than so many times what it would be were the profile known."""

MAX_RELATIVE_SIGMA = 0.25
"""An MTF50 with a larger relative standard deviation is no figure."""


def reasons(fit: EdgeFit, blur: NDArray, earlier: NDArray) -> NDArray[np.str_]:
    """Why edges have no figures, shape (n,): the earlier reasons, then those that the fit shows.

    Parameters
    ----------
    fit : EdgeFit
        What was fitted.
    blur : ndarray, shape (n,)
        Blur widths that the first look saw, of core and glow together, in pixels.
    earlier : ndarray of str, shape (n,)
        The first look's reasons; empty where there was none.
    """
    mtf50, sigma, _ = mtf50_by_slope(fit)
    dark, white = fit.plateaus()
    too_short = fit.reach.min(axis=1) < np.maximum(LEAST_REACH * fit.blur, WHOLE_REACH * blur)
    guessed = np.abs(white - dark - 1) > MAX_GUESSED
    unseen = (fit.gap > MAX_GAP) | (fit.gap > WIDE_GAP) & (fit.confounding > MAX_CONFOUNDING)
    result = earlier.copy()
    for faulty, reason in (
        (too_short | guessed, Reason.TOO_SHORT),
        (unseen, Reason.ALONG_ROWS),
        (~np.isfinite(mtf50), Reason.TOO_BLURRED),
        (~(sigma < MAX_RELATIVE_SIGMA * mtf50), Reason.TOO_NOISY),
    ):
        result[(result == "") & faulty] = reason
    return result
