"""Compiled loops use nothing of other files: one that did would outlive, on disk, what it was made from."""

import ast
from pathlib import Path

import numba
import pytest

import lensbench.analysers
from lensbench.analysers.numerics.jit import compiled

FILES = [
    path
    for path in sorted(Path(lensbench.analysers.__file__).parent.rglob("*.py"))
    if "@compiled" in path.read_text(encoding="utf-8")
]


def of_other_files(tree: ast.Module) -> set[str]:
    """Names that a file takes from the rest of the project."""
    taken = [node for node in tree.body if isinstance(node, ast.ImportFrom) and "lensbench" in node.module]
    return {alias.asname or alias.name for node in taken for alias in node.names} - {"compiled"}


def compiled_functions(tree: ast.Module) -> list[ast.FunctionDef]:
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    return [each for each in functions if any(getattr(d, "id", "") == "compiled" for d in each.decorator_list)]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_compiled_loops_use_nothing_of_other_files(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = compiled_functions(tree)
    assert functions
    for function in functions:
        names = {node.id for node in ast.walk(function) if isinstance(node, ast.Name)}
        assert not names & of_other_files(tree), function.name


def test_they_are_where_the_contributors_notes_say():
    found = {path.stem for path in FILES}
    assert found == {"banded", "_sample_loops", "_bin_loops", "_equation_loops", "_crosstalk_loops"}


def test_where_nothing_can_be_kept_they_are_compiled_all_the_same(monkeypatch):
    def njit(function, cache=False, **options):
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return numba.njit(function, **options)

    monkeypatch.setattr("lensbench.analysers.numerics.jit.njit", njit)
    assert compiled(lambda a: a + 1)(2) == 3
