"""Lenses that GalSim knows: their transfer functions along an edge's normal, for the edges of `known_edges`.

GalSim: the modular galaxy image simulation toolkit, Rowe et al., Astronomy and Computing 10 (2015) 121.
"""

from __future__ import annotations

import galsim
import numpy as np
from numpy.typing import NDArray

from tests import known_edges as known

FINE = galsim.GSParams(folding_threshold=2e-3, maxk_threshold=5e-4, maximum_fft_size=16384)


def waves(sph: float, defocus: float) -> dict[str, float]:
    """GalSim's coefficients (root mean square) of a wavefront sph ρ⁴ + defocus ρ², in waves at the pupil's rim."""
    return {"spher": sph / (6 * np.sqrt(5)), "defocus": (sph + defocus) / (2 * np.sqrt(3))}


def glowing(core_sigma: float, share: float, glow: galsim.GSObject) -> galsim.GSObject:
    """A Gaussian core with a share of the light in a glow about it."""
    return (1 - share) * galsim.Gaussian(sigma=core_sigma, gsparams=FINE) + share * glow


def along(psf: galsim.GSObject, angle: float) -> known.Transfer:
    """A lens's transfer function along a normal at an angle in radians, y down."""
    x, y = np.cos(angle), np.sin(angle)

    def transfer(f: NDArray) -> NDArray:
        f = np.atleast_1d(np.asarray(f, float))
        value = np.zeros(f.shape, complex)
        for i in np.flatnonzero(np.abs(f) < psf.maxk / np.pi):
            value[i] = psf.kValue(2 * np.pi * f[i] * x, -2 * np.pi * f[i] * y) / psf.flux
        return value

    return transfer


def all_round(psf: galsim.GSObject) -> known.Transfer:
    """The transfer function of a lens that is alike in all directions, from a fine table."""
    at = np.linspace(0, min(psf.maxk / np.pi, 3.0), 6001)
    table = along(psf, 0.3)(at).real
    return lambda f: np.interp(np.abs(f), at, table, right=0.0)
