"""What the README shows is what happens: its Python code runs on a session, its commands install what they say."""

import ast
import re
import shutil
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_python_code_runs_as_it_stands(tmp_path, monkeypatch, capsys, outside):
    """On a session by the outside renderer: one stop of falloff, a lens without dirt."""
    folder, _, _ = outside
    section = README.split("## From Python\n")[1].split("\n## ")[0]
    (code,) = re.findall(r"```python\n(.*?)```", section, re.DOTALL)
    shutil.copytree(folder, tmp_path / "bench_evening")
    monkeypatch.chdir(tmp_path)
    names = {}
    exec(code, names)
    assert len(names["marks"]["x"]) == 0
    assert names["corner"].value == pytest.approx(1.0, abs=0.3)
    assert {"red", "green", "blue"} == set(names["edges"])
    assert len(names["edges"]["green"]) > 100
    assert len(names["zones"]["mtf50_low"]) > 20
    assert names["again"].build.name == "Outside build"
    assert sorted(path.name for path in (tmp_path / "reports").iterdir()) == ["outside-build"]
    assert "0 marks" in capsys.readouterr().out


def test_the_demo_installs_no_libraries_of_the_tests():
    commands = dict(re.findall(r"<!-- (\w+) -->\n```sh\n(.*?)\n```", README, re.DOTALL))
    assert set(commands) == {"demo", "tests"}
    assert " -e . " in commands["demo"]
    assert ' -e ".[test]" ' in commands["tests"]


def test_the_package_needs_nothing_that_only_tests_need():
    """The names of pyproject.toml's groups, apart; what the tests compare against is no dependency."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = {
        group: {re.match(r"[\w-]+", one)[0] for one in requirements}
        for group, requirements in project["optional-dependencies"].items()
    }
    assert set(named) == {"test", "dev"}
    needed = {re.match(r"[\w-]+", one)[0] for one in project["dependencies"]}
    assert not needed & (named["test"] | named["dev"])
    assert {"galsim", "photutils", "astropy", "pandas", "pytest"} <= named["test"]
    known = {name.replace("-", "_") for name in needed} | {"skimage", "mpl_toolkits", "PIL"}
    assert {name: where for name, where in imports_of_the_package().items() if name not in known} == {}


def imports_of_the_package():
    """Every package that lensbench imports anywhere, the standard library's apart, and a file that does."""
    found = {}
    for path in sorted((ROOT / "lensbench").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module] if isinstance(node, ast.ImportFrom) and not node.level else []
            found |= {name.split(".")[0]: path.name for name in names}
    assert len(found) > 20
    return {name: where for name, where in found.items() if name not in {*sys.stdlib_module_names, "lensbench"}}
