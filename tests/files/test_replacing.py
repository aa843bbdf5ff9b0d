"""A set of files replaced: whole or not at all, whatever ends the run, and nothing else touched."""

import multiprocessing
import os
import shutil
from pathlib import Path

import pytest

from lensbench.errors import BenchError
from lensbench.files import WrittenFile, is_as_written, locked_folder, replace_files
from lensbench.files.replacing import STAGING
from tests.folders import holdings

OLD = {"page.html": b"old page", "gone.csv": b"old table", "list.txt": b"old list"}
NEW = {"list.txt": b"new list", "page.html": b"new page", "more.csv": b"new table"}


def entries(contents):
    return [WrittenFile.of(name, content) for name, content in contents.items()]


def write(folder: Path, contents, earlier=()):
    with locked_folder(folder):
        replace_files(folder, contents, list(earlier), "list.txt")


def held(folder: Path):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_new_set_takes_the_place_of_the_old_and_of_nothing_else(tmp_path):
    write(tmp_path, OLD)
    assert held(tmp_path) == OLD
    (tmp_path / "notes.txt").write_bytes(b"mine")
    write(tmp_path, NEW, entries(OLD))
    assert held(tmp_path) == {**NEW, "notes.txt": b"mine"}


def test_a_file_that_is_no_longer_written_stays_if_it_was_changed(tmp_path):
    write(tmp_path, OLD)
    (tmp_path / "gone.csv").write_bytes(b"old table, and my remarks")
    write(tmp_path, NEW, entries(OLD))
    assert held(tmp_path) == {**NEW, "gone.csv": b"old table, and my remarks"}


def change(path):
    path.write_bytes(path.read_bytes() + b", and my remarks")


def replace_by_link(path):
    shutil.copy(path, path.with_suffix(".mine"))
    path.unlink()
    path.symlink_to(path.with_suffix(".mine"))


def replace_by_folder(path):
    path.unlink()
    path.mkdir()


@pytest.mark.parametrize("meddle", [change, replace_by_link, replace_by_folder, lambda path: path.chmod(0o444)])
def test_a_file_in_the_way_that_is_not_as_written_stops_all(tmp_path, meddle):
    write(tmp_path, OLD)
    meddle(tmp_path / "page.html")
    before = holdings(tmp_path)
    with pytest.raises(BenchError, match=r"page\.html: is not as lensbench wrote it"):
        write(tmp_path, NEW, entries(OLD))
    assert holdings(tmp_path) == before


def test_what_only_looks_like_an_unfinished_run_is_left_alone(tmp_path):
    listless, foreign = tmp_path / f"{STAGING}{'0' * 16}", tmp_path / f"{STAGING}holiday"
    for folder in (listless, foreign):
        folder.mkdir()
        (folder / "mine.txt").write_bytes(b"mine")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "list.json").write_bytes(b"{}")
    (tmp_path / f"{STAGING}{'1' * 16}").symlink_to(elsewhere)
    forged = tmp_path / f"{STAGING}{'2' * 16}"
    forged.mkdir()
    (tmp_path / "precious").write_bytes(b"mine")
    listed = b'{"new": [{"name": "../precious", "size": 4, "sha256": ""}], "earlier": [],'
    (forged / "list.json").write_bytes(listed + b' "format": "lensbench-writing/1"}')
    before = holdings(tmp_path)
    write(tmp_path, NEW)
    after = holdings(tmp_path)
    assert {name: after[name] for name in before} == before


# -- kills ----------------------------------------------------------------------------------------------------


CALLS = ("mkdir", "open", "replace", "unlink", "rmdir", "fsync")


def killed_at(step: int, folder: Path) -> bool:
    """Replace OLD by NEW in a child that dies without a word at some call to the file system; False at the end."""

    def child():
        calls = 0

        def counted(function):
            def call(*arguments, **options):
                nonlocal calls
                calls += 1
                if calls == step:
                    os._exit(9)
                return function(*arguments, **options)

            return call

        for name in CALLS:
            setattr(os, name, counted(getattr(os, name)))
        write(folder, NEW, entries(OLD))

    process = multiprocessing.get_context("fork").Process(target=child)
    process.start()
    process.join()
    return process.exitcode == 9


def test_a_kill_at_any_moment_leaves_the_old_set_or_the_new_one(tmp_path):
    outcomes = []
    for step in range(1, 200):
        folder = tmp_path / str(step)
        write(folder, OLD)
        (folder / "notes.txt").write_bytes(b"mine")
        killed = killed_at(step, folder)
        with locked_folder(folder):
            pass
        after = held(folder)
        assert after.pop("notes.txt") == b"mine"
        assert after in (OLD, NEW), f"killed at call {step}"
        outcomes.append(after == NEW)
        if not killed:
            break
    assert outcomes[-1]
    assert not outcomes[0]
    assert sum(outcomes) > 4, "some kills came while files were moved"


def test_a_kill_while_mending_is_mended_too(tmp_path, monkeypatch):
    """The move is cut short, then its completion is."""
    write(tmp_path, OLD)
    moved = []

    def dies(*arguments):
        moved.append(arguments)
        raise KeyboardInterrupt

    for _ in range(3):
        with monkeypatch.context() as patch:
            patch.setattr(os, "replace", dies)
            with pytest.raises(KeyboardInterrupt):
                write(tmp_path, NEW, entries(OLD))
    write(tmp_path, NEW, entries(NEW))
    assert len(moved) == 3
    assert held(tmp_path) == NEW


def test_what_the_user_changed_after_a_kill_is_not_written_over(tmp_path, monkeypatch):
    write(tmp_path, OLD)
    replace = os.replace

    def second_dies(source, to):
        if Path(to).name == "more.csv":
            raise KeyboardInterrupt
        replace(source, to)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", second_dies)
        with pytest.raises(KeyboardInterrupt):
            write(tmp_path, NEW, entries(OLD))
    (tmp_path / "more.csv").write_bytes(b"mine")
    with pytest.raises(BenchError, match=r"more\.csv"):
        write(tmp_path, NEW, entries(OLD))
    assert (tmp_path / "more.csv").read_bytes() == b"mine"


# -- two runs at once -----------------------------------------------------------------------------------------


def write_own(folder: Path, number: int, times: int) -> None:
    for turn in range(times):
        contents = {name: f"{name} of {number} at {turn}".encode() * 500 for name in (f"{number}.csv", *OLD)}
        with locked_folder(folder):
            earlier = [WrittenFile.of(path.name, path.read_bytes()) for path in folder.iterdir() if path.suffix]
            replace_files(folder, contents, earlier, "list.txt")


def test_two_runs_at_once_leave_one_whole_set(tmp_path):
    runs = [multiprocessing.Process(target=write_own, args=(tmp_path, n, 20)) for n in (1, 2)]
    for run in runs:
        run.start()
    for run in runs:
        run.join()
    assert [run.exitcode for run in runs] == [0, 0]
    after = held(tmp_path)
    (winner,) = {content.split(b" of ")[1][:1] for content in after.values()}
    assert set(after) == {f"{winner.decode()}.csv", *OLD}


@pytest.mark.parametrize("meddle", [change, Path.unlink])
def test_as_written_means_the_same_content(tmp_path, meddle):
    write(tmp_path, OLD)
    (file, *_) = entries(OLD)
    assert is_as_written(tmp_path, file)
    meddle(tmp_path / file.name)
    assert not is_as_written(tmp_path, file)
