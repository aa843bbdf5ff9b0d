"""Free edges against closed forms, lenses that GalSim draws, and signs written by hand."""

import galsim
import numpy as np
import pytest
from scipy.optimize import brentq

from lensbench.analysers.edge import FREQUENCY, blade_places, measure_edges
from lensbench.analysers.free_edges._measure import measure_free_edges
from lensbench.findings import Reason
from lensbench.reporter.tables.free_edges import level_curves
from lensbench.shot import Shot
from tests.drawn_blades import Blade, blades_shot, mtf50_of
from tests.known_edges import MONO


def test_figures_are_those_of_the_blur():
    """Gaussian edge: MTF50 = 0.18739 / s, 10–90 % rise 2.563 s (handbook)."""
    blades = [Blade((210.0, 230.0), 7.0, (240.0, 200.0)), Blade((610.0, 260.0), 28.0, (230.0, 190.0))]
    result = measure_free_edges(blades_shot(blades, (820, 500), blur=1.4), pixel_pitch_um=5.0, threads=1)
    assert len(result.edges) >= 8
    figures = [colour for edge in result.edges for colour in edge.colours if colour.mtf50]
    assert {colour.channel for colour in figures} == {"red", "green", "blue"}
    value = np.array([colour.mtf50.value for colour in figures])
    assert value == pytest.approx(mtf50_of(1.4), rel=0.04)
    assert np.mean(value) == pytest.approx(mtf50_of(1.4), rel=0.003)
    assert np.median([colour.rise_px.value for colour in figures]) == pytest.approx(2.563 * 1.4, rel=0.01)
    for colour in figures:
        # 5 µm pixels: 0.2 cy/px are 40 lp/mm.
        assert colour.mtf50_lp_mm.value == pytest.approx(200 * colour.mtf50.value)


def test_lateral_colour_is_positive_outwards_and_anticlockwise():
    """Red's picture moved right and down, blue's up; by hand at three edges of a frame of 900 × 600."""
    shift = {"red": (0.5, 0.3), "blue": (0.0, -0.4)}
    blades = [Blade((760.0, 300.0), 86.0, (200.0, 100.0)), Blade((450.0, 90.0), 4.0, (220.0, 100.0))]
    result = measure_free_edges(blades_shot(blades, (900, 600), blur=1.2, shift=shift), threads=1)

    def lateral(x, y, channel):
        edge = min(result.edges, key=lambda e: np.hypot(e.x - x, e.y - y))
        assert np.hypot(edge.x - x, edge.y - y) < 70
        return next(c.lateral_px for c in edge.colours if c.channel == channel)

    # Right of the middle, upright edges: outward is right.
    for x in (710, 810):
        assert lateral(x, 300, "red").value == pytest.approx(0.5, abs=0.05)
        assert lateral(x, 300, "blue").value == pytest.approx(0.0, abs=0.05)
    # Above the middle, level edges: outward is up.
    for y in (40, 140):
        assert lateral(450, y, "red").value == pytest.approx(-0.3, abs=0.06)
        assert lateral(450, y, "blue").value == pytest.approx(0.4, abs=0.05)
    # Right of the middle, a level edge is sagittal: anticlockwise is up there.
    assert lateral(760, 200, "blue").value == pytest.approx(0.4, abs=0.06)


PSF = galsim.Airy(lam_over_diam=2.4, gsparams=galsim.GSParams(folding_threshold=2e-3, maximum_fft_size=16384))


def box_through(psf):
    """A shot of a turned dark box, drawn by GalSim through a lens on square pixels."""
    box = galsim.Box(260, 200, flux=260 * 200.0).rotate(8.3 * galsim.degrees)
    dark = galsim.Convolve(box, psf).drawImage(nx=480, ny=400, scale=1.0, dtype=float).array
    samples = (11000 * (1 - 0.96 * dark)).astype(np.float32)
    return Shot("box", samples, MONO, ("grey",), np.zeros(1), 15000.0, np.ones(1))


def test_a_lens_that_galsim_draws():
    """A turned box through a perfect lens, on square pixels (Rowe et al., Astronomy and Computing 10, 121)."""
    result = measure_free_edges(box_through(PSF), threads=1)
    assert len(result.edges) >= 6
    for edge in result.edges:
        turn = np.radians(edge.angle_deg + 90)
        x, y = np.cos(turn), np.sin(turn)

        def contrast(f, x=x, y=y):
            whole = abs(PSF.kValue(2 * np.pi * f * x, 2 * np.pi * f * y)) / PSF.flux
            return whole * abs(np.sinc(f * x) * np.sinc(f * y))

        truth = brentq(lambda f: contrast(f) - 0.5, 0.01, 0.5)
        assert edge.colours[0].mtf50.value == pytest.approx(truth, rel=0.01)


@pytest.mark.parametrize(
    ("blade", "light", "reason"),
    [
        (Blade((320.2, 240.3), 0.0, (300.0, 200.0)), {"blur": 0.35}, Reason.ALONG_ROWS),
        (Blade((320.2, 240.3), 5.0, (300.0, 200.0)), {"white": 1.3}, Reason.CLIPPED),
        (Blade((320.2, 240.3), 5.0, (300.0, 60.0)), {"blur": 16.0}, Reason.DARK_SIDE),
    ],
)
def test_what_cannot_be_measured_says_why(blade, light, reason):
    result = measure_free_edges(blades_shot([blade], (640, 480), **light), threads=1)
    assert result.edges == []
    assert any(line.reason is reason for line in result.refused)


@pytest.mark.parametrize("blur", [0.5, 1.4])
def test_intervals_hold_the_truth(blur):
    """At least 93 of 100, pooled over seeds and angles; not wider than twice what they need to be."""
    shots = (
        blades_shot(
            [Blade((210.0, 230.0), angle, (240.0, 200.0)), Blade((610.0, 260.0), 28.0, (230.0, 190.0))],
            (820, 500), blur=blur, seed=seed,
        )
        for seed, angle in enumerate((7.0, 0.4, 14.036, 33.69))
    )  # fmt: skip
    figures = [
        colour.mtf50
        for shot in shots
        for edge in measure_free_edges(shot, threads=1).edges
        for colour in edge.colours
        if colour.mtf50
    ]
    error = np.abs([figure.value - mtf50_of(blur) for figure in figures])
    half = np.array([figure.half_width for figure in figures])
    assert len(figures) > 120
    assert np.mean(error < half) >= 0.93
    assert np.median(half) <= 2 * np.percentile(error, 95)


@pytest.mark.parametrize("blur", [0.3, 0.4, 0.5])
@pytest.mark.parametrize("angle_deg", [0.0, 90.0, 45.0, 0.1])
def test_an_edge_along_the_rows_of_samples_gives_no_figure(angle_deg, blur):
    """Its samples lie in a few lines across the edge: so sharp a profile can't be drawn through them."""
    shot = blades_shot([Blade((320.2, 240.3), angle_deg, (300.0, 200.0))], (640, 480), blur=blur)
    result = measure_free_edges(shot, threads=1)
    assert result.edges == []
    assert {line.reason for line in result.refused} == {Reason.ALONG_ROWS}


@pytest.mark.parametrize("blur", [0.4, 0.5, 0.9])
@pytest.mark.parametrize("angle_deg", [0.4, 89.5, 14.036, 33.69])
def test_a_nearly_level_edge_gives_no_wrong_figure(angle_deg, blur):
    """Some colour samples it well enough; whatever figure comes out must hold the truth."""
    shot = blades_shot([Blade((320.2, 240.3), angle_deg, (300.0, 200.0))], (640, 480), blur=blur)
    edges = measure_free_edges(shot, threads=1).edges
    figures = [colour.mtf50 for edge in edges for colour in edge.colours if colour.mtf50]
    # Of the pieces of a line at 0.4° four are sampled well enough, in green; those of other colours are not.
    assert len(figures) >= 4
    for figure in figures:
        assert abs(figure.value - mtf50_of(blur)) < 2 * figure.half_width


def test_a_colour_may_fail_alone():
    """Along a slope of 1:2 the samples of red lie in lines 0.9 px apart, those of green in lines 0.45 px apart."""
    blade = Blade((320.2, 240.3), 26.565, (300.0, 220.0))
    result = measure_free_edges(blades_shot([blade], (640, 480), blur=0.7), threads=1)
    failed = [colour for edge in result.edges for colour in edge.colours if colour.reason]
    assert {colour.channel for colour in failed} == {"red", "blue"}
    assert all(colour.reason is Reason.ALONG_ROWS and colour.mtf50 is None for colour in failed)
    assert all(edge.colours[1].mtf50 for edge in result.edges)


def test_no_places_give_no_edges():
    places = blade_places(np.zeros((0, 2, 2)), np.zeros((0, 2)), 100.0)
    shot = blades_shot([Blade((160.0, 120.0), 5.0, (90.0, 90.0))], (320, 240), blur=1.0)
    found = measure_edges(shot, places, threads=1)
    assert list(found) == list(shot.channels)
    for edges in found.values():
        assert len(edges) == 0
        assert edges.measured.shape == edges.mtf50.shape == (0,)
        assert edges.normal.shape == (0, 2)
        assert edges.mtf.shape == edges.mtf_sigma.shape == (0, len(FREQUENCY))


def test_frames_without_anything():
    for size in ((4, 3), (400, 300)):
        empty = Shot("dark", np.zeros(size[::-1], np.uint16), MONO, ("grey",), np.zeros(1), 65535.0, np.ones(1))
        result = measure_free_edges(empty)
        assert result.edges == []
        assert result.refused == []


@pytest.mark.parametrize(("glow", "said"), [(0.0, []), (0.45, ["runs nearly level about a half"])])
def test_a_curve_that_runs_nearly_level_is_said_below_the_table(glow, said):
    """A part of the light in a wide glow; how steep the curve is at a half, from its closed form."""
    core = galsim.Gaussian(sigma=0.9, flux=1 - glow)
    psf = galsim.Add(core, galsim.Gaussian(sigma=5.0, flux=glow)) if glow else core

    def contrast(f):
        return abs(psf.kValue(2 * np.pi * f, 0)) * np.sinc(f)

    half = brentq(lambda f: contrast(f) - 0.5, 0.001, 0.5)
    steepness = (contrast(0.99 * half) - contrast(1.01 * half)) / 0.02
    assert (steepness < 0.35) == bool(said)
    lines = level_curves(measure_free_edges(box_through(psf), threads=1))
    assert len(lines) == len(said)
    assert all(words in line for words, line in zip(said, lines, strict=True))
