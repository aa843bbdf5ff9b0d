"""What a first look would load, loaded before a shot lands: the first is then told as fast as the others."""

from __future__ import annotations

from threading import Thread

import numpy as np

from lensbench.analysers.edge import blade_places, measure_edges
from lensbench.shot import Shot

_ACROSS = np.array([0.995, 0.0999])
"""Across the invented edge, towards its bright side."""


def get_ready() -> Thread:
    """Load the compiled loops of the edge fit in a thread of its own, by measuring an invented edge.

    From disk they take longer than a look does. The thread ends with the program, at whatever it is.
    """
    thread = Thread(target=_measure_an_edge, daemon=True)
    thread.start()
    return thread


def _measure_an_edge() -> None:
    y, x = np.mgrid[:200, :300]
    distance = (x - 149.5) * _ACROSS[0] + (y - 99.5) * _ACROSS[1]
    light = 600 + 11400 / (1 + np.exp(-distance))
    shot = Shot.from_array(np.random.default_rng(1).poisson(light), white=16000)
    along = np.array([-_ACROSS[1], _ACROSS[0]])
    ends = [(149.5, 99.5) - 60 * along, (149.5, 99.5) + 60 * along]
    measure_edges(shot, blade_places(np.array([ends]), _ACROSS[None], 40.0), threads=1)
