"""No command loses a file of the user's, whatever lies about: all of them run over folders drawn at random.

The commands come from the application itself, so a new one without a case here fails.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import os
import shutil
import tempfile
from pathlib import Path

import msgspec
import pytest
import typer.main
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import lensbench.run
from lensbench.cli import command_line, main
from lensbench.demo import _full_run as full_demonstration
from lensbench.demo import _run as demonstration
from lensbench.dng import write_dng
from lensbench.findings import Build, Report, ShotDigest, encode_report, files_as_written
from lensbench.loaders.session import load_session
from lensbench.reporter import write, write_comparison
from lensbench.reporter.write import write_report
from lensbench.run import Measured, _work
from lensbench.simulator import session as simulated
from tests.drawn_blades import Blade, blades_shot
from tests.folders import holdings

# Where things may lie: the shots, reports of them, and folders that the options below may name.
REPORTS = ("reports/outside-build", "reports/outside-build-2", "reports/marram-32-second-mounting")
COMPARED = ("reports/compared-before", "kept/compared-outside-build")
PLACES = ("evening", "reports", *REPORTS, *COMPARED, "sheets", "kept")
IN_REPORTS = ("report.html", "zone_map.png", "sharpness_zones.csv", "report.json", "other.dng", "session.toml")
"""What the user may have changed in a report's folder, or moved there."""
NAMES = (
    *("comparison.json", "comparison.png"),
    *("report.json", "report.html", "zone_map.png", "sharpness_zones.csv", "notes.txt", "lens.jpg", ".hidden"),
    *(
        "session.toml",
        "target.json",
        "target.pdf",
        "plain.svg",
        "truth.json",
        "t_040.dng",
        "flags.png",
        "other.dng",
    ),
    *(".writing-lock", ".writing-0123456789abcdef", "list.json", "-rf", "two\nlines", 'it\'s "$(so)";', "naïve ×"),
    os.fsdecode(b"not \xff utf-8"),
)
KINDS = (
    "file",
    "file",
    "file",
    "empty",
    "write-protected",
    "folder",
    "link to a file",
    "link to a folder",
    "link to nothing",
)

CASES = {
    "demo": [
        *([], ["--out", "reports"], ["--keep", "kept"], ["--keep", "evening"], ["--out", "evening"]),
        ["--full", "--keep", "kept"],
    ],
    "target": [["sheets"], ["evening"], ["reports/outside-build", "--paper", "A3"]],
    "session": [["evening"], ["reports"]],
    "watch": [
        ["evening/even.dng"],
        ["evening", "--idle", "0"],
        ["evening", "--idle", "0", "--page", "evening/session.toml"],
        ["evening", "--idle", "0", "--page", "kept/report.html"],
    ],
    "check": [
        ["evening/even.dng", "--picture", "evening/flags.png"],
        ["evening/even.dng", "--picture", "evening/even.dng"],
        ["evening/even.dng"],
        ["evening/even.dng", "--since", "evening/even.dng"],
    ],
    "edges": [
        ["evening/blade.dng", "--out", name] for name in ("flags.png", "evening/flags.png", "evening/even.dng")
    ],
    "grade": [
        ["reports/outside-build", "goals.toml"],
        ["--start", "goals.toml"],
        ["--start", "evening/session.toml"],
    ],
    "compare": [
        ["reports/outside-build", "before"],
        ["reports/outside-build", "before", "--out", "evening"],
        ["before", "reports/outside-build", "--out", "kept"],
        ["before/report.json", "before"],
    ],
    "measure": [
        *2 * [["evening"], ["evening", "--replace"]],
        ["evening", "--out", "evening"],
        ["evening", "--out", ".", "--replace"],
        ["evening", "--out", "reports/outside-build"],
    ],
    "correct": [
        ["reports/outside-build", "evening/even.dng"],
        ["reports/outside-build", "evening/even.dng", "--out", "evening", "--replace"],
        ["reports/outside-build", "evening/even.dng", "--out", "kept", "--replace"],
        ["reports/outside-build", "evening", "--as", "display", "--out", "evening"],
        ["reports/outside-build", "--values"],
    ],
}
"""What each command is run with; paths lie in the folder drawn."""


def test_every_command_has_a_case():
    assert set(CASES) == set(typer.main.get_command(command_line()).commands)


class Template:
    """The folder that every example starts from, and the report of its session; small when printed."""

    def __init__(self, root: Path, report: Report):
        self.root, self.report = root, report


@pytest.fixture(scope="module")
def bench(outside, tmp_path_factory):
    root = tmp_path_factory.mktemp("bench")
    shutil.copytree(outside[0], root / "evening")
    write_dng(
        root / "evening" / "blade.dng", blades_shot([Blade((310.0, 230.0), 7.0, (260.0, 200.0))], (640, 480))
    )
    for name in ("sheets", "kept"):
        (root / name).mkdir()
    report = lensbench.run.measure_session(load_session(root / "evening"), workers=1)
    before = msgspec.structs.replace(report, build=Build("before"), shots=[ShotDigest("t.dng", "aa")])
    (root / "before").mkdir()
    (root / "before" / "report.json").write_bytes(encode_report(before))
    return Template(root, report)


@contextlib.contextmanager
def quick(report):
    """Measuring, drawing and simulating take their time and write nothing: only what is written is tested here."""
    before = msgspec.structs.replace(report, build=Build("before"), shots=[ShotDigest("t.dng", "aa")])
    both = itertools.cycle([before, report])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lensbench.run, "measure_with_views", lambda *arguments, **options: Measured(report, []))
        patch.setattr(demonstration, "measure_with_views", lambda *arguments, **options: Measured(report, []))
        patch.setattr(full_demonstration, "measure_with_views", lambda *arguments: Measured(next(both), []))
        patch.setattr(full_demonstration, "JOBS", 1)
        patch.setattr(demonstration, "compare", lambda report, truths: ([], []))
        patch.setattr(simulated, "_take", lambda folder, bench, take: (folder / take.file).write_bytes(b"shot"))
        patch.setattr(simulated, "truth_text", lambda bench, takes, truths: "{}")
        patch.setattr(write, "zone_map_png", lambda report: b"map")
        patch.setattr(write_comparison, "comparison_png", lambda changes: b"maps")
        patch.setattr(write_comparison, "comparison_text", lambda comparison, sizes: "page")
        patch.setattr(write, "page_text", lambda report, zone_map, views: "page")
        yield


def put(root: Path, place: str, name: str, kind: str) -> None:
    """Put something of the user's there, in the place of whatever has the name already."""
    if (name, kind) == (".writing-lock", "empty"):
        return  # That is what a killed run leaves.
    path = root / place / name
    path.parent.mkdir(parents=True, exist_ok=True)
    if os.path.lexists(path):
        if path.is_dir() and not path.is_symlink():
            return
        path.unlink()
    elsewhere = root / "elsewhere"
    if kind == "folder":
        path.mkdir()
        (path / "deep.txt").write_bytes(b"mine")
    elif kind.startswith("link"):
        to = {"file": elsewhere / "precious.txt", "folder": elsewhere, "nothing": elsewhere / "nothing"}
        path.symlink_to(to[kind.rpartition(" ")[2]])
    else:
        path.write_bytes(b"" if kind == "empty" else f"the user's {name!r}".encode())
        if kind == "write-protected":
            path.chmod(0o444)


def run(*arguments: str) -> None:
    nowhere = io.StringIO()
    with (
        contextlib.suppress(SystemExit),
        contextlib.redirect_stdout(nowhere),
        contextlib.redirect_stderr(nowhere),
    ):
        main(list(arguments))


def own_files(root: Path, held: dict[str, str]) -> set[str]:
    """The files of reports that are as the program wrote them: only these may be replaced or removed."""
    listed = {
        str((path.parent / file.name).relative_to(root)): file.sha256
        for own in ("report.json", "comparison.json")
        for path in root.rglob(own)
        if path.is_file() and not path.is_symlink() and not holds_shots(path.parent)
        for file in files_as_written(path.parent, own) or ()
    }
    return {name for name, digest in listed.items() if held.get(name) == digest}


def holds_shots(folder: Path) -> bool:
    """Whether a folder holds what makes it one of shots; no report belongs there."""
    names = [path.name for path in folder.iterdir()]
    return any(name in ("session.toml", "target.json") or name.endswith(".dng") for name in names)


@pytest.mark.parametrize("command", CASES)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_what_is_the_user_s_stays_as_it_is(bench, command, data):
    report = bench.report
    kinds = st.sampled_from(KINDS)
    things = data.draw(
        st.lists(st.tuples(st.sampled_from(PLACES), st.sampled_from(NAMES), kinds), max_size=4)
        | st.lists(st.tuples(st.just(REPORTS[0]), st.sampled_from(IN_REPORTS), kinds), min_size=1, max_size=2)
    )
    earlier = data.draw(st.sampled_from((True, True, False)), "an earlier report is there")
    arguments = data.draw(st.sampled_from(CASES[command]))
    again = data.draw(st.booleans(), "run twice")
    with tempfile.TemporaryDirectory() as folder, quick(report), contextlib.chdir(folder):
        root = Path(folder)
        shutil.copytree(bench.root, root, dirs_exist_ok=True)
        (root / "elsewhere").mkdir()
        (root / "elsewhere" / "precious.txt").write_bytes(b"mine")
        if earlier:
            write_report(report, root / "reports")
        for thing in things:
            put(root, *thing)
        before = holdings(root)
        own = own_files(root, before)
        with_shots = {
            str(path.relative_to(root)) for path in root.rglob("*") if path.is_dir() and holds_shots(path)
        }
        session_before = contents_of(root / "evening" / "session.toml")
        for _ in range(1 + again):
            run(command, *arguments)
        after = holdings(root)
        if command == "session":
            may_have_grown(root / "evening" / "session.toml", session_before)
            own = own | {"evening/session.toml", "reports/session.toml"}
        for name, held in before.items():
            if name not in own:
                assert after.get(name) == held, name
        if command == "measure":
            added = {name for name in set(after) - set(before) if after[name] != "folder"}
            assert not {name for name in added if str(Path(name).parent) in with_shots}
        # What a run may leave behind at its end are finished files only.
        assert {name for name in after if ".writing-" in name} <= set(before)


def contents_of(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


def may_have_grown(path: Path, before: bytes | None) -> None:
    """The session file is the user's, and only added to."""
    if before is not None:
        assert path.read_bytes().startswith(before)


@pytest.mark.parametrize("command", [name for name in CASES if name not in ("demo", "target")])
def test_shots_are_the_same_after_every_command_for_real(bench, tmp_path, command):
    shutil.copytree(bench.root, tmp_path, dirs_exist_ok=True)
    before = holdings(tmp_path / "evening")
    with contextlib.chdir(tmp_path), pytest.MonkeyPatch.context() as patch:
        patch.setattr(_work, "workers_at_once", lambda: 1)
        run(command, *CASES[command][0])
    after = holdings(tmp_path / "evening")
    assert {name: after.get(name) for name in before if name != "session.toml"} == {
        name: held for name, held in before.items() if name != "session.toml"
    }
