"""An invented build: simulated, measured like any other, and compared with what is true of it.

In: a folder for reports. Out: a `Demonstration`, its tables, a `FullDemonstration`. Called by the command line.
"""

from lensbench.demo._build import MAGNIFICATION, demo_bench, demo_takes
from lensbench.demo._full_evening import PLANTED
from lensbench.demo._full_run import EVENINGS, FULL_DEMO_S, FullDemonstration, run_full_demo
from lensbench.demo._run import Demonstration, expected_s, run_demo
from lensbench.demo._tables import beside_table, statistics_table

__all__ = [
    "EVENINGS",
    "FULL_DEMO_S",
    "MAGNIFICATION",
    "PLANTED",
    "Demonstration",
    "FullDemonstration",
    "beside_table",
    "demo_bench",
    "demo_takes",
    "expected_s",
    "run_demo",
    "run_full_demo",
    "statistics_table",
]
