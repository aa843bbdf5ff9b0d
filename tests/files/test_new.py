"""Files that are only ever new."""

import os

import pytest

from lensbench.errors import BenchError
from lensbench.files import whole, write_new
from tests.folders import holdings


def test_files_are_written_and_the_same_again_is_no_mistake(tmp_path):
    files = {tmp_path / "a" / "one.txt": b"1", tmp_path / "a" / "two.txt": b"2"}
    for _ in range(2):
        write_new(files, "Choose.")
        assert {path.name: path.read_bytes() for path in (tmp_path / "a").iterdir()} == {
            "one.txt": b"1",
            "two.txt": b"2",
        }


@pytest.mark.parametrize("what", ["file", "folder", "link", "dangling link"])
def test_nothing_is_written_where_one_is_in_the_way(tmp_path, what):
    second = tmp_path / "two.txt"
    {
        "file": lambda: second.write_bytes(b"mine"),
        "folder": second.mkdir,
        "link": lambda: ((tmp_path / "mine").write_bytes(b"mine"), second.symlink_to(tmp_path / "mine")),
        "dangling link": lambda: second.symlink_to(tmp_path / "nowhere"),
    }[what]()
    before = holdings(tmp_path)
    with pytest.raises(BenchError, match=r"two\.txt: exists already.* Name another\."):
        write_new({tmp_path / "one.txt": b"1", second: b"2"}, "Name another.")
    assert holdings(tmp_path) == before


def test_a_file_that_somebody_reads_for_a_moment_is_replaced_all_the_same(tmp_path, monkeypatch):
    """What Windows does while a browser reads the file: the first attempts are refused."""
    (tmp_path / "old").write_text("old")
    (tmp_path / "new").write_text("new")
    replace, refused = os.replace, iter([True, True])

    def busy(source, target):
        if next(refused, False):
            raise PermissionError(13, "in use")
        replace(source, target)

    monkeypatch.setattr(whole, "MOMENTS_S", (0.0, 0.0, 0.0))
    monkeypatch.setattr(whole.os, "replace", busy)
    whole.move_file(tmp_path / "new", tmp_path / "old")
    assert (tmp_path / "old").read_text() == "new"
