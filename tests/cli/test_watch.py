"""`lensbench watch` as somebody at the bench runs it."""

import json
import os
import select
import shutil
import signal
import subprocess
import sys
import time

import pytest

from tests.cli.command import run


@pytest.fixture
def evening(outside, tmp_path):
    shutil.copytree(outside[0], tmp_path / "evening")
    return tmp_path / "evening"


def test_one_shot(evening, capsys):
    ran = run(capsys, "watch", evening / "sheet.dng")
    assert ran.code == 0, ran
    for word in ("centre", "bottom left", "corners", "sheet", "coverage", "exposure", "Good to go on with"):
        assert word in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80
    assert "\x1b" not in ran.out


def test_one_shot_as_json(evening, capsys):
    look = json.loads(run(capsys, "watch", evening / "sheet.dng", "--json").out)
    assert look["shows"] == "target"
    assert {spot["name"] for spot in look["spots"]} >= {"centre", "top-left"}


def test_a_shot_that_cannot_be_read(evening, capsys):
    (evening / "cut.dng").write_bytes((evening / "sheet.dng").read_bytes()[:-1000])
    ran = run(capsys, "watch", evening / "cut.dng")
    assert (ran.code, ran.out) == (2, "")
    assert "cut short" in ran.err


@pytest.mark.parametrize("name", ["nowhere", "nowhere.dng"])
def test_what_is_not_there(evening, capsys, name):
    ran = run(capsys, "watch", evening / name)
    assert ran.code == 2
    assert "there is no such" in ran.err


def test_without_the_sheet_s_layout(evening, capsys):
    (evening / "target.json").unlink()
    ran = run(capsys, "watch", evening / "sheet.dng")
    assert ran.code == 2
    assert "--target" in ran.err


def test_a_folder_until_nothing_more_comes(evening, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ran = run(capsys, "watch", evening, "--idle", "0.5")
    assert ran.code == 0
    assert "watch.html" in ran.err
    assert "1 shot looked at" in ran.err
    assert (tmp_path / "watch.html").is_file()


def test_a_folder_as_lines_of_json(evening, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ran = run(capsys, "watch", evening, "--idle", "0.2", "--json", "--no-page")
    assert [json.loads(line)["file"] for line in ran.out.splitlines()]
    assert not (tmp_path / "watch.html").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX's")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_ending_it_leaves_a_clean_terminal(evening, tmp_path, how):
    """In a real terminal: the cursor shown again, code 0, no traceback."""
    import pty

    main_end, terminal = pty.openpty()
    command = [sys.executable, "-m", "lensbench", "watch", str(evening)]
    process = subprocess.Popen(
        command, stdin=terminal, stdout=terminal, stderr=terminal, cwd=tmp_path, preexec_fn=_heeds_interrupts
    )
    os.close(terminal)
    said = read_until(main_end, b"exposure")
    process.send_signal(how)
    said += read_until(main_end, None)
    assert process.wait(timeout=60) == 0
    assert b"Traceback" not in said
    assert said.rfind(b"\x1b[?25h") > said.rfind(b"\x1b[?25l")
    assert b"loads itself anew" not in (tmp_path / "watch.html").read_bytes()


def _heeds_interrupts():
    """As in a terminal: what a shell starts in the background, such as these tests, may ignore interrupts."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def read_until(descriptor, wanted, most_s=120):
    """What a terminal prints until some bytes come, or until it is closed."""
    said, end = b"", time.monotonic() + most_s
    while time.monotonic() < end and (wanted is None or wanted not in said):
        if select.select([descriptor], [], [], 0.5)[0]:
            try:
                part = os.read(descriptor, 65536)
            except OSError:
                break
            if not part:
                break
            said += part
    return said
