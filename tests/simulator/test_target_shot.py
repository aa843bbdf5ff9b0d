"""Whole target shots: what the truth says is what the picture shows."""

import dataclasses

import numpy as np
import pytest
from scipy import ndimage
from skimage.registration import phase_cross_correlation

from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Colour, Dirt, Lens
from lensbench.simulator.scene import Print, Scene
from lensbench.simulator.target_shot import TargetTruth, target_light, target_shot
from tests.simulator.benches import colour_camera, grey_camera, small_layout

COLOURS = {
    "red": Colour((0.61,), stretch=1.5e-3, stretch_outer=4e-3, focus_mm=0.03),
    "green": Colour((0.54,)),
    "blue": Colour((0.46,), stretch=-1e-3, shift_mm=(0.003, 0.0)),
    "grey": Colour((0.55,)),
}
LENS = Lens(
    focal_mm=50.0,
    open_f_number=4.0,
    image_radius_mm=3.0,
    spherical_um=0.8,
    coma_um=1.5,
    astigmatism_um=0.8,
    distortion=(-0.04,),
    decentre_mm=(0.1, 0.05),
    colours=COLOURS,
)
SCENE = Scene(magnification=0.1, turn_deg=2.0, tilt_deg=(1.0, -0.5), print=Print(black=0.0), white=1.0)


def planes(**changes) -> Camera:
    """A camera that takes full planes of every colour, all equally sensitive."""
    return colour_camera((720, 480), pattern=None, colours=("red", "green", "blue"), **changes)


@pytest.fixture(scope="module")
def shot_of_planes() -> tuple[np.ndarray, TargetTruth]:
    camera = planes()
    return target_light(LENS, camera, small_layout(camera), SCENE, 4.0)


def half_along(plane, start, normal, reach=14.0):
    """Where a profile along a normal crosses half of the step between its ends."""
    t = np.linspace(-reach, reach, 1401)
    place = start[:, None] + normal[:, None] * t
    profile = ndimage.map_coordinates(plane, place[::-1], order=5)
    level = (profile[:100].mean() + profile[-100:].mean()) / 2
    k = np.flatnonzero((profile[:-1] < level) & (profile[1:] >= level))
    assert len(k) == 1
    return t[k[0]] + (level - profile[k[0]]) / (profile[k[0] + 1] - profile[k[0]]) * 0.02


def test_edges_are_where_the_truth_puts_them(shot_of_planes):
    """Single profiles through the middles, on pixels: the mean over a frame within 0.01 px, none beyond 0.06."""
    light, truth = shot_of_planes
    for plane, channel in enumerate(("red", "green", "blue")):
        miss = [
            half_along(
                light[:, :, plane], truth.edges.crossing_px[channel][tile, leg], truth.edges.normal[tile, leg]
            )
            for tile in np.flatnonzero(truth.whole)
            for leg in range(3)
        ]
        assert np.mean(miss) == pytest.approx(0, abs=0.01)
        assert np.abs(miss).max() < 0.06


def test_colours_are_displaced_as_the_truth_says():
    """scikit-image's phase correlation, one tile alone in the frame, blurred alike in both colours."""
    colours = {"red": Colour((0.55,), stretch=3e-3), "green": Colour((0.55,)), "blue": Colour((0.55,))}
    lens, camera = Lens(open_f_number=8.0, distortion=(-0.04,), image_radius_mm=3.0, colours=colours), planes()
    layout = small_layout(camera)
    for tile in (1, 3, 5):
        alone = dataclasses.replace(
            layout, **{name: getattr(layout, name)[[tile]] for name in ("column", "row", "corners_mm")}
        )
        light, truth = target_light(lens, camera, alone, SCENE, 8.0)
        red, green, _ = np.moveaxis(1 - light, -1, 0)
        shift, _, _ = phase_cross_correlation(red, green, upsample_factor=100, normalization=None)
        assert shift[::-1] == pytest.approx(truth.lateral_px["red"][0], abs=0.03)


def test_lateral_colour_is_that_of_the_tiles_own_place():
    """Growing with the cube of the radius it differs over a tile; what counts is the place in the frame."""
    colours = {"red": Colour(stretch_outer=4e-3), "green": Colour(), "blue": Colour(stretch_outer=-2e-3)}
    lens, camera = Lens(diffraction=False, image_radius_mm=2.6, colours=colours), planes()
    aside = dataclasses.replace(SCENE, shift_mm=(6.5, 3.0))
    truth = target_light(lens, camera, small_layout(camera), aside, 8.0)[1]
    assert (truth.edges.place_px > [719, 479]).any()
    out = np.clip(truth.edges.place_px, 0, [719, 479]) - [359.5, 239.5]
    # 2.6 mm are 2.6 / 0.006 px.
    share = np.square(out / (2.6 / 0.006)).sum(axis=1, keepdims=True)
    assert not truth.whole.all()
    assert truth.lateral_px["red"] == pytest.approx(4e-3 * share * out, abs=1e-3)
    assert truth.lateral_px["blue"] == pytest.approx(-2e-3 * share * out, abs=1e-3)


def test_the_truths_radial_part_points_outward(shot_of_planes):
    _, truth = shot_of_planes
    radial = truth.radial_around_px("red")[:, 0]
    far = np.hypot(*(truth.edges.place_px - [359.5, 239.5]).T) > 250
    assert (radial[far] > 0.4).all()


def test_reference_colours_corners_are_the_projected_ones(shot_of_planes):
    """Magnification by the sheet's distance: neighbours' right angles, far from bending, are a pitch apart."""
    _, truth = shot_of_planes
    middle = np.argmin(np.hypot(*(truth.edges.place_px - [359.5, 239.5]).T))
    legs = truth.corners_px["green"][middle, 1] - truth.corners_px["green"][middle, 2]
    layout = small_layout(planes())
    same = (layout.column == truth.column[middle]) & (layout.row == truth.row[middle])
    ((_, one, other),) = layout.corners_mm[same]
    assert np.hypot(*legs) == pytest.approx(0.1 * np.hypot(*(one - other)) / 0.006, rel=2e-3)


def test_ink_spread_moves_edges_and_no_tile():
    camera = grey_camera((480, 320))
    layout = small_layout(camera)
    made = Print(black=0.0, ink_spread_mm=0.05)
    plain, spread = (
        target_light(LENS, camera, layout, dataclasses.replace(SCENE, print=p), 4.0)[1]
        for p in (SCENE.print, made)
    )
    moved = np.sum(
        (spread.edges.crossing_px["grey"] - plain.edges.crossing_px["grey"]) * plain.edges.normal, axis=-1
    )
    # 0.05 mm at 0.1× on pixels of 6 µm.
    assert moved == pytest.approx(0.05 * 0.1 / 0.006, rel=0.04)
    assert spread.corners_px["grey"] == pytest.approx(plain.corners_px["grey"])
    assert spread.edges.place_px == pytest.approx(plain.edges.place_px)


def test_ragged_print_blurs_the_mean_edge_and_moves_it_little():
    camera = grey_camera((480, 320))
    layout = small_layout(camera)
    lights = [
        target_light(LENS, camera, layout, dataclasses.replace(SCENE, print=p), 4.0, seed=4)[0]
        for p in (SCENE.print, Print(black=0.0, raggedness_mm=0.03, dot_mm=0.1))
    ]
    difference = lights[1] - lights[0]
    assert difference.std() > 0.005
    assert difference.mean() == pytest.approx(0, abs=5e-4)


def test_every_colour_filter_array_takes_the_same_picture(shot_of_planes):
    light, _ = shot_of_planes
    six_by_six = ((1, 1, 0, 1, 1, 2), (1, 1, 2, 1, 1, 0), (2, 0, 1, 0, 2, 1),
               (1, 1, 2, 1, 1, 0), (1, 1, 0, 1, 1, 2), (0, 2, 1, 2, 0, 1))  # fmt: skip
    camera = colour_camera((720, 480), pattern=six_by_six, colours=("red", "green", "blue"))
    mosaic, _ = target_light(LENS, camera, small_layout(camera), SCENE, 4.0)
    index = np.tile(np.array(six_by_six), (80, 120))
    assert mosaic == pytest.approx(np.take_along_axis(light, index[..., None], axis=2)[..., 0], abs=1e-6)


def test_sharing_the_work_changes_nothing():
    camera = grey_camera((240, 160))
    layout = small_layout(camera)
    one, two = (target_light(LENS, camera, layout, SCENE, 4.0, jobs=jobs) for jobs in (1, 2))
    assert one[0] == pytest.approx(two[0], abs=1e-6)
    assert one[1].edges.mtf50["grey"] == pytest.approx(two[1].edges.mtf50["grey"])


def test_a_shot_is_noisy_clipped_and_names_itself():
    camera = grey_camera((240, 160), dirt=(Dirt("spot", 0.3, 0.3, 0.06, 0.5, 1.0),))
    shot, truth = target_shot(
        LENS, camera, small_layout(camera), dataclasses.replace(SCENE, white=1.2), 8.0, 3, "t.dng"
    )
    assert (shot.name, shot.exposure.shutter_s, shot.samples.dtype) == ("t.dng", 0.25, np.uint16)
    assert (shot.samples == 15871).mean() > 0.3
    assert len(truth.marks) == 1
    assert truth.effective_f_number == pytest.approx(8.8)


def test_a_rail_series_peaks_where_the_sheet_is_in_focus():
    camera = grey_camera((240, 160))
    layout = small_layout(camera)
    lens = Lens(focal_mm=50.0, open_f_number=4.0, colours=COLOURS, curvature_um=0.0)
    sharpness = [
        target_light(lens, camera, layout, Scene(magnification=0.1, rail_mm=r), 4.0)[1].edges.mtf50["grey"].mean()
        for r in (-4.0, -2.0, 0.0, 2.0, 4.0)
    ]
    assert np.argmax(sharpness) == 2
    assert sharpness[1] > sharpness[0]
    assert sharpness[3] > sharpness[4]
