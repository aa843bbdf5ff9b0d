"""What marks lie on, and from which aperture on they show: by hand, and with the truth from the simulator."""

from dataclasses import replace

import numpy as np
import pytest

from lensbench.analysers.dust._measure import find_marks
from lensbench.findings import Camera, Figure, Setting
from lensbench.simulator.flat_shot import flat_shot
from lensbench.simulator.lens import Dirt, plain_colours
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Scene
from lensbench.verdicts.dirt._place import place_dirt
from lensbench.verdicts.dirt._sentences import PANEL_WOULD_TELL, TURN_WOULD_TELL
from tests.simulator.benches import colour_camera, even_lens
from tests.verdicts.dirt.invented_marks import SIZE, mark, setting

CAMERA = Camera(SIZE, (36.0, 24.0), 6.0)
NO_PITCH = Camera(SIZE)
CENTRE = np.array([2999.5, 1999.5])


def seen_from(dx, dy, **more):
    return mark(CENTRE[0] + dx, CENTRE[1] + dy, **more)


def places(settings, camera=NO_PITCH, **more):
    placed, _ = place_dirt(settings, camera, **more)
    return [[m.lies_on for m in s.dust.marks] for s in placed]


def answer(settings, camera=NO_PITCH, **more):
    return place_dirt(settings, camera, **more)[1]


def test_one_flat_alone_cannot_tell():
    given = setting(8.0, [seen_from(1000, 300)])
    ((only,), _) = place_dirt([given], NO_PITCH)
    assert only.dust.marks[0].lies_on == "can't tell"
    assert given.dust.marks[0].lies_on == "", "what the analyser found stays as it was"
    assert TURN_WOULD_TELL in only.dust.marks[0].evidence
    assert PANEL_WOULD_TELL in only.dust.marks[0].evidence


def test_what_turns_with_the_lens_is_on_the_lens_and_what_stays_is_not():
    """By hand: right of the middle goes above it in a quarter turn anticlockwise."""
    settings = [
        setting(8.0, [seen_from(1000, 0), seen_from(-800, 500)]),
        setting(8.0, [seen_from(-800, 500), seen_from(0, -1000)], turn=90.0),
    ]
    assert places(settings) == [["lens", "sensor or light panel"], ["sensor or light panel", "lens"]]


def test_a_turn_told_with_the_wrong_sign_is_noticed():
    settings = [
        setting(8.0, [seen_from(1000, 0), seen_from(300, 500)]),
        setting(8.0, [seen_from(0, -1000), seen_from(500, -300)], turn=-90.0),
    ]
    dirt = answer(settings)
    assert [m.lies_on for m in dirt.marks] == ["lens", "lens"]
    assert "the other way" in dirt.advice[0]


def test_on_the_axis_a_turn_tells_nothing():
    settings = [setting(8.0, [seen_from(2, 1)]), setting(8.0, [seen_from(1, -2)], turn=90.0)]
    assert places(settings) == [["can't tell"], ["can't tell"]]


def test_what_would_turn_out_of_the_frame_and_left_its_place_is_on_the_lens():
    settings = [setting(8.0, [seen_from(2900, 100)]), setting(8.0, [], turn=90.0)]
    assert places(settings)[0] == ["lens"]
    # Within the frame it should have been found: something else happened to it.
    assert places([setting(8.0, [seen_from(1000, 100)]), setting(8.0, [], turn=90.0)])[0] == ["can't tell"]


def test_what_moves_with_the_panel_is_on_it():
    moved = [[seen_from(1700, 250), seen_from(-800, 500)]]
    settings = [setting(8.0, [seen_from(1000, 0), seen_from(-800, 500), seen_from(2500, 0)], panels=moved)]
    assert places(settings) == [["light panel", "sensor or lens", "light panel"]]


def test_stays_in_both_tests_is_the_sensors():
    panels = [[seen_from(-800, 500)]]
    settings = [
        setting(8.0, [seen_from(-800, 500)], panels=panels),
        setting(8.0, [seen_from(-800, 500)], turn=40.0),
    ]
    assert places(settings) == [["sensor"], ["sensor"]]


def test_shots_that_disagree_are_said_to():
    settings = [
        setting(8.0, [seen_from(1000, 0)], panels=[[seen_from(1500, 300)]]),
        setting(8.0, [seen_from(0, -1000)], turn=90.0),
    ]
    assert places(settings)[0] == ["can't tell"]
    assert "disagree" in place_dirt(settings, NO_PITCH)[0][0].dust.marks[0].evidence


def test_sharp_shadows_lie_near_the_sensor_and_front_and_rear_are_told_by_blur():
    """By D / N: 20 px of 6 µm at f/8 are 0.96 mm; 10 and 60 mm at f/8 and f/16 blur over 208 and 1250 px, half."""
    turned = {"turn": 180.0}
    widths = {8.0: (20.0, 208.0, 1250.0), 16.0: (20.0, 104.0, 625.0)}
    spots = ((500, -700), (-900, 300), (700, 600))

    def marks(f_number, sign):
        return [
            seen_from(dx * (sign if n else 1), dy * (sign if n else 1), width=width)
            for n, ((dx, dy), width) in enumerate(zip(spots, widths[f_number], strict=True))
        ]

    settings = [setting(f, marks(f, 1)) for f in widths] + [setting(16.0, marks(16.0, -1), **turned)]
    dirt = answer(settings, CAMERA, exit_pupil_mm=40.0)
    assert [m.lies_on for m in dirt.marks] == ["sensor or light panel", "rear of the lens", "front of the lens"]
    assert dirt.marks[1].distance_mm.low < 10 < dirt.marks[1].distance_mm.high
    assert dirt.marks[2].distance_mm.low < 60 < dirt.marks[2].distance_mm.high
    # Without the exit pupil's place neither glass is named.
    assert [m.lies_on for m in answer(settings, CAMERA).marks[1:]] == ["lens", "lens"]


def test_from_which_aperture_on_marks_show():
    always, late = seen_from(500, 0), [seen_from(-700, 300), seen_from(900, 900), seen_from(-1500, 1000)]
    settings = [
        setting(4.0, [always]),
        setting(8.0, [always]),
        setting(11.0, [always, *late]),
        setting(16.0, [always, *late]),
    ]
    dirt = answer(settings)
    assert [m.shows_from for m in dirt.marks] == [None, "f/11", "f/11", "f/11"]
    assert dirt.apertures == "3 show only from f/11 on."
    assert [(s.setting, s.mark) for s in dirt.marks[2].sightings] == [(2, 2), (3, 2)]


def test_a_session_without_flats_has_no_answer():
    assert answer([Setting(f_number=4.0)], CAMERA) is None


def test_clean_flats_say_nothing_of_places():
    dirt = answer([setting(8.0, [])], CAMERA)
    assert (dirt.marks, dirt.places, dirt.apertures, dirt.advice) == ([], "", "", [])


def test_how_many_marks_lie_where_reads_as_a_sentence():
    """Turned a quarter anticlockwise: what stays is the sensor's or the panel's, what turns along the lens's."""
    stays, turns, axis = ((-800, 500), (-800, 500)), ((1000, 0), (0, -1000)), ((2, 1), (1, -2))
    other = (600, -700), (600, -700)
    said = {
        (stays,): "It lies on the sensor or the light panel.",
        (turns,): "It lies on the lens.",
        (axis,): "What it lies on is not known.",
        (stays, other): "Both marks lie on the sensor or the light panel.",
        (stays, other, turns): "2 of the 3 marks lie on the sensor or the light panel and 1 on the lens.",
        (turns, axis): "1 of the 2 marks lies on the lens; what the other one lies on is not known.",
    }
    for marks, sentence in said.items():
        before, after = ([seen_from(*places[k]) for places in marks] for k in (0, 1))
        assert answer([setting(8.0, before), setting(8.0, after, turn=90.0)]).places == sentence
    two = [setting(8.0, [seen_from(1000, 300), seen_from(-800, 500)])]
    assert answer(two).places == "What they lie on is not known."


# -- with the truth -------------------------------------------------------------------------------------------

ON_SENSOR = (Dirt("spot", -2.8, -1.6, 0.06, 0.5, 0.8), Dirt("spot", 1.5, 1.9, 0.08, 0.3, 0.8))
ON_LENS = (
    Dirt("spot", -1.6, 1.1, 0.25, 0.1, 6.0, place="lens"),
    Dirt("spot", 1.9, -0.9, 0.3, 0.08, 6.0, place="lens"),
)
ON_PANEL = (
    Dirt("spot", -0.4, 0.9, 0.07, 0.3, 0.5, place="light panel"),
    Dirt("spot", 2.3, 0.6, 0.09, 0.2, 0.5, place="light panel"),
)


@pytest.mark.parametrize("turn", [35.0, -120.0])
def test_simulated_flats_are_told_apart(turn):
    camera = colour_camera((1200, 800), dirt=ON_SENSOR)
    lens = even_lens(colours=plain_colours(), dirt=ON_LENS)
    scene = Scene(magnification=0.1, white=0.7)

    def taken(seed, turn=0.0, shift=(0.0, 0.0)):
        panel = Panel(shift=shift, dirt=ON_PANEL)
        shot, truth = flat_shot(lens, camera, panel, replace(scene, lens_turn_deg=turn), 16.0, seed)
        return find_marks(shot).marks, truth.marks

    first, truths = taken(1)
    settings = [
        setting(16.0, first, panels=[taken(2, shift=(0.3, -0.2))[0]], magnification=Figure.of(0.1, 0.001, "×")),
        setting(16.0, taken(3, turn)[0], turn=turn),
    ]
    (placed, _), _ = place_dirt(settings, Camera(camera.size, camera.sensor_mm, 6.0))
    marks = placed.dust.marks
    assert len(marks) == len(truths) == 6
    for truth in truths:
        found = min(marks, key=lambda m: np.hypot(m.x - truth.x, m.y - truth.y))
        assert found.lies_on == truth.place
