"""About how long a session's measurement will take, by what its shots show and how large their files are."""

from __future__ import annotations

from lensbench.expected import expected_of_files
from lensbench.loaders.session import Session
from lensbench.run._configuration import ShotConfiguration
from lensbench.run._work import workers_at_once

S_PER_MB = {"target": 0.3, "blade": 0.2, "flat": 0.14, "dark": 0.03}
"""What a megabyte of a raw file takes on one core of a usual computer, by what it shows (measured on uncompressed
files of 24 megapixels; others are guessed by it, and put right as the work goes on)."""

REST = "joined and written"
REST_S = 10.0
"""What is left when all shots are read: settings, answers, drawings, the page."""


def expected_s(session: Session) -> dict[str, float]:
    """Seconds of each piece of a session's work, by the name that `measure_session` tells when it is done."""
    costs: dict[str, float] = {}
    first: dict[ShotConfiguration, str] = {}
    for entry in session.shots:
        (cost,) = expected_of_files([session.folder / entry.file], S_PER_MB[entry.shows]).values()
        # Flats taken alike are one piece, called by the first of them.
        group = first.setdefault(ShotConfiguration.of(entry), entry.file) if entry.shows == "flat" else entry.file
        costs[group] = costs.get(group, 0.0) + cost
    at_once = min(workers_at_once(), max(len(costs), 1))
    return {**{name: cost / at_once for name, cost in costs.items()}, REST: REST_S}
