"""Corrections of shots that a renderer outside of the package has drawn, whose lens is known in closed form.

The bars: lateral colour left ≤ 0.1 px, falloff ≤ 0.03 stop, distortion ≤ 0.05 % of the half-diagonal, in every
zone.
"""

import json
from dataclasses import replace

import numpy as np
import pytest

from lensbench import load_session, measure_session, read_shot
from lensbench.correction import Taken, Wanted, correct_pictures, correct_shot
from lensbench.findings import encode_report
from lensbench.frame import zone_index
from lensbench.target.layout import make_layout, read_layout, write_layout
from tests.correction.reference_reader import complaints, developed
from tests.correction.remaining import (
    as_planes,
    distortion_left,
    falloff_left,
    fringing_left,
    incentre,
    lands_at,
    straightness,
    warp_of,
    worst_zone,
)
from tests.outside.renderer import OutsideLens, write_outside_session

SIZE, SENSOR_MM = (1800, 1200), (36.0, 24.0)
KINDS = ("falloff", "fringing", "distortion")
BLACK, WHITE = 512, 15_512


class Corrected:
    """The session, its frame as the renderer knows it, and its corrected DNG copies."""

    def __init__(self, folder, frame, layout_file, report, copies):
        self.folder, self.frame, self.report, self.copies = folder, frame, report, copies
        self.tiles = [np.array(t["corners_mm"]) for t in json.loads(layout_file.read_text())["tiles"]]
        self.layout = read_layout(layout_file)

    def seen_mm(self):
        """Incentres of the tiles that lie in the frame."""
        places = np.array([incentre(corners) for corners in self.tiles])
        drawn = self.frame.picture(places, 1)
        return places[((drawn > 12) & (drawn < np.array(SIZE) - 13)).all(axis=1)]


@pytest.fixture(scope="module")
def corrected(tmp_path_factory):
    folder = tmp_path_factory.mktemp("corrected")
    layout_file = folder / "layout.json"
    write_layout(layout_file, make_layout(SENSOR_MM, 0.1))
    lens = OutsideLens(
        px_per_mm=SIZE[0] / 370, turn_deg=2.0, bend=(-0.06, 0.012), fringe_px=(2.4, 0.0, -1.7), falloff_stops=1.6
    )
    frame = write_outside_session(folder / "evening", layout_file, lens, SIZE, SENSOR_MM)
    report = measure_session(load_session(folder / "evening"), workers=1)
    (folder / "report.json").write_bytes(encode_report(report))
    pictures = [folder / "evening" / name for name in ("sheet.dng", "even.dng")]
    wanted = Wanted(folder / "copies", ("dng",), KINDS, Taken(5.6))
    results = correct_pictures(folder / "report.json", pictures, wanted, workers=1)
    assert [result.error for result in results] == [None, None]
    return Corrected(folder, frame, layout_file, report, [result.written[0] for result in results])


def linear(dng):
    return as_planes(developed(dng) / 65535)


def test_the_reference_code_objects_to_nothing_but_a_frame_without_a_margin(corrected):
    # The renderer's pictures, as the simulator's, reach to the sensor's border. Its own DNG files leave out so
    # much that the reference code doesn't open them.
    for copy in corrected.copies:
        assert {line.partition(" on ")[0] for line in complaints(copy)} == {"*** Warning: Too little padding"}


def test_the_picture_after_its_opcodes_has_no_fringes_and_no_distortion(corrected):
    picture = linear(corrected.copies[0])
    assert worst_zone(fringing_left(picture, corrected.layout)) < 0.1
    assert worst_zone(distortion_left(picture, corrected.layout)) < 0.05


def test_the_flat_after_its_opcodes_is_flat(corrected):
    assert worst_zone(falloff_left(linear(corrected.copies[1]))) < 0.03


def test_the_opcode_undoes_what_the_lens_did_by_the_truth(corrected):
    read_at, mm = warp_of(corrected.copies[0]), corrected.seen_mm()
    green, *others = (lands_at(read_at, plane, corrected.frame.picture(mm, plane)) for plane in (1, 0, 2))
    for other in others:
        assert np.linalg.norm(other - green, axis=1).max() < 0.1
    assert worst_zone(straightness(mm, green, SIZE)) < 0.05
    # Without correction, for comparison: the bars are not met by doing nothing.
    drawn = [corrected.frame.picture(mm, plane) for plane in range(3)]
    assert np.linalg.norm(drawn[0] - drawn[1], axis=1).max() > 1.5
    assert max(straightness(mm, drawn[1], SIZE).values()) > 0.5


def test_no_corner_runs_dry(corrected):
    read_at = warp_of(corrected.copies[0])
    width, height = SIZE
    x, y = np.linspace(0, width - 1, 200), np.linspace(0, height - 1, 200)
    border = np.concatenate([np.stack([x, np.full(200, e)], axis=1) for e in (0, height - 1)])
    border = np.concatenate([border, *(np.stack([np.full(200, e), y], axis=1) for e in (0, width - 1))])
    for plane in range(3):
        places = read_at(plane, border)
        assert places.min() > -0.1
        assert (places < np.array(SIZE) - 0.9).all()
    # Nor is more of the picture lost than has to be: somewhere the border is reached.
    assert min(places.min(), (np.array(SIZE) - 1 - places).min()) < 1


def test_planes_have_no_fringes_no_falloff_and_no_distortion(corrected):
    sheet, even = (read_shot(corrected.folder / "evening" / name) for name in ("sheet.dng", "even.dng"))
    picture = correct_shot(sheet, corrected.report, f_number=5.6, kinds=KINDS)
    assert worst_zone(fringing_left(picture, corrected.layout)) < 0.1
    assert worst_zone(distortion_left(picture, corrected.layout)) < 0.05
    assert worst_zone(falloff_left(correct_shot(even, corrected.report, f_number=5.6, kinds=KINDS))) < 0.03


def test_gains_bring_back_the_light_by_the_truth(corrected):
    # An even light without noise, through the renderer's own falloff.
    even = read_shot(corrected.folder / "evening" / "even.dng")
    stored = np.round(BLACK + 0.4 * (WHITE - BLACK) * corrected.frame.light()).astype(np.uint16)
    flat = correct_shot(replace(even, samples=stored), corrected.report, f_number=5.6, kinds=("falloff",)).samples
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    zones = zone_index(x, y, SIZE)
    middle = flat[zones == 0].mean(axis=0)
    for zone in range(1, 13):
        assert np.abs(np.log2(flat[zones == zone].mean(axis=0) / middle)).max() < 0.03
    assert np.log2(stored[zones == 12].mean() / stored[zones == 0].mean()) < -1
