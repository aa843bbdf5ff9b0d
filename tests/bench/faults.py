"""Runs that are cut short, and disks that are full: `python -m tests.bench.faults [moments] [seed]`.

A small session is measured again and again, killed (SIGKILL) and interrupted (SIGINT to all processes, as a
terminal does) at random moments; then with a full disk, with no home and no cache folder that can be written
to, by two runs at once, with the clock set back, and with a shot removed and another replaced while it is
measured. After each: the shots are as they were, the report's folder holds a whole report or none, no process
is left, and the next run works and leaves nothing stale. Prints a line a fault; a miss begins with MISS.

Python's own start, some 30 ms before any of this project's code runs, answers an interrupt with a traceback; no
program can help that.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from lensbench.dng import write_dng
from lensbench.findings import files_as_written, read_report
from lensbench.loaders import read_shot
from lensbench.shot import Shot
from lensbench.target.layout import make_layout, write_layout
from tests.outside.renderer import OutsideLens, write_outside_session

SIZE, SENSOR_MM = (600, 400), (36.0, 24.0)
LONGEST_S = 600


class Bench:
    """A folder with a session, and a way to measure it from outside."""

    def __init__(self, root: Path) -> None:
        self.shots, self.reports = root / "evening", root / "reports"
        self.shots.mkdir()
        layout = root / "layout.json"
        write_layout(layout, make_layout(SENSOR_MM, 0.1, "coarse"))
        lens = OutsideLens(
            px_per_mm=SIZE[0] / 360, turn_deg=2.0, bend=(-0.03, 0.0), fringe_px=(1.5, 0.0, -1.0), falloff_stops=1.0
        )
        write_outside_session(self.shots, layout, lens, SIZE, SENSOR_MM)
        self.before = self.content()

    def content(self) -> dict[str, bytes]:
        """The session's files."""
        return {path.name: path.read_bytes() for path in self.shots.iterdir()}

    def start(self, **environment: str) -> subprocess.Popen[str]:
        """Measure, in a session of processes of its own."""
        return subprocess.Popen(
            [sys.executable, "-m", "lensbench", "measure", str(self.shots), "--out", str(self.reports)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
            env={**os.environ, **environment},
        )

    def faults(self) -> list[str]:
        """What is wrong with the folders after a run was cut short."""
        found = [] if self.content() == self.before else ["a shot or the session file was changed"]
        for folder in self.reports.glob("*"):
            listed = files_as_written(folder)
            if listed is None and (folder / "report.json").exists():
                found.append(f"{folder.name} holds a report that isn't whole")
        return found

    def stale(self) -> list[str]:
        """What a run that went well must not leave."""
        return [str(path.relative_to(self.reports)) for path in self.reports.rglob(".writing*")]


def left_running(group: int) -> bool:
    """Whether a process of a group still runs, a while after the others ended."""
    for _ in range(100):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return False
        time.sleep(0.1)
    os.killpg(group, signal.SIGKILL)
    return True


def ended(run: subprocess.Popen[str]) -> tuple[int, str, list[str]]:
    """How a run ended, what it said to the error stream, and what was wrong with that."""
    _, said = run.communicate(timeout=LONGEST_S)
    return run.returncode, said, ["a traceback"] if "Traceback" in said else []


def whole(bench: Bench) -> list[str]:
    """Measure once more: it must work and leave nothing stale."""
    code, said, found = ended(bench.start())
    found += [f"the next run ended with {code}: {said[-200:]}"] if code else []
    found += [f"stale: {bench.stale()}"] if bench.stale() else []
    for folder in bench.reports.glob("*"):
        read_report(folder / "report.json")
    return found + bench.faults()


def cut_short(bench: Bench, how: signal.Signals, after_s: float) -> list[str]:
    """End a run after a while: only the command where it is killed, all of its processes where interrupted."""
    run = bench.start()
    time.sleep(after_s)
    with contextlib.suppress(ProcessLookupError):
        if how is signal.SIGINT:
            os.killpg(run.pid, how)
        else:
            run.kill()
    _, _, found = ended(run)
    found += ["a process is left"] if left_running(run.pid) else []
    return found + bench.faults()


def moments(bench: Bench, how: signal.Signals, count: int, rng: np.random.Generator, whole_s: float) -> None:
    """Cut runs short at random moments, and print how many went wrong and how."""
    wrong: Counter[str] = Counter()
    for number in range(count):
        if number % 10 == 0:
            # Also where there is no report yet.
            shutil.rmtree(bench.reports, ignore_errors=True)
        wrong.update(cut_short(bench, how, float(rng.uniform(0, 1.1 * whole_s))))
    wrong.update(whole(bench))
    show(f"{count} runs ended by {how.name}", [f"{what} ({times} times)" for what, times in wrong.items()])


def show(name: str, found: list[str]) -> None:
    """A line of the table."""
    print(f"{'MISS' if found else 'held':6}{name}{': ' if found else ''}{'; '.join(found)}", flush=True)


# -- other faults ---------------------------------------------------------------------------------------------


def full_disk(bench: Bench) -> list[str]:
    """Disks of one size after the other, from too small for anything to large enough for all but a file."""
    found = []
    for size in ("64k", "256k", "1m", "2m"):
        bench.reports.mkdir(exist_ok=True)
        inside = f'mount -t tmpfs -o size={size} none "$1" && "$2" -m lensbench measure "$3" --out "$1"; code=$?; '
        inside += 'ls -A "$1"/* 2>/dev/null | grep -c report.json; exit $code'
        ran = subprocess.run(
            ["unshare", "-m", "sh", "-c", inside, "sh", str(bench.reports), sys.executable, str(bench.shots)],
            capture_output=True,
            text=True,
            check=False,
            timeout=LONGEST_S,
        )
        if "Operation not permitted" in ran.stderr or "permission denied" in ran.stderr:
            return ["no file system could be mounted to try"]
        found += ["a traceback"] if "Traceback" in ran.stderr else []
        found += [f"{size}: ended well on a full disk"] if ran.returncode == 0 and size == "64k" else []
        found += [f"{size}: a part of a report"] if ran.returncode and "1\n" in ran.stdout else []
        found += [f"{size}: says nothing"] if ran.returncode and not ran.stderr.strip() else []
    return found


def no_home(bench: Bench) -> list[str]:
    """No home, and no folder for caches that can be made."""
    nowhere = "/proc/no/such/folder"
    places = dict.fromkeys(("HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "MPLCONFIGDIR"), nowhere)
    code, said, found = ended(bench.start(**places))
    found += ["a library talks of its caches"] if "atplotlib" in said else []
    return found + ([f"ended with {code}: {said[-300:]}"] if code else [])


def two_at_once(bench: Bench) -> list[str]:
    """Two runs into one folder."""
    shutil.rmtree(bench.reports, ignore_errors=True)
    results = [ended(run) for run in [bench.start(), bench.start()]]
    found = [what for _, _, wrong in results for what in wrong]
    found += [f"ended with {code}: {said[-200:]}" for code, said, _ in results if code]
    return [*found, *bench.faults(), *bench.stale()]


def clock_back(bench: Bench) -> list[str]:
    """All files of an earlier report dated a year ahead, as after the clock was set back."""
    later = time.time() + 365 * 86400
    for path in [*bench.reports.rglob("*"), *bench.shots.iterdir()]:
        os.utime(path, (later, later))
    return whole(bench)


def while_measuring(bench: Bench, meddle: Callable[[Path], None]) -> list[str]:
    """A shot that changes while it is measured."""
    found = []
    for after_s in (0.3, 1.0, 2.0, 4.0):
        run = bench.start()
        time.sleep(after_s)
        meddle(bench.shots / "even.dng")
        code, said, wrong = ended(run)
        found += wrong
        found += [f"ended with {code} and no sentence"] if code and not said.strip() else []
        for name, content in bench.before.items():
            (bench.shots / name).write_bytes(content)
    return found + whole(bench)


def replace_shot(path: Path) -> None:
    """Another picture of the same size under the name."""
    shot = read_shot(path)
    noisy = shot.samples + np.random.default_rng(3).integers(0, 20, shot.samples.shape).astype(np.uint16)
    write_dng(path, Shot.from_array(noisy, 512, 15_512, "RGGB"))


def main(count: int = 50, seed: int = 1) -> None:
    """Run, and print a line a fault."""
    rng = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        bench = Bench(Path(folder))
        began = time.monotonic()
        show("a run that nobody disturbs", whole(bench))
        took = time.monotonic() - began
        moments(bench, signal.SIGKILL, count, rng, took)
        moments(bench, signal.SIGINT, count, rng, took)
        show("a full disk", full_disk(bench) + whole(bench))
        show("no home, no cache", no_home(bench))
        show("two runs at once", two_at_once(bench))
        show("clock set back", clock_back(bench))
        show("a shot removed while it is measured", while_measuring(bench, Path.unlink))
        show("a shot replaced while it is measured", while_measuring(bench, replace_shot))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
