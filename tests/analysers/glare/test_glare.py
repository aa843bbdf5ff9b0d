"""Light in the dark tiles against the definition of the glare index, on tiles filled by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage.draw import polygon2mask

from lensbench.analysers.edge import EdgeResponses
from lensbench.analysers.glare._measure import Ink, TileLight, measure_glare, read_dark_tiles
from lensbench.frame import h_of, zone_of
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEG_CORNERS
from tests.analysers import flats

SIZE = (900, 600)
PITCH, LEG = 90, 50
TRAPS = ((4, 3), (7, 1))


def sheet(ink, glare, traps=TRAPS, corner_stops=1.0, seed=1, level=0.7):
    """A shot of tiles under falloff with veiling glare, their found places, and the white beside their edges."""
    paper = flats.cos4(SIZE, corner_stops).astype(float)
    light = paper.copy()
    corners, column, row = [], [], []
    for j, top in enumerate(range(25, SIZE[1] - LEG, PITCH)):
        for i, left in enumerate(range(25, SIZE[0] - LEG, PITCH)):
            tile = np.array([(left, top), (left + LEG, top), (left, top + LEG)], float)
            inside = polygon2mask(light.shape, tile[:, ::-1])
            light[inside] = paper[inside] * (0.0 if (i, j) in traps else ink)
            corners.append(tile)
            column.append(i)
            row.append(j)
    veil = glare * light.mean()
    light = (1 - glare) * light + veil
    shot = flats.flat(light.astype(np.float32), seed=seed, level=level, hot=2e-4, name="t_056.dng")
    found = FoundTiles(
        np.array(column), np.array(row), np.array(corners), np.ones(len(corners), bool), mirrored=False
    )
    middles = np.array(corners)[:, LEG_CORNERS].mean(axis=2).reshape(-1, 2)
    at = np.rint(middles).astype(int)
    white = ((1 - glare) * paper[at[:, 1], at[:, 0]] + veil) * level * (flats.WHITE - flats.BLACK)
    centre = np.array(corners).mean(axis=1).astype(int)
    true = veil / ((1 - glare) * paper[centre[:, 1], centre[:, 0]] + veil)
    return shot, found, _responses(middles, white), true


def _responses(middles, white):
    names = {name: np.full(len(white), np.nan) for name in EdgeResponses.__dataclass_fields__}
    given = {
        "x": middles[:, 0],
        "y": middles[:, 1],
        "white": white,
        "rise_px": np.full(len(white), 2.0),
        "contrast_to_noise": np.full(len(white), 80.0),
        "reason": np.full(len(white), ""),
    }
    return EdgeResponses(**names | given)


def measured(known=None, **conditions):
    shot, found, response, true = sheet(**conditions)
    ink = known or Ink(None, conditions.get("traps", TRAPS))
    return measure_glare([read_dark_tiles(shot, found, response)], SIZE, "green", ink), true


def worst_off(glare, true, tiles):
    """The largest error of a zone's glare, in percentage points; light traps don't count."""
    zone = {name: [] for name in {z.zone for z in glare.zones}}
    places = {(t.column, t.row): value for t, value in zip(tiles, true, strict=True)}
    for t in tiles:
        if not t.light_trap:
            zone[zone_of(t.x, t.y, SIZE)].append(100 * places[t.column, t.row])
    return max(abs(z.glare_percent.value - np.mean(zone[z.zone])) for z in glare.zones)


@pytest.mark.parametrize(("ink", "glare"), [(0.04, 0.0), (0.04, 0.03), (0.02, 0.01), (0.08, 0.05)])
def test_light_traps_tell_the_ink_from_the_glare(ink, glare):
    found, true = measured(ink=ink, glare=glare)
    assert found.ink_from == "light trap"
    assert found.ink_percent.value == pytest.approx(100 * ink, abs=0.05)
    assert worst_off(found, true, found.tiles) < max(0.08, found.systematic_percent)
    assert sum(tile.light_trap for tile in found.tiles) == 2
    assert found.systematic_percent >= 0.1


def test_a_worked_number():
    """ISO 9358 (memory): the glare index is the light of a black spot's picture over that of the white around it.

    White 0.97 + 0.03 = 1.00 and black 0.03 of full light make 3 %; ink that sends back 0.04 of the paper's light
    shows 0.97 × 0.04 + 0.03 = 0.0688, which is (0.0688 - 0.04) / (1 - 0.04) = 0.03 again.
    """
    light = TileLight("t_056.dng", *(np.array([part]) for part in (3, 2, 450.0, 300.0, 0.0688, 1e-4)), 0.0)
    found = measure_glare([light], SIZE, "green", Ink(0.04))
    assert found.zones[0].zone == "centre"
    assert found.zones[0].dark_percent.value == pytest.approx(6.88)
    assert found.zones[0].glare_percent.value == pytest.approx(3.0)


def test_a_veil_over_even_light_is_found_in_full():
    """A veil of 3 % of the frame's mean light, which with light of 1 is that of paper and ink together."""
    found, _ = measured(Ink(0.04), ink=0.04, glare=0.03, corner_stops=0.0, traps=())
    tiles_share = len(found.tiles) * LEG**2 / 2 / (SIZE[0] * SIZE[1])
    mean = 1 - 0.96 * tiles_share
    assert found.zones[0].glare_percent.value == pytest.approx(100 * 0.03 * mean / (0.97 + 0.03 * mean), abs=0.05)


def test_ink_from_the_session_file_counts_with_its_doubt():
    found, true = measured(Ink(0.04), ink=0.04, glare=0.02, traps=())
    assert found.ink_from == "session file"
    assert worst_off(found, true, found.tiles) < 0.08
    assert found.systematic_percent == pytest.approx(0.4, abs=0.02)


def test_without_knowledge_of_the_ink_there_is_no_glare_but_an_upper_bound():
    found, true = measured(Ink(), ink=0.04, glare=0.02, traps=())
    assert found.ink_percent is None
    assert found.systematic_percent is None
    assert all(zone.glare_percent is None for zone in found.zones)
    assert all(zone.dark_percent.value > 100 * true.max() for zone in found.zones)
    assert "light_traps" in found.notes[0]
    assert "ink_reflectance" in found.notes[0]


def test_traps_that_are_not_seen_are_said():
    found, _ = measured(Ink(None, ((40, 40),)), ink=0.04, glare=0.02, traps=())
    assert "None of the light traps" in found.notes[0]


def test_darks_take_off_a_wrong_black_level():
    shot, found, response, true = sheet(ink=0.04, glare=0.02)
    lifted = replace(shot, samples=(shot.samples + 100).astype(shot.samples.dtype))
    dark = flats.flat(np.zeros(SIZE[::-1], np.float32), seed=5)
    dark = replace(dark, samples=(dark.samples + 100).astype(dark.samples.dtype))
    ink = Ink(None, TRAPS)
    wrong = measure_glare([read_dark_tiles(lifted, found, response)], SIZE, "green", ink)
    right = measure_glare([read_dark_tiles(lifted, found, response, [dark])], SIZE, "green", ink)
    assert worst_off(wrong, true, wrong.tiles) > 0.5
    assert worst_off(right, true, right.tiles) < 0.1
    assert right.systematic_percent < wrong.systematic_percent


def test_glare_rises_where_the_white_is_dark():
    """The veil is even; falloff leaves less white for it to be a part of."""
    found, _ = measured(ink=0.04, glare=0.03, corner_stops=2.0)
    zones = {zone.zone: zone.glare_percent.value for zone in found.zones}
    assert zones["corner top-left"] > 2 * zones["centre"]
    assert max(h_of(t.x, t.y, SIZE) for t in found.tiles) > 0.8
