"""Files that are broken or made to do harm: refused with a sentence, and without taking anything else along.

`tests/bench/hostile.py` tries many more.
"""

import os
import signal
import subprocess
import sys
import tomllib

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lensbench.dng import write_dng
from lensbench.errors import BenchError
from lensbench.loaders import decoder as decoders
from lensbench.loaders import load_session, read_shot, start_session
from lensbench.loaders.session import session_mistakes
from lensbench.shot import Shot
from tests.loaders.refusals import loaded_or_sentence


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    """A small DNG."""
    path = tmp_path_factory.mktemp("good") / "a.dng"
    light = np.random.default_rng(1).poisson(np.full((64, 96), 4000.0)).astype(np.uint16)
    write_dng(path, Shot.from_array(light, 256, 15000, "RGGB"))
    return path


@pytest.fixture
def folder(tmp_path, good):
    """A folder with one shot, and a way to write its session file."""
    (tmp_path / "a.dng").write_bytes(good.read_bytes())

    def write(text):
        (tmp_path / "session.toml").write_text(text)
        return tmp_path

    return write


# -- session files --------------------------------------------------------------------------------------------


def test_twenty_thousand_shots_with_one_wrong_key(folder):
    shots = '[[shot]]\nfile = "a.dng"\nshows = "flat"\n' + '[[shot]]\nfile = "b.dng"\nshows = "flat"\n' * 20_000
    where = folder(shots + "f_nmber = 8\n")
    mistakes = session_mistakes(where)
    # The wrong key stands on the last line, after the first thirty of some 40,000 mistakes.
    assert len(mistakes) == 31
    assert mistakes[0].startswith(f"{where / 'session.toml'}, line 5: there is no file b.dng")
    assert mistakes[-1].endswith("mistakes more. Mend these first.")


def test_a_long_note_before_a_wrong_key(folder):
    where = folder('[build]\nnotes = """\n' + "a line\n" * 50_000 + '"""\nnmae = "Box"\n')
    assert f"{where / 'session.toml'}, line 50004: the key nmae is unknown here; did you mean name?" in (
        session_mistakes(where)
    )


@pytest.mark.parametrize(
    "text",
    [
        ".".join(["a"] * 50_000) + " = 1\n",
        ".".join(["'a.b'"] * 50_000) + " = 1\n",
        "[build]\nname = {b = 1, " + " . ".join(["a"] * 50_000) + " = 1}\n",
        "[build]\nname = " + "[" * 5000 + "]" * 5000 + "\n",
        "[" + ".".join(["a"] * 10_000) + "]\n",
        "[lens]\npupil_ratio = " + "9" * 5000 + "\n",
        "[lens]\npupil_ratio = 0x" + "f" * 5000 + "\n",
    ],
    ids=["dotted key", "quoted names", "key in braces", "brackets", "header", "digits", "hexadecimal digits"],
)
def test_deep_and_long_values_are_refused_in_a_sentence(folder, text):
    with pytest.raises(BenchError, match=r"session\.toml"):
        load_session(folder(text))


def test_a_string_that_is_never_closed_is_gone_through_once(folder):
    """Half a million quotes, each of which could begin a string anew; the sentence repeats little of them."""
    with pytest.raises(BenchError, match="Look for a missing quote") as refused:
        load_session(folder('[build]\nnotes = """' + '\\"' * 400_000))
    assert len(str(refused.value)) < 500


TOML_LINES = st.lists(
    st.sampled_from(
        [
            *(
                "[build]",
                "[[shot]]",
                "[shot.more]",
                "[a.b]",
                "[[a.c]]",
                "[a.c.d]",
                '["a b".c]',
                "['x=y']",
                "# [no]",
                "",
            ),
            *(
                "file = 'a'",
                'name = """\n[[shot]]\n# no\n"""',
                "b = [\n 1, # ]\n 2]",
                "c.d = 1",
                '"e f" = {g = [1]}',
            ),
            *("k = '''\n'''", 'q = "# [x]"', "t = {u = '}'}", "v = 'it''", "'=' = 1", 'w."=".x = 2'),
        ]
    ),
    max_size=12,
)


def _keys(data, way=()):
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for part, value in items:
        yield (*way, part)
        yield from _keys(value, (*way, part))


@settings(max_examples=300, deadline=None)
@given(TOML_LINES)
def test_every_key_s_line_is_the_first_that_python_s_reader_finds_it_on(lines):
    """Held against tomllib (Python's own), which reads more and more of the text until the key is there."""
    from lensbench.loaders.toml_lines import line_of

    text = "\n".join(lines) + "\n"
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    for key in _keys(data):
        assert line_of(text, key) == _first_line(text, key)


def _first_line(text, key):
    lines = text.split("\n")
    for count in range(1, len(lines) + 1):
        # A value may run over several lines: it belongs to the one on which it begins.
        for end in range(count, len(lines) + 1):
            try:
                data = tomllib.loads("\n".join(lines[:end]))
                break
            except tomllib.TOMLDecodeError:
                continue
        if key in set(_keys(data)):
            return count
    return None


# -- odd files ------------------------------------------------------------------------------------------------


def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "a.dng")
    with pytest.raises(BenchError, match=r"a\.dng: is no plain file but a pipe or a device"):
        read_shot(tmp_path / "a.dng")
    with pytest.raises(BenchError, match="is no plain file"):
        read_shot("/dev/zero")


def test_links_in_a_circle_and_endless_names(folder):
    where = folder(
        '[[shot]]\nfile = "round.dng"\nshows = "flat"\n[[shot]]\nfile = "' + "é" * 190 + '.dng"\nshows = "flat"\n'
    )
    (where / "round.dng").symlink_to(where / "other.dng")
    (where / "other.dng").symlink_to(where / "round.dng")
    assert len(session_mistakes(where)) == 2
    with pytest.raises(BenchError, match=r"round\.dng"):
        read_shot(where / "round.dng")
    (where / "circle").symlink_to(where / "circle")
    with pytest.raises(BenchError, match="circle"):
        load_session(where / "circle")


def test_names_that_no_session_file_can_hold_are_named_and_left_out(tmp_path, good):
    for name in (b"\xff\xfe.dng", b"a\x1b[2Jb.dng", b"two\nlines.dng", b"fine.dng"):
        with open(os.fsencode(tmp_path) + b"/" + name, "wb") as file:
            file.write(good.read_bytes())
    started = start_session(tmp_path)
    assert [shot.file for shot in started.added] == ["fine.dng"]
    assert len(started.unreadable) == 3
    assert all("has a name that a session file can't hold" in said for said in started.unreadable)
    assert read_shot(os.fsdecode(os.fsencode(tmp_path) + b"/a\x1b[2Jb.dng")).name == "a\\x1b[2Jb.dng"


# -- raw files ------------------------------------------------------------------------------------------------


SPOILS = st.lists(
    st.tuples(st.integers(0, 3000), st.sampled_from([1, 2, 4]), st.integers(0, 2**32 - 1)), min_size=1, max_size=4
)


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(SPOILS, st.integers(0, 100))
def test_any_bytes_of_a_raw_file_give_a_shot_or_a_sentence(good, tmp_path, spoils, share):
    content = bytearray(good.read_bytes())
    for at, size, value in spoils:
        content[at : at + size] = (value % 256**size).to_bytes(size, "little")
    (tmp_path / "spoiled.dng").write_bytes(content[: len(content) * share // 100 or None])
    shot = loaded_or_sentence(read_shot, tmp_path / "spoiled.dng")
    assert isinstance(shot, Shot) or "spoiled.dng: " in shot


def _process_that(does):
    return subprocess.Popen(
        [sys.executable, "-c", f"import os, signal, sys, time\nsys.stdin.buffer.read(4)\n{does}"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )


@pytest.mark.parametrize(
    ("does", "says"),
    [
        ("os.kill(os.getpid(), signal.SIGSEGV)", "LibRaw crashed on it: Segmentation fault"),
        ("os.kill(os.getpid(), signal.SIGVTALRM)", "takes far longer than any camera's file"),
        (
            "sys.stdout.buffer.write(b'\\0\\0\\0\\x09{\"facts\":'); sys.stdout.flush(); os._exit(3)",
            "ended with code 3",
        ),
    ],
)
def test_a_decoder_that_dies_is_that_file_s_misfortune(good, monkeypatch, does, says):
    decoders.decoder.close()
    with monkeypatch.context() as patched:
        patched.setattr(decoders, "start_process", lambda: _process_that(does))
        with pytest.raises(BenchError, match=rf"a\.dng: can't be unpacked \(.*{says}"):
            read_shot(good)
    assert read_shot(good).size == (96, 64)


def test_the_decoder_takes_its_own_time_limit(monkeypatch):
    """A process that spins is ended by its processor time, however busy the machine is."""
    code = "from lensbench.loaders import _unpack\n_unpack._limit_time(0.05)\nwhile True: pass"  # an endless strip
    ended = subprocess.run([sys.executable, "-c", code], check=False)
    assert ended.returncode == -signal.SIGVTALRM


@pytest.mark.parametrize(("tag", "says"), [("BlackLevel", "no black level"), ("WhiteLevel", "no white level")])
def test_a_lost_level_is_not_taken_in_silence(good, tmp_path, tag, says):
    """One flipped bit in a tag's number, and the tag is another one."""
    content = bytearray(good.read_bytes())
    with tifffile.TiffFile(good) as tiff:
        at = next(page.tags[tag].offset for page in tiff.pages if tag in page.tags)
    content[at + 1] ^= 0x20
    (tmp_path / "flipped.dng").write_bytes(content)
    shot = read_shot(tmp_path / "flipped.dng")
    assert says in shot.incomparable
    assert read_shot(good).incomparable is None
