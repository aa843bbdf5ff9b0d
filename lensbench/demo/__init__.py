"""An invented build: simulated, measured like any other, and compared with what is true of it.

In: a folder for the report. Out: a `Demonstration`, and its tables. Called by the command line.
"""

from lensbench.demo._build import MAGNIFICATION, demo_bench, demo_takes
from lensbench.demo._run import Demonstration, run_demo
from lensbench.demo._tables import beside_table, statistics_table

__all__ = [
    "MAGNIFICATION",
    "Demonstration",
    "beside_table",
    "demo_bench",
    "demo_takes",
    "run_demo",
    "statistics_table",
]
