"""The light panel separated from the lens, on maps made by hand: what moves along is the panel's."""

from __future__ import annotations

import numpy as np
import pytest

from lensbench.analysers.falloff import PanelGiven
from lensbench.analysers.falloff._panel import separate_panel

SIZE = (1200, 800)
HALF = np.hypot(*SIZE) / 2
X, Y = np.arange(24, SIZE[0], 48.0), np.arange(24, SIZE[1], 48.0)
U, V = np.meshgrid((X - (SIZE[0] - 1) / 2) / HALF, (Y - (SIZE[1] - 1) / 2) / HALF)
ACROSS, DOWN = SIZE[0] / HALF, SIZE[1] / HALF
MOVED = [PanelGiven(1), PanelGiven(2), PanelGiven(3)]
SHIFTS = [(0.0, 0.0), (0.3, 0.02), (-0.05, 0.35)]


def lens(u, v):
    """A plain lens with its centre a little off."""
    q = (u - 0.05) ** 2 + (v + 0.03) ** 2
    return q + 0.3 * q**2


def panel(u, v, waves=0.015, slope=(0.1, -0.05), bulge=0.15):
    """Stops of a panel that is darker to its left, bulges and ripples without repeating itself."""
    ripple = np.sin(5.1 * u + 0.4 * v) + np.sin(3.7 * v - 1.9 * u + 1.0)
    return -slope[0] * u - slope[1] * v + bulge * (u**2 + v**2) + waves * ripple


def seen(shifts, turns=None, noise=3e-4, **changes):
    """Stops that flats show, and of the panel in each, with the panel moved by parts of the picture and turned."""
    rng = np.random.default_rng(1)
    panels = []
    for (across, down), turn in zip(shifts, turns or [0] * len(shifts), strict=True):
        u, v = U - across * ACROSS, V - down * DOWN
        panels.append(panel(*((-u, -v) if turn == 180 else (u, v)), **changes))
    panels = np.array(panels)
    return lens(U, V) + panels + noise * rng.standard_normal(panels.shape), panels


def split(stops, given):
    return separate_panel(stops, np.ones(stops.shape, bool), X, Y, SIZE, given)


def left_over(found, true, plane=True):
    """What is wrong with the mean panel, counted from the middle; without the plane that only a turn tells."""
    off = (found - true).mean(axis=0)
    if plane:
        terms = np.stack([np.ones(U.size), U.ravel(), V.ravel()], axis=1)
        off = off - (terms @ np.linalg.lstsq(terms, off.ravel(), rcond=None)[0]).reshape(U.shape)
    return off - off[np.hypot(U, V) < 0.1].mean()


def test_three_places_tell_the_panel_but_for_an_even_slope():
    stops, true = seen(SHIFTS)
    found, finding = split(stops, MOVED)
    assert finding.removed
    off = left_over(found, true)
    assert np.sqrt(np.mean(off**2)) < 0.002
    assert np.abs(off).max() < max(2 * finding.residual_stops, 0.004)
    for place, (across, down) in zip(finding.positions[1:], SHIFTS[1:], strict=True):
        for figure, part in zip(place.shift_percent, (across, down), strict=True):
            assert figure.value == pytest.approx(100 * part, abs=0.5)
    assert any("evenly towards one side" in note and "panel_turn_deg = 180" in note for note in finding.notes)
    assert any("at an angle" in note for note in finding.notes)


def test_a_half_turn_tells_the_slope_too():
    shifts, turns = [*SHIFTS, (0.0, 0.0)], [0, 0, 0, 180]
    stops, true = seen(shifts, turns)
    found, finding = split(stops, [*MOVED, PanelGiven(4, 180.0)])
    assert finding.removed
    assert np.abs(left_over(found, true, plane=False)).max() < 0.006
    assert not any("evenly towards one side" in note for note in finding.notes)


def test_a_half_turn_alone_takes_out_the_gradient_and_says_what_stays():
    stops, true = seen([(0, 0), (0, 0)], [0, 180], waves=0.0)
    found, finding = split(stops, [PanelGiven(1), PanelGiven(1, 180.0)])
    assert finding.removed
    assert finding.residual_stops is None
    assert finding.unevenness_stops is None
    off = (found - true)[0]
    # By symmetry only what is alike on opposite sides of the middle is left.
    assert np.abs(off - off[::-1, ::-1]).max() < 0.03
    assert any("not moved" in note for note in finding.notes)


def test_two_places_of_a_mere_bulge_do_not_tell_the_moves_and_ask_for_a_third():
    """p(x) = b x² shows 2 b s x + const when moved by s: b s is known, and neither b nor s."""
    stops, _ = seen(SHIFTS[:2], waves=0.0)
    found, finding = split(stops, MOVED[:2])
    assert not finding.removed
    assert not found.any()
    assert finding.positions[1].shift_percent is None
    assert "panel = 3" in finding.notes[0]
    assert "panel_shift" in finding.notes[0]


def test_two_places_are_enough_where_the_move_is_said():
    stops, true = seen(SHIFTS[:2])
    found, finding = split(stops, [PanelGiven(1), PanelGiven(2, 0.0, SHIFTS[1])])
    assert finding.removed
    assert np.abs(left_over(found, true)).max() < max(finding.residual_stops, 0.01)


def test_moves_that_are_said_help():
    stops, true = seen(SHIFTS, waves=0.0)
    said = [
        PanelGiven(k + 1, 0.0, (across + 0.01, down - 0.01) if k else None)
        for k, (across, down) in enumerate(SHIFTS)
    ]
    found, finding = split(stops, said)
    assert finding.removed
    off = np.abs(left_over(found, true)).max()
    assert off < finding.residual_stops + 0.004
    assert off < 0.02


def test_an_even_panel_is_said_to_be_even():
    stops, _ = seen(SHIFTS, waves=0.0, bulge=0.0, slope=(0, 0))
    found, finding = split(stops, MOVED)
    assert finding.removed
    assert not found.any()
    assert "it is even" in finding.notes[0]


def test_a_half_turn_of_a_centred_bulge_shows_nothing_and_says_so():
    stops, _ = seen([(0, 0), (0, 0)], [0, 180], waves=0.0, slope=(0, 0))
    found, finding = split(stops, [PanelGiven(1), PanelGiven(1, 180.0)])
    assert not found.any()
    assert finding.unevenness_stops is None
    assert finding.residual_stops is None
    assert any("not moved" in note for note in finding.notes)


def test_one_place_says_what_is_in_the_figures():
    stops, _ = seen([(0, 0)])
    found, finding = split(stops, MOVED[:1])
    assert not finding.removed
    assert not found.any()
    assert "panel = 2" in finding.notes[0]
    assert "panel_turn_deg = 180" in finding.notes[0]


def test_a_lens_that_is_far_from_round_gets_a_true_answer_or_none():
    """A barrel cuts a corner, and glare thins the panel's picture out there."""
    stops, true = seen(SHIFTS)
    light = 2.0**-stops / (1 + np.exp(60 * (np.hypot(U + 0.05, V - 0.03) - 0.93)))
    light += 0.01 * light.mean(axis=(1, 2), keepdims=True)
    found, finding = split(-np.log2(light), MOVED)
    if finding.removed:
        assert np.abs(left_over(found, true)[np.hypot(U, V) < 0.7]).max() < 0.02
    else:
        assert not found.any()
        assert "averaged instead" in finding.notes[0]
