"""The process that unpacks raw files, where it is a copy of the one that asks: it dies alone, or with who asks."""

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from lensbench.dng import write_dng
from lensbench.loaders import _unpack, read_shot
from tests.analysers import flats

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only there it is a copy")

ROOT = Path(__file__).parents[2]

HEAD = """
import os, signal, sys, threading, time
from pathlib import Path
from lensbench.loaders import read_shot
from lensbench.loaders.decoder import DecoderDied, decoder
decoder.start()
copy = decoder._process._number
"""
"""What begins each program: the tests' own process has threads, and so makes no copies."""


@pytest.fixture(scope="module")
def flat(tmp_path_factory):
    path = tmp_path_factory.mktemp("copied") / "flat.dng"
    write_dng(path, flats.flat(flats.cos4((240, 160), 0.5), seed=3))
    return path


def said_by(program, path):
    command = [sys.executable, "-c", HEAD + program, str(path)]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)
    assert run.stderr == ""
    return run.stdout.split()


def test_a_copy_reads_as_libraw_does_and_takes_nothing_along_when_it_crashes(flat):
    """LibRaw in this process is the reference; a pipe without a writer keeps the copy waiting until it dies."""
    program = """
os.kill(copy, signal.SIGINT)
print(type(decoder._process).__name__, read_shot(sys.argv[1]).digest())
os.mkfifo(waits := Path(sys.argv[1]).with_name("waits.dng"))
threading.Timer(0.3, os.kill, (copy, signal.SIGSEGV)).start()
try:
    decoder.unpack(waits)
except DecoderDied as death:
    print("Segmentation fault" in str(death))
print(read_shot(sys.argv[1]).size[0])
"""
    said = said_by(program, flat)
    with _unpack.unpacked(str(flat)) as found:
        assert np.array_equal(read_shot(flat).samples, found.samples)
    assert said == ["CopiedProcess", read_shot(flat).digest(), "True", "240"]


def test_a_copy_ends_with_who_asked_even_if_that_is_killed(flat):
    (copy,) = said_by(
        "print(copy, flush=True)\nread_shot(sys.argv[1])\nos.kill(os.getpid(), signal.SIGKILL)", flat
    )
    until = time.monotonic() + 20
    while Path(f"/proc/{copy}").exists() and time.monotonic() < until:
        time.sleep(0.01)
    assert not Path(f"/proc/{copy}").exists()


def test_what_starts_beside_other_threads_is_no_copy(flat):
    program = """
decoder.close()
threading.Thread(target=time.sleep, args=(2,), daemon=True).start()
print(read_shot(sys.argv[1]).size[0], type(decoder._process).__name__)
"""
    assert said_by(program, flat) == ["240", "Popen"]
