"""A Shot's samples by colour and place, against plain loops over the frame."""

import numpy as np
import pytest

from lensbench.errors import BenchError
from lensbench.shot import Shot
from tests.invented_shots import BAYER, KINDS, RGBG, SIX, random_shot, shot_of


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "box", [(0, 0, 84, 60), (-9, -9, 300, 300), (7, 11, 20, 31), (83, 59, 90, 90), (5, 5, 5, 9)]
)
def test_a_window_holds_just_the_samples_of_its_channel(kind, box):
    black = np.array([512, 500, 510, 505])[: len(KINDS[kind][1])]
    shot = random_shot(kind, black=black)
    left, top, right, bottom = box
    for channel in shot.channels:
        seen = shot.window(channel, *box)
        wanted = {}
        for y in range(max(top, 0), min(bottom, 60)):
            for x in range(max(left, 0), min(right, 84)):
                for index in shot.indices(channel):
                    if shot.pattern is None:
                        wanted[x, y] = shot.samples[y, x, index] - black[index]
                    elif shot.pattern[y % len(shot.pattern), x % len(shot.pattern[0])] == index:
                        wanted[x, y] = float(shot.samples[y, x]) - black[index]
        found = {(int(x), int(y)): light for x, y, light in zip(seen.x, seen.y, seen.light, strict=True)}
        assert found == wanted
        assert len(seen.x) == len(wanted)


def test_clipped_and_near_black_samples_are_known():
    samples = np.full((60, 60), 9000, dtype=np.uint16)
    samples[10, 20], samples[12, 20] = 15871, 15870
    shot = shot_of(samples, BAYER["RGGB"], RGBG)
    window = shot.window("red", 0, 0, 60, 60)
    assert [(x, y) for x, y in zip(window.x[window.clipped], window.y[window.clipped], strict=True)] == [(20, 10)]
    assert shot.full_scale("red") == 15871 - 512
    assert shot.near_black("red") == pytest.approx((15871 - 512) / 2**8)


def test_sublattices_cover_the_frame_once():
    shot = random_shot("6x6")
    count = np.zeros(shot.samples.shape, dtype=int)
    for channel in shot.channels:
        for part in shot.sublattices(channel):
            (x, y), (across, down) = part.first, part.step
            count[y::down, x::across] += 1
            assert np.shares_memory(part.samples, shot.samples)
            assert shot.colours[part.colour_index] == channel
            assert SIX[y][x] == part.colour_index
    assert np.all(count == 1)


@pytest.mark.parametrize("kind", KINDS)
def test_a_shot_from_an_array_is_what_a_loader_would_make(kind):
    """The same colours by index, the same light, as of the shot that was written out by hand."""
    wanted = random_shot(kind)
    letters = {"red": "R", "green": "G", "blue": "B"}
    rows = None
    if wanted.pattern is not None and kind != "grey":
        rows = ["".join(letters[wanted.colours[index]] for index in row) for row in wanted.pattern]
    made = Shot.from_array(wanted.samples, 512, 15871, rows)
    assert made.colours == wanted.colours
    assert made.size == wanted.size
    for channel in wanted.channels:
        found, known = (shot.window(channel, 3, 5, 40, 33) for shot in (made, wanted))
        order = [np.lexsort((window.x, window.y)) for window in (found, known)]
        assert np.array_equal(found.light[order[0]], known.light[order[1]])


@pytest.mark.parametrize("letters", BAYER)
def test_four_letters_are_two_rows(letters):
    """The greens have indices of their own, in the order of the rows."""
    shot = Shot.from_array(np.zeros((40, 40)), pattern=letters)
    assert shot.colours == RGBG
    assert [shot.colours[index][0].upper() for index in shot.pattern.ravel()] == list(letters)
    assert [index for index in shot.pattern.ravel() if index in (1, 3)] == [1, 3]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"samples": np.zeros((4, 4, 4))}, "shape"),
        ({"samples": np.zeros((40, 40, 3)), "pattern": "RGGB"}, "shape"),
        ({"samples": np.full((40, 40), np.nan)}, "finite"),
        ({"samples": np.array([["a", "b"]])}, "finite"),
        ({"pattern": "RGB"}, "RGGB"),
        ({"pattern": "RGWB"}, "RGGB"),
        ({"pattern": ["RG", "G"]}, "RGGB"),
        ({"pattern": []}, "RGGB"),
        ({"pattern": "RGGB", "black": [1, 2, 3]}, "one black level, or 4"),
        ({"black": 700, "white": 700}, "above black"),
    ],
)
def test_an_array_that_makes_no_shot_is_refused_in_words(given, words):
    with pytest.raises(BenchError, match=rf"noon: .*{words}"):
        Shot.from_array(**{"samples": np.zeros((40, 40)), "name": "noon"} | given)
