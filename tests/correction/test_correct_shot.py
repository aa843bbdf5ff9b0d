"""Arrays in, arrays out: signs and amounts by values written by hand, for every kind of frame."""

from dataclasses import replace

import msgspec
import numpy as np
import pytest
from scipy.ndimage import center_of_mass

from lensbench.correction import Taken, correct_shot, correction_values
from lensbench.correction._gains import Gains
from lensbench.correction._recipe import Recipe, Shadow
from lensbench.correction._warp import Warp
from lensbench.figure import Figure
from lensbench.findings import Distortion, Dust, Geometry, Mark
from tests.correction.test_pictures import SIZE, figure, invented_report
from tests.findings.alter import alter
from tests.invented_shots import KINDS, random_shot

CENTRE = np.array([(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2])
HALF = np.hypot(*SIZE) / 2
BLACK, RANGE = 512, 15359


def drawn(kind, light):
    """A shot of a kind, of light by colour: a function of x, y and the colour's name, from 0 to 1."""
    shot = random_shot(kind, width=SIZE[0], height=SIZE[1], black=512)
    y, x = np.mgrid[: SIZE[1], : SIZE[0]].astype(float)
    by_colour = np.stack([light(x, y, colour) for colour in shot.colours], axis=-1)
    if shot.pattern is not None:
        down, across = shot.pattern.shape
        index = np.tile(shot.pattern, (SIZE[1] // down + 1, SIZE[0] // across + 1))[: SIZE[1], : SIZE[0]]
        by_colour = np.take_along_axis(by_colour, index[:, :, None].astype(int), axis=2)[:, :, 0]
    return replace(shot, samples=np.round(BLACK + RANGE * by_colour).astype(np.uint16))


def spot(x, y, place, sigma=4.0):
    return 0.1 + 0.7 * np.exp(-((x - place[0]) ** 2 + (y - place[1]) ** 2) / (2 * sigma**2))


def with_distortion(report, term):
    """The lens draws what belongs at q (1 + term q²) at q."""
    distortion = Distortion(
        "barrel", [], None, None, (float(CENTRE[0]), float(CENTRE[1])), [figure(term)], figure(0)
    )
    alter(report.settings[0], geometry=Geometry(distortion=distortion))
    return report


@pytest.mark.parametrize("kind", ["RGGB", "GBRG", "6x6", "planes"])
def test_red_that_lies_outward_is_brought_in(kind):
    # Red is drawn outward by 1 px at the corner, and so by its share of the way everywhere.
    green = CENTRE - np.array([200, 150])
    red = green + (green - CENTRE) / HALF
    shot = drawn(kind, lambda x, y, colour: spot(x, y, red if colour == "red" else green))
    planes = correct_shot(shot, invented_report(), f_number=8.0, kinds=("fringing",)).samples
    window = np.s_[75:140, 85:150]
    places = [np.array(center_of_mass(planes[:, :, n][window] - 0.1)) for n in range(3)]
    assert np.linalg.norm(red - green) > 0.5
    assert np.linalg.norm(places[0] - places[1]) < 0.03
    assert np.linalg.norm(places[2] - places[1]) < 0.03


def test_barrel_is_straightened_outward():
    # A lens that draws at q what belongs at q (1 + 0.08 q²) draws the corners too far in.
    report, place = with_distortion(invented_report(), 0.08), CENTRE + np.array([200, 120])
    q = np.linalg.norm(place - CENTRE) / HALF
    shot = drawn("planes", lambda x, y, colour: spot(x, y, place))
    corrected = correct_shot(shot, report, f_number=8.0, kinds=("distortion",)).samples[:, :, 1]
    y, x = center_of_mass(np.where(corrected > 0.12, corrected - 0.1, 0))
    # The whole is scaled so that the frame's border is just reached in the middle of its longer sides' ends …
    ends = np.array([CENTRE[0], CENTRE[1]]) / HALF
    zooms = 1 + 0.08 * ends**2
    wanted = CENTRE + (place - CENTRE) * (1 + 0.08 * q**2) / zooms.min()
    assert np.allclose((x, y), wanted, atol=0.3)


def test_falloff_is_given_back():
    shot = drawn(
        "RGGB", lambda x, y, colour: 0.4 * 2 ** -(((x - CENTRE[0]) ** 2 + (y - CENTRE[1]) ** 2) / HALF**2)
    )
    planes = correct_shot(shot, invented_report(), f_number=8.0, kinds=("falloff",)).samples
    assert np.allclose(planes, 0.4, rtol=0.003)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_frame_is_corrected(kind):
    report = with_distortion(invented_report(), 0.05)
    shot = drawn(kind, lambda x, y, colour: np.full_like(x, 0.2))
    corrected = correct_shot(shot, report, f_number=8.0, kinds=("falloff", "fringing", "distortion"))
    shape = SIZE[::-1] if kind == "grey" else (*SIZE[::-1], 3)
    assert corrected.samples.shape == shape
    assert corrected.colours == (("grey",) if kind == "grey" else ("red", "green", "blue"))
    assert corrected.samples[256, 320] == pytest.approx(0.2, rel=0.01)
    # Given back where there was no falloff, light is too much in the corners.
    assert corrected.samples[2, 2] == pytest.approx(0.4, rel=0.06)


def test_only_shadows_on_the_sensor_and_only_at_their_aperture_are_taken_out():
    report = invented_report()
    percent, px = Figure.of(20, 1, "%"), Figure.of(30, 1, "px")
    marks = [
        Mark(x, 200.0, "spot", px, px, percent, 20.0, "centre", lies_on=place)
        for x, place in ((200.0, "sensor"), (300.0, "lens"), (400.0, "can't tell"))
    ]
    alter(report.settings[0], dust=Dust(marks))
    report.settings.append(msgspec.structs.replace(report.settings[0], f_number=16.0, dust=Dust([])))
    shot = drawn("planes", lambda x, y, colour: np.full_like(x, 0.3))
    lifted = correct_shot(shot, report, f_number=8.0, kinds=("falloff", "dirt")).samples[:, :, 1]
    plain = correct_shot(shot, report, f_number=8.0, kinds=("falloff",)).samples[:, :, 1]
    ratio = lifted / plain
    assert ratio[200, 200] == pytest.approx(1 / 0.8, rel=0.01)
    assert ratio[200, 215] == pytest.approx(1 / 0.9, rel=0.01)
    assert ratio[200, 300] == ratio[200, 400] == 1
    between, without = (
        correct_shot(shot, report, f_number=11.0, kinds=kinds).samples
        for kinds in (("falloff", "dirt"), ("falloff",))
    )
    assert np.array_equal(between, without)


def test_a_fibre_s_shadow_follows_its_line():
    path = np.array([[100.0, 100.0], [140.0, 130.0], [200.0, 130.0]])
    shadow = Shadow(path, 6.0, 0.4)
    light = Gains(Recipe(SIZE, shadows=[shadow]), ("green",)).on_map(
        "green", np.arange(SIZE[0], dtype=float), np.arange(SIZE[1], dtype=float), [shadow]
    )
    assert light[115, 120] == pytest.approx(1 / 0.6, rel=0.02)
    assert light[130, 170] == pytest.approx(1 / 0.6, rel=0.02)
    assert light[133, 170] == pytest.approx(1 / 0.8, rel=0.02)
    assert light[150, 170] == 1


def test_values_say_the_same_as_the_picture():
    report = with_distortion(invented_report(), 0.08)
    values = correction_values(report, Taken(8.0), ("falloff", "fringing", "distortion"))
    assert values.radius_px == pytest.approx(HALF)
    # Red: 1 px at the half-diagonal, in proportion to the radius.
    assert values.red.factors == pytest.approx([1 + 1 / HALF, 0, 0, 0], abs=1e-9)
    assert values.blue is None
    assert values.light.centre_px == pytest.approx(tuple(CENTRE), abs=2)
    assert values.light.stops == pytest.approx([1, 0, 0], abs=0.02)
    place = np.array([500.0, 60.0])
    q = (place - values.distortion.centre_px) / values.radius_px
    square = (q**2).sum()
    told = values.distortion.centre_px + values.radius_px * q * np.polynomial.polynomial.polyval(
        square, values.distortion.factors
    )
    warp = Warp(Recipe(SIZE, distortion=None), ("green",))
    assert not warp.needed
    # What is read there belongs at the place: undone by the report's own formula, up to the whole picture's scale.
    drawn_q = (told - CENTRE) / HALF
    ideal = drawn_q * (1 + 0.08 * (drawn_q**2).sum())
    assert np.allclose(ideal / q, ideal[0] / q[0], rtol=1e-4)
    middle = values.distortion.factors[0]
    assert np.allclose(ideal / q, middle, rtol=1e-3)
