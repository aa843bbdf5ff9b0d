"""What the page says and draws of dirt that was followed through the apertures."""

import re

import pytest
from msgspec.structs import replace

from lensbench.findings import Dust, Verdict
from lensbench.reporter.plots import canvas
from lensbench.reporter.plots.marks_by_aperture import draw_marks_by_aperture
from lensbench.reporter.tables.csv_files import report_tables
from lensbench.reporter.tables.dirt import marks_by_aperture
from lensbench.reporter.values.dirt import shows_stopping
from lensbench.reporter.words.answers import answers
from lensbench.reporter.words.captions import marks_on_face_in_short
from lensbench.verdicts.dirt._faces import FRONT, PICTURE, REAR, SENSOR_FACE
from lensbench.verdicts.dirt._place import place_dirt
from tests.reporter.invented import invented_report
from tests.verdicts.dirt.invented_marks import mark

SIZE = (6000, 4000)


@pytest.fixture(scope="module")
def report():
    """Dust on the sensor at every aperture, by D / N; a smear in the lens that comes out at f/16."""
    report = invented_report((4.0, 8.0, 16.0), SIZE, clean=True)
    sensor = [mark(1000, 3000, width=width, depth=depth) for width, depth in ((30, 3.0), (15, 10.0), (9, 30.0))]
    smear = mark(4500, 500, width=900, depth=2.0, kind="patch")
    marks = [sensor[:1], sensor[1:2], [sensor[2], smear]]
    settings = [replace(one, dust=Dust(seen)) for one, seen in zip(report.settings, marks, strict=True)]
    settings, dirt = place_dirt(settings, report.camera)
    return replace(report, settings=settings, verdict=Verdict(dirt=dirt))


def test_in_short_says_what_and_from_which_aperture_on(report):
    clean = next(answer for answer in answers(report) if "clean" in answer.question)
    assert clean.short == "2 marks"
    assert "1 shows only from f/16 on." in clean.more
    assert "1 of the 2 marks lies on the sensor or the light panel and 1 on the lens" in clean.more


def test_a_table_row_a_mark_and_a_column_an_aperture(report):
    table = marks_by_aperture(report)
    assert table.head[2:5] == ["f/4", "f/8", "f/16"]
    assert [re.sub(" ±.*", "", cell) for cell in table.rows[0][2:5]] == ["3.00", "10.00", "30.00"]
    assert table.rows[1][2:4] == ["not seen", "not seen"]


def test_csv_rows_tell_the_place(report):
    rows = report_tables(report)["dirt_marks"]
    assert {row["lies_on"] for row in rows[:3]} == {"sensor or light panel"}
    assert all(row["evidence"] for row in rows)


def test_lines_run_through_the_depths(report):
    axes = canvas.axes_in(canvas.new_drawing(3, 2), 0, 0, 3, 2)
    draw_marks_by_aperture(axes, report)
    lines = [line for line in axes.lines if line.get_marker() == "o"]
    assert [list(line.get_xdata()) for line in lines] == [[4, 8, 16], [16]]
    assert list(lines[0].get_ydata()) == [3, 10, 30]


def test_faces_count_only_what_can_lie_there(report):
    shown = [marks_on_face_in_short(report.settings[-1], face) for face in (PICTURE, FRONT, REAR, SENSOR_FACE)]
    assert shown == ["2 marks", "1 perhaps", "1 perhaps", "1 perhaps"]


def test_one_aperture_is_no_series():
    plain = invented_report((8.0,), SIZE)
    settings, dirt = place_dirt(plain.settings, plain.camera)
    report = replace(plain, settings=settings, verdict=Verdict(dirt=dirt))
    assert not shows_stopping(report)
    assert marks_by_aperture(report) is None
