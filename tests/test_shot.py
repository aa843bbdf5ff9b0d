"""A Shot's samples by colour and place, against plain loops over the frame."""

import numpy as np
import pytest

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
            assert shot.colours[part.index] == channel
            assert SIX[y][x] == part.index
    assert np.all(count == 1)
