"""The command line as a whole: help, codes, streams."""

import os
import re
import signal
import subprocess
import sys
import time
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
    assert re.findall(r"^\| `lensbench (\w+)", readme, re.MULTILINE) == list(cli.COMMANDS)


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
    module = subprocess.run([sys.executable, "-m", "lensbench", "--version"], capture_output=True, text=True)
    assert module.stdout.strip() == __version__


def test_an_interrupt_after_the_answer_changes_nothing():
    """Threads and processes that shared the work are still being ended then; here one that takes long to end."""
    code = (
        "import sys, threading; from lensbench.__main__ import program\n"
        "threading.Thread(target=sys.stdin.read).start()\n"
        "sys.argv = ['lensbench', '--version']; program()"
    )
    started = subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert started.stdout.readline().strip() == __version__
    # The command has returned by then, and Python waits for the thread.
    time.sleep(1)
    started.send_signal(signal.SIGINT)
    _, said = started.communicate(timeout=60)
    assert (started.returncode, said) == (0, "")


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


def python_run(code, **environment):
    """Run some Python as a user would, without what the tests set."""
    plain = {name: value for name, value in os.environ.items() if name != "LENSBENCH_TRACEBACK"}
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env={**plain, **environment}
    )


@pytest.mark.parametrize(
    ("raised", "said"),
    [
        ("ZeroDivisionError('by nought')", "a mistake of its own (ZeroDivisionError: by nought)"),
        ("OSError(28, 'No space left on device', 'reports/x')", "reports/x: No space left on device."),
        ("MemoryError()", "not enough memory"),
    ],
)
def test_what_nobody_foresaw_is_a_sentence_and_exit_code_2(raised, said):
    code = (
        "import lensbench.cli.check as command\n"
        f"def check(flat: str): raise {raised}\n"
        "command.check = check\n"
        "from lensbench.cli import main; main(['check', 'a.dng'])"
    )
    done = python_run(code)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert "Traceback" in python_run(code, LENSBENCH_TRACEBACK="1").stderr


@pytest.mark.parametrize(("typed", "meant"), [("lensbench me", "measure"), ("lensbench measure --qu", "--quiet")])
def test_the_shell_completes_commands_and_options(typed, meant):
    """What typer's script for bash asks for: the words typed so far, and which one is being typed."""
    done = python_run(
        "from lensbench.cli import main; main([])",
        _LENSBENCH_COMPLETE="complete_bash",
        COMP_WORDS=typed,
        COMP_CWORD=str(typed.count(" ")),
    )
    assert done.stdout.split() == [meant]


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_folder_that_cannot_be_written_is_found_before_the_work(capsys, tmp_path):
    tmp_path.chmod(0o500)
    for arguments in (("edges", "a.dng", "--out"), ("check", "a.dng", "--picture")):
        ran = run(capsys, *arguments, tmp_path / "new.png")
        assert ran.code == 2
        assert "can't be written to" in ran.err


def test_pictures_are_refused_before_the_work_where_something_has_their_name(capsys, tmp_path):
    (tmp_path / "there.png").write_bytes(b"mine")
    for arguments in (("edges", "a.dng", "--out"), ("check", "a.dng", "--picture")):
        # The shot isn't there either: the picture is looked at first.
        assert "exists already" in run(capsys, *arguments, tmp_path / "there.png").err
        assert "ends in .png" in run(capsys, *arguments, tmp_path / "new.dng").err


def test_no_colour_where_the_output_is_no_terminal(capsys, tmp_path):
    ran = run(capsys, "target", tmp_path / "sheets")
    assert ran.code == 0
    assert "\x1b" not in ran.out + ran.err
    assert max(map(len, ran.out.splitlines())) <= 80 + len(str(tmp_path))
