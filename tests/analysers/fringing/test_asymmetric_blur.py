"""Centres where blur is asymmetric: coma and lean move half crossings, and a centre must not pretend to be sure.

The displacement that coma gives a half crossing grows with the field and changes with defocus (Welford,
Aberrations of Optical Systems, ch. 8, from memory), so with a leaning field it is a q + b (l·q) q for the field
position q: the first part looks like fringing, the second like a displaced centre.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from lensbench.analysers.fringing import measure_fringing
from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.frame import half_diagonal
from lensbench.simulator.camera import Camera as SimulatedCamera
from lensbench.simulator.scene import Scene
from lensbench.target.layout import make_layout
from tests.aberrated_shots import aberrated_shot
from tests.analysers.geometry.invented_lines import (
    SIZE,
    Camera,
    radial_distortion,
    seen_colours,
    seen_lines,
    set_squares,
)
from tests.bench.centres import errors_of, random_lens

LAYOUT = set_squares()
UNIT = half_diagonal(SIZE)


@dataclass(frozen=True)
class Comatic(Camera):
    """Green's picture with fringing about its axis, and what coma in a leaning field adds to it."""

    lean_px: tuple[float, float] = (0.0, 0.0)
    on_axis_px: tuple[float, float] = (0.0, 0.0)

    def picture(self, sheet_mm):
        plain = super().picture(sheet_mm)
        q = (plain - self.axis_px) / UNIT
        square = np.square(q).sum(axis=-1, keepdims=True)
        moved = q * (1.2 + 2.0 * square) + (q @ np.array(self.lean_px))[..., None] * q
        return plain + moved + square * np.array(self.on_axis_px)


def errors(lean, on_axis, seed):
    camera = Comatic(lean_px=tuple(lean), on_axis_px=tuple(on_axis))
    found, responses = seen_colours({"green": Camera(), "red": camera}, LAYOUT, 0.015, seed=seed)
    place = measure_fringing(found, responses, SIZE).fields[0].centre_px
    if place is None:
        return []
    parts = zip((place.x, place.y), Camera().axis_px, strict=True)
    return [(part.value - true, part.half_width) for part, true in parts]


def test_fields_that_coma_and_lean_pull_aside_hold_or_are_not_given():
    rng = np.random.default_rng(31_771_000)
    rows = []
    for seed in range(40):
        lean, on_axis = rng.normal(0, rng.choice([0.02, 0.05, 0.15]), (2, 2))
        rows += errors(lean, on_axis, seed)
    error, half = np.abs(rows).T
    assert len(rows) > 40
    # 80 figures at most: 95 % ± 2 × 2.4 %.
    assert np.mean(error <= half) > 0.9
    assert np.median(half) <= 2 * np.percentile(error, 95)


def test_a_strong_pull_gives_no_centre():
    assert errors((1.5, 0.5), (0.5, -1.0), 1) == []


@pytest.mark.parametrize("seed", [3, 4, 6])
def test_one_aperture_of_an_aberrated_lens(seed):
    """Coma of up to 2 µm, a leaning field and colours in focus elsewhere, by the lens's own pupil."""
    camera = SimulatedCamera()
    layout = make_layout(camera.sensor_mm, 0.1, "coarse")
    lens, f_number = random_lens(seed, 1.0)
    found, responses = aberrated_shot(lens, camera, layout, Scene(), f_number).measured(seed)
    places = [field.centre_px for field in measure_fringing(found, responses, camera.size).fields]
    red, green, blue = (Lines.measured(found, responses[name], camera.size) for name in ("red", "green", "blue"))
    for others in ((red, blue), ()):  # of a camera without colours, too
        shot = TargetShot("t", green, others=others)
        geometry = measure_geometry([shot], layout, camera.size, camera.sensor_mm, layout.rulers_mm)
        places.append(geometry.distortion.centre_px)
    rows = [row for place in places if place for row in errors_of(lens, place)]
    # None may be off by far: a 95 % interval's half-width and a half is three standard deviations.
    assert all(abs(error) <= 1.53 * half for error, half in rows)


@dataclass(frozen=True)
class Pulled(Camera):
    """Barrel distortion, and in this colour a pull along a vector that grows with |q|²: coma on the axis."""

    pull_px: tuple[float, float] = (0.0, 0.0)

    def picture(self, sheet_mm):
        plain = super().picture(sheet_mm)
        square = np.square((plain - self.axis_px) / UNIT).sum(axis=-1, keepdims=True)
        return plain + square * np.array(self.pull_px)


def test_other_colours_tell_what_one_can_not():
    """Such a pull looks like a displaced centre and a leaning sheet: no edge of one colour contradicts that."""
    rng = np.random.default_rng(31_773_000)
    rows = []
    for seed in range(8):
        pulls = rng.normal(0, rng.choice([0.01, 0.05]), (3, 2))
        cameras = [Pulled(distorted=radial_distortion(-0.03), pull_px=tuple(pull)) for pull in pulls]
        green, *others = (seen_lines(c, LAYOUT, 0.015, seed=3 * seed + k) for k, c in enumerate(cameras))
        shot = TargetShot("t", green, others=tuple(others))
        place = measure_geometry([shot], LAYOUT, SIZE, (36.0, 24.0), LAYOUT.rulers_mm).distortion.centre_px
        rows += [
            (p.value - true, p.half_width) for p, true in zip((place.x, place.y), Camera().axis_px, strict=True)
        ]
    error, half = np.abs(rows).T
    assert np.mean(error <= half) >= 0.85
    assert np.median(half) <= 2 * np.percentile(error, 95)
