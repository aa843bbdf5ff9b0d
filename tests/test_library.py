"""The library that one can call: its names, how fast it loads, and every example in its docstrings."""

import doctest
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import lensbench

CALLS = [
    "read_shot",
    "read_layout",
    "find_tiles",
    "tile_edges",
    "measure_edges",
    "measure_free_edges",
    "find_marks",
    "measure_falloff",
    "correct_shot",
    "load_session",
    "measure_session",
    "write_report",
    "read_report",
]


def example_of(thing, name):
    """The one doctest of an object's own docstring."""
    finder = doctest.DocTestFinder(recurse=False, exclude_empty=False)
    (found,) = finder.find(thing, name, globs={})
    assert found.examples, f"{name} has no example"
    return found


@pytest.mark.parametrize("name", CALLS)
def test_every_call_explains_itself_and_its_example_runs(name):
    call = getattr(lensbench, name)
    for part in ("Parameters\n", "Returns\n", "Examples\n"):
        assert f"\n{part}---" in inspect.getdoc(call), part
    run(example_of(call, name))


@pytest.mark.parametrize("thing", [lensbench.Shot.from_array, lensbench.findings.tables.Tabular.columns])
def test_the_examples_of_methods_run(thing):
    run(example_of(getattr(thing, "__func__", thing), thing.__qualname__))


def run(example):
    runner = doctest.DocTestRunner(verbose=False)
    said = []
    runner.run(example, out=said.append)
    assert runner.failures == 0, "".join(said)


def test_the_names_are_all_there_and_load():
    assert set(CALLS) <= set(dir(lensbench))
    assert [name for name in lensbench.__all__ if not hasattr(lensbench, name)] == []
    assert set(lensbench.__all__) <= set(dir(lensbench))


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="measure_everything"):
        _ = lensbench.measure_everything


def test_importing_the_library_loads_nothing_of_it():
    code = (
        "import sys; import lensbench; "
        "heavy = {'numpy', 'scipy', 'msgspec', 'typer'} & set(sys.modules); "
        "parts = [name for name in sys.modules if name.startswith('lensbench.')]; "
        "sys.exit(str((heavy, parts)) if heavy or parts else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_types_ship_with_the_package():
    folder = Path(lensbench.__file__).parent
    assert (folder / "py.typed").is_file()
    assert (folder / "__init__.pyi").is_file()
