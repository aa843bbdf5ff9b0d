"""What the terminal prints loads no drawing library: a summary must not wait for one."""

import subprocess
import sys

import pytest

TABLES = ("summary", "free_edges", "csv_files")


@pytest.mark.parametrize("name", TABLES)
def test_tables_load_no_drawing_library(name):
    code = (
        f"import sys, lensbench.reporter.tables.{name} as tables\n"
        "sys.exit('matplotlib was loaded' if 'matplotlib' in sys.modules else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_a_loaded_library_would_be_noticed():
    code = "import sys, lensbench.reporter.plots.style; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 1
