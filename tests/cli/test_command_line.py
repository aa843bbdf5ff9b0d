"""The command line as a whole: help, codes, streams."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from lensbench import __version__, cli
from tests.cli.command import run


def test_help_names_every_command(capsys):
    ran = run(capsys, "--help")
    assert ran.code == 0
    for name, short in cli.COMMANDS.items():
        assert name in ran.out
        assert short.split(".")[0] in ran.out


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_explains_itself_and_has_json(capsys, name):
    ran = run(capsys, name, "--help")
    assert ran.code == 0
    assert "--json" in ran.out
    assert len(ran.out.split()) > 60


def test_the_readme_lists_every_command():
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    assert set(re.findall(r"^\| `lensbench (\w+)", readme, re.MULTILINE)) == set(cli.COMMANDS)


def test_version(capsys):
    assert run(capsys, "--version").out.strip() == __version__


@pytest.mark.parametrize("arguments", [(), ("mesure",), ("measure",), ("measure", "x", "--oot", "y")])
def test_a_wrong_call_is_code_2_and_says_how(capsys, arguments):
    ran = run(capsys, *arguments)
    assert ran.code == 2
    assert "Traceback" not in ran.err
    assert "--help" in ran.err + ran.out


def test_a_typo_is_answered_with_the_command_meant(capsys):
    assert "measure" in run(capsys, "mesure").err


def test_runs_as_a_module_and_loads_nothing_heavy_for_help():
    """What takes long to load must not be loaded to print a help text."""
    code = (
        "import sys; from lensbench.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'matplotlib', 'rawpy', 'msgspec', 'joblib', 'rich'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    module = subprocess.run([sys.executable, "-m", "lensbench.cli", "--version"], capture_output=True, text=True)
    assert module.stdout.strip() == __version__


def test_importing_the_package_loads_nothing():
    code = "import sys, lensbench; sys.exit(len({'numpy', 'msgspec', 'typer'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0


def test_a_terminal_without_the_letters_is_no_reason_to_fail():
    """Figures carry ± and ×, which plain ASCII cannot show."""
    code = "from lensbench.cli import main; main(['session', 'nowhere ±'])"
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, env=environment)
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr
    assert b"nowhere ?" in done.stderr
