"""Findings as columns and as HTML: against the report's own JSON, and read by astropy and an HTML parser."""

import html.parser
import json

import msgspec
import numpy as np
import pandas
import pytest
from astropy.table import Table

from lensbench import findings
from lensbench.findings import Displacement, Dust, Figure, Fringing, Mark, Sharpness, TileFringing, Verdict
from lensbench.findings.tables import MOST_ROWS, Tabular, as_columns
from tests.reporter.invented import invented_report

PX = Figure(0.5, 0.4, 0.7, "px")


@pytest.fixture(scope="module")
def a_report():
    return invented_report((2.8,), (300, 200))


def mark(**changes):
    plain = {
        "x": 10.0,
        "y": 20.0,
        "kind": "spot",
        "width_px": PX,
        "length_px": PX,
        "depth_percent": PX,
        "signal_to_noise": 9.0,
        "zone": "centre",
    }
    return Mark(**plain | changes)


def displacement(value):
    return Displacement(*[Figure.of(value, 0.1, "px")] * 4)


def test_a_figure_takes_three_columns_and_a_list_stays_one():
    columns = Dust([mark(), mark(kind="fibre", path=[(1.0, 2.0), (3.0, 4.0)])]).columns("marks")
    assert columns["width_px"].tolist() == [0.5, 0.5]
    assert columns["width_px_low"].tolist() == [0.4, 0.4]
    assert columns["width_px_high"].tolist() == [0.7, 0.7]
    assert columns["kind"].tolist() == ["spot", "fibre"]
    assert columns["path"].tolist() == [[], [(1.0, 2.0), (3.0, 4.0)]]
    assert {len(column) for column in columns.values()} == {2}


def test_what_could_not_be_measured_is_nan_and_keeps_its_columns():
    tiles = [TileFringing(0, 0, 1.0, 2.0, 0.1, displacement(2.0), None)]
    columns = Fringing(tiles=tiles).columns("tiles")
    assert columns["red_radial_px"].tolist() == [2.0]
    assert np.isnan(columns["blue_radial_px"]).all()
    assert np.isnan(columns["blue_radial_px_low"]).all()
    assert columns["column"].dtype.kind == "i"
    assert list(Fringing().columns("tiles")) == list(columns)


def test_without_a_name_the_first_table_and_without_tables_the_finding_itself():
    dust = Dust([mark()])
    assert list(dust.columns()) == list(dust.columns("marks"))
    assert mark().columns()["x"].tolist() == [10.0]


def test_a_table_that_is_not_there_is_named_beside_those_that_are():
    with pytest.raises(KeyError, match="no table spots; it has marks, panels"):
        Dust().columns("spots")


def test_every_finding_turns_into_columns_of_one_length():
    kinds = [kind for kind in vars(findings).values() if isinstance(kind, type) and issubclass(kind, Tabular)]
    assert len(kinds) > 40
    for kind in kinds:
        columns = as_columns([], kind)
        assert columns, kind
        assert {len(column) for column in columns.values()} == {0}, kind


def test_every_table_of_a_report_reads_back_as_its_json_says(a_report):
    """The columns of every table, against the numbers in report.json."""
    checked = 0
    for setting in a_report.settings:
        for part in (setting.sharpness, setting.fringing, setting.falloff, setting.dust):
            stored = json.loads(msgspec.json.encode(part))
            for name, rows in stored.items():
                if isinstance(rows, list) and rows and isinstance(rows[0], dict):
                    columns = part.columns(name)
                    for number, row in enumerate(rows):
                        checked += check_row(columns, number, row)
    assert checked > 1000


def check_row(columns, number, row, prefix=""):
    """How many numbers and words of a stored row were found again."""
    count = 0
    for key, value in row.items():
        if isinstance(value, dict) and value.keys() == {"value", "low", "high", "unit"}:
            ends = [columns[f"{prefix}{key}{ending}"][number] for ending in ("", "_low", "_high")]
            assert ends == [value["value"], value["low"], value["high"]]
        elif isinstance(value, dict):
            count += check_row(columns, number, value, f"{prefix}{key}_")
        elif isinstance(value, float | int | str):
            assert columns[f"{prefix}{key}"][number] == value
        count += 1
    return count


def test_pandas_takes_the_columns_as_they_are(a_report):
    """pandas.DataFrame, a general library: no change to the dict, types kept, NaN counted as missing."""
    frame = pandas.DataFrame(a_report.settings[0].sharpness.columns("edges"))
    assert frame.dtypes[["x", "used", "column"]].map(lambda kind: kind.kind).tolist() == ["f", "b", "i"]
    assert frame.mtf50.count() == sum(edge.mtf50 is not None for edge in a_report.settings[0].sharpness.edges) > 0


def test_astropy_takes_the_columns_as_they_are(a_report):
    """astropy.table.Table, a general library."""
    zones = a_report.settings[0].sharpness.columns("zones")
    table = Table(zones)
    assert len(table) == len(zones["zone"]) > 10
    centre = table[(table["zone"] == "centre") & (table["channel"] == "green")]
    assert np.all(centre["mtf50_low"] < centre["mtf50_high"])


class Reader(html.parser.HTMLParser):
    """Tags in the order in which they open, and whether each is closed where it should be."""

    def __init__(self):
        super().__init__()
        self.open, self.rows, self.words = [], 0, []

    def handle_starttag(self, tag, attrs):
        self.open.append(tag)
        self.rows += tag == "tr"

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def read(finding):
    reader = Reader()
    reader.feed(finding._repr_html_())
    assert reader.open == []
    return reader


def test_a_notebook_shows_a_table_with_intervals_and_escapes_everything():
    shown = read(Dust([mark(lies_on="<script>alert(1)</script>", zone="a & b")]))
    assert "script" not in shown.open
    assert "<script>alert(1)</script>" in shown.words
    assert "a & b" in shown.words
    assert "0.50 (0.40 to 0.70) px" in shown.words
    assert "<script>" not in Dust([mark(lies_on="<script>")])._repr_html_()


def test_a_long_table_is_cut_and_says_so():
    shown = read(Dust([mark() for _ in range(MOST_ROWS + 5)]))
    assert shown.rows == MOST_ROWS + 3  # three tables' heads; two have no rows
    assert "and 5 more" in shown.words


def test_a_whole_report_shows_itself(a_report):
    shown = read(a_report)
    assert a_report.build.name in shown.words
    assert shown.rows > 50


def test_empty_findings_show_too():
    assert read(Sharpness()).rows > 0
    assert read(Verdict()).rows > 0
