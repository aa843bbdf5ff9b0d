"""Sub-pixel shifts of colours on edges that others drew, and against phase correlation on the same patches."""

import galsim
import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from lensbench.analysers.edge import blade_places, measure_edges, tile_edges
from lensbench.analysers.fringing import measure_fringing
from lensbench.analysers.fringing._tile_displacements import solve_tiles
from lensbench.analysers.fringing._tile_shifts import TileShifts
from lensbench.shot import Shot
from lensbench.simulator.camera import Camera as SimulatedCamera
from lensbench.simulator.lens import Colour, Lens
from lensbench.simulator.scene import Scene
from lensbench.simulator.target_shot import target_shot
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import make_layout

STAMP = 144
COLOURS = ("red", "green", "blue", "green")
BAYER = np.array([[0, 1], [3, 2]], np.uint8)

# The outward normals of a set square's three sides, twisted off the pixels' rows; degrees from x right, y down.
NORMALS_DEG = (-94.0, 176.0, 41.0)


def normal_of(degrees):
    return np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])


def drawn(psf, shift):
    """Three stamps in a row, one straight edge through each one's middle, displaced; GalSim draws them."""
    stamps = []
    for degrees in NORMALS_DEG:
        # GalSim's y runs up; a stamp's rows are turned over to match.
        normal = normal_of(degrees) * (1, -1)
        place = normal * STAMP + np.array(shift) * (1, -1)
        box = galsim.Box(2 * STAMP, 3 * STAMP, flux=6.0 * STAMP**2).rotate(-degrees * galsim.degrees)
        scene = galsim.Convolve(box.shift(*place), psf)
        image = scene.drawImage(nx=STAMP, ny=STAMP, scale=1.0, dtype=float)
        stamps.append(image.array[::-1])
    return np.concatenate(stamps, axis=1)


def mosaic(red, green, noise=0.0, seed=0):
    """A Bayer shot of red and green pictures."""
    rows, columns = np.indices(red.shape)
    index = BAYER[rows % 2, columns % 2]
    light = np.where(index == 0, red, green)
    stored = 500 + 9000 * (0.05 + 0.95 * light)
    stored = stored + noise * np.random.default_rng(seed).standard_normal(stored.shape)
    return Shot("drawn", stored.astype(np.float32), BAYER, COLOURS, np.full(4, 500.0), 15000.0, np.ones(4))


def edge_places():
    middle = np.array([(STAMP * (k + 0.5) - 0.5, STAMP / 2 - 0.5) for k in range(3)])
    normal = np.array([normal_of(d) for d in NORMALS_DEG])
    along = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    ends = middle[:, None] + along[:, None] * np.array([-52.0, 52.0])[None, :, None]
    return blade_places(ends, normal, 56.0)


def displacement(shot):
    """(dx, dy) of red against green from the three edges."""
    responses = measure_edges(shot, edge_places(), ("red", "green"))
    red, green = responses["red"], responses["green"]
    assert red.measured.all()
    assert green.measured.all()
    shifts = TileShifts(
        position=np.zeros((1, 2)),
        points=np.zeros((1, 3, 2, 2)),
        normal=green.normal[None],
        shift=(red.offset_px - green.offset_px)[None],
        sigma=np.hypot(red.offset_sigma_px, green.offset_sigma_px)[None],
        usable=np.ones((1, 3), bool),
        half_turned=np.zeros(1, bool),
    )
    return solve_tiles(shifts, None).shift[0]


@pytest.mark.parametrize("shift", [(0.37, -0.21), (-1.43, 0.88), (2.6, 3.1)])
def test_galsim_shifts_of_unequally_sharp_colours(shift):
    red, green = drawn(galsim.Gaussian(sigma=1.3), shift), drawn(galsim.Gaussian(sigma=0.9), (0, 0))
    assert displacement(mosaic(red, green)) == pytest.approx(shift, abs=0.005)


def half_crossings(psf):
    """Where the profiles of edges with the outward normals cross half: medians of the blur across them."""
    fine, wide = 0.125, 1024
    image = galsim.Convolve(psf, galsim.Pixel(1.0)).drawImage(nx=wide, ny=wide, scale=fine, method="no_pixel")
    light = image.array[::-1].astype(float).ravel()
    at = (np.arange(wide) - (wide - 1) / 2) * fine
    medians = []
    for degrees in NORMALS_DEG:
        across = (at[None, :] * normal_of(degrees)[0] + at[:, None] * normal_of(degrees)[1]).ravel()
        order = np.argsort(across)
        total = np.cumsum(light[order])
        medians.append(np.interp(total[-1] / 2, total, across[order]))
    return np.array(medians)


def test_galsim_coma_that_differs_by_colour():
    # Coma flares to one side; each colour's half crossing moves by its own amount, which is what we measure.
    sharp = galsim.Gaussian(sigma=0.5)
    red_psf = galsim.Convolve(galsim.OpticalPSF(lam_over_diam=0.8, coma1=0.2, defocus=0.05), sharp)
    green_psf = galsim.Convolve(galsim.OpticalPSF(lam_over_diam=0.8, coma1=0.1), sharp)
    shift = np.array([0.62, -0.35])
    system = np.array([[*normal_of(d), 1.0] for d in NORMALS_DEG])
    moved = system[:, :2] @ shift + half_crossings(red_psf) - half_crossings(green_psf)
    truth = np.linalg.solve(system, moved)[:2]
    assert np.hypot(*(truth - shift)) > 0.05
    assert displacement(mosaic(drawn(red_psf, shift), drawn(green_psf, (0, 0)))) == pytest.approx(truth, abs=0.01)


def test_noise_spreads_within_the_bar():
    shift = (0.37, -0.21)
    red, green = drawn(galsim.Gaussian(sigma=1.1), shift), drawn(galsim.Gaussian(sigma=0.9), (0, 0))
    # Light of 30,000 electrons at 75 %: noise of 0.8 % of white.
    off = np.array([displacement(mosaic(red, green, noise=70.0, seed=s)) for s in range(12)]) - shift
    assert np.abs(off.mean(axis=0)).max() < 0.01
    assert off.std() < 0.02


def test_nearer_to_the_truth_than_phase_correlation():
    colours = {
        "red": Colour((0.61,), shift_mm=(0.00222, -0.00126), gaussian_px=0.9),
        "green": Colour((0.54,), gaussian_px=0.35),
        "blue": Colour((0.46,), gaussian_px=0.35),
    }
    camera = SimulatedCamera(size=(1400, 1050), sensor_mm=(8.4, 6.3), pixel_gain=0.0)
    layout = make_layout((36.0, 24.0), 0.1)
    shot, truth = target_shot(Lens(colours=colours, diffraction=False), camera, layout, Scene(), 5.6, seed=3)
    whole = truth.whole
    corners, wanted = truth.corners_px["green"][whole], truth.lateral_px["red"][whole]
    assert wanted == pytest.approx(np.tile([0.37, -0.21], (len(wanted), 1)), abs=1e-3)
    found = FoundTiles(truth.column[whole], truth.row[whole], corners, whole[whole], False)
    result = measure_fringing(found, measure_edges(shot, tile_edges(found), ("red", "green")), camera.size)
    ours = [(tile.red.dx.value, tile.red.dy.value) for tile in result.tiles] - wanted
    red = next(shot.sublattices("red"))
    green = next(shot.sublattices("green"))
    theirs = []
    for tile in corners:
        left, top = (np.floor(tile.min(axis=0) - 12) // 2).astype(int)
        right, bottom = (np.ceil(tile.max(axis=0) + 13) // 2).astype(int)
        patches = [part.samples[top:bottom, left:right].astype(float) for part in (red, green)]
        moved, _, _ = phase_cross_correlation(*patches, upsample_factor=1000, normalization=None)
        # Shifts of a sublattice, two pixels a sample, whose first samples lie beside one another.
        theirs.append(2 * moved[::-1] + np.subtract(red.first, green.first))
    theirs = theirs - wanted
    assert len(ours) == len(theirs) >= 5
    ours, theirs = (float(np.sqrt(np.mean(np.square(e)))) for e in (ours, theirs))
    assert ours < 0.01
    assert ours < theirs / 2
