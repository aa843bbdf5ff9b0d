"""Files that land in a folder: each is given once, whole, whatever else goes on there."""

import threading
import time

import pytest

from lensbench.errors import BenchError
from lensbench.watch import follow
from lensbench.watch._arrivals import DEVELOPED_SETTLED_S, SETTLED_S, Arrivals


@pytest.fixture
def arrivals(tmp_path):
    return Arrivals(tmp_path)


def names(paths):
    return [path.name for path in paths]


def test_a_file_is_given_once_when_it_has_settled(tmp_path, arrivals):
    (tmp_path / "a.dng").write_bytes(b"part")
    assert arrivals.whole(0.0) == []
    assert arrivals.whole(SETTLED_S / 2) == []
    assert names(arrivals.whole(SETTLED_S)) == ["a.dng"]
    assert arrivals.whole(10.0) == []


def test_a_file_that_still_grows_is_waited_for(tmp_path, arrivals):
    path = tmp_path / "a.dng"
    for second in range(5):
        path.write_bytes(b"x" * (second + 1))
        assert arrivals.whole(float(second)) == []
    assert names(arrivals.whole(4 + SETTLED_S)) == ["a.dng"]


def test_a_file_written_again_is_given_again(tmp_path, arrivals):
    path = tmp_path / "a.dng"
    path.write_bytes(b"half")
    arrivals.whole(0.0)
    assert names(arrivals.whole(1.0)) == ["a.dng"]
    path.write_bytes(b"whole now")
    arrivals.whole(2.0)
    assert names(arrivals.whole(3.0)) == ["a.dng"]


def test_what_is_there_already_is_not_new(tmp_path, arrivals):
    (tmp_path / "old.dng").write_bytes(b"old")
    assert names(arrivals.take_all_for_known()) == ["old.dng"]
    assert arrivals.whole(0.0) == arrivals.whole(9.0) == []


def test_foreign_hidden_empty_and_vanishing_files(tmp_path, arrivals):
    for name in ("notes.txt", ".hidden.dng", "a.xmp", "b.dng"):
        (tmp_path / name).write_bytes(b"something")
    (tmp_path / "empty.dng").touch()
    (tmp_path / "folder.dng").mkdir()
    (tmp_path / "dangling.dng").symlink_to(tmp_path / "nothing")
    arrivals.whole(0.0)
    (tmp_path / "b.dng").unlink()
    assert arrivals.whole(9.0) == []
    assert not arrivals.busy(9.0)


def test_a_jpeg_waits_for_the_raw_file_that_it_belongs_to(tmp_path, arrivals):
    (tmp_path / "a.jpg").write_bytes(b"developed")
    arrivals.whole(0.0)
    (tmp_path / "a.dng").write_bytes(b"raw")
    arrivals.whole(1.0)
    assert names(arrivals.whole(DEVELOPED_SETTLED_S + 1)) == ["a.dng"]
    (tmp_path / "b.jpg").write_bytes(b"alone")
    arrivals.whole(10.0)
    assert names(arrivals.whole(10.0 + DEVELOPED_SETTLED_S)) == ["b.jpg"]


def test_a_folder_that_goes_away_and_comes_back(tmp_path):
    card = tmp_path / "card"
    card.mkdir()
    arrivals = Arrivals(card)
    card.rmdir()
    assert arrivals.whole(0.0) == []
    card.mkdir()
    (card / "a.dng").write_bytes(b"raw")
    arrivals.whole(1.0)
    assert names(arrivals.whole(2.0)) == ["a.dng"]


def test_following_gives_new_files_and_ends_when_idle(tmp_path):
    (tmp_path / "there.dng").write_bytes(b"there")

    def land():
        time.sleep(0.3)
        (tmp_path / "new.dng").write_bytes(b"new")

    thread = threading.Thread(target=land)
    thread.start()
    given = [path.name for paths in follow(tmp_path, idle_s=2.0) for path in paths]
    thread.join()
    assert given == ["there.dng", "new.dng"]


def test_no_such_folder(tmp_path):
    with pytest.raises(BenchError, match="no such folder"):
        next(follow(tmp_path / "nowhere"))
