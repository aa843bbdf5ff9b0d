"""report.json laid out: the data of any other encoding, a row a line; earlier layouts are known as written."""

import json

import msgspec

from lensbench.findings import Report, encode_report, files_as_written
from lensbench.findings.layout import laid_out
from lensbench.findings.report import encode_with_files
from tests.reporter.invented import invented_report


def test_the_data_are_the_same_and_every_edge_has_its_line():
    report = invented_report((2.8,), (300, 200))
    content = encode_report(report)
    # The standard library's reader, and msgspec's own encoding without any layout.
    assert json.loads(content) == json.loads(msgspec.json.encode(report))
    assert msgspec.json.decode(content, type=Report) == report
    lines = content.decode().split("\n")
    rows = [json.loads(line.strip().rstrip(",")) for line in lines if line.strip().startswith('{"column"')]
    assert len([row for row in rows if "leg" in row]) == len(report.settings[0].sharpness.edges)
    assert lines[1].startswith(' "build": {"name"')
    assert len(content) < 0.8 * len(msgspec.json.format(content, indent=1))


def test_nothing_and_small_things_stay_on_one_line():
    assert laid_out({"a": [], "b": [1, 2], "c": {"d": 1}}) == b'{"a":[],"b":[1,2],"c":{"d":1}}\n'
    assert laid_out({"a": [{"b": 1}, {"b": 2}]}) == b'{\n "a": [\n  {"b":1},\n  {"b":2}\n ]\n}\n'


def test_a_report_that_an_earlier_version_indented_is_known_as_written(tmp_path):
    report = invented_report((2.8,), (300, 200))
    (tmp_path / "a.csv").write_bytes(b"a")
    content = encode_with_files(report, {"a.csv": b"a"})
    (tmp_path / "report.json").write_bytes(content)
    assert [file.name for file in files_as_written(tmp_path)] == ["a.csv", "report.json"]
    (tmp_path / "report.json").write_bytes(content.replace(b'"green"', b'"grown"', 1))
    assert files_as_written(tmp_path) is None
    (tmp_path / "report.json").write_bytes(as_indented(report))
    assert [file.name for file in files_as_written(tmp_path)] == ["a.csv", "report.json"]


def as_indented(report):
    """The file as it was written when everything was indented, its list made by hand."""
    from lensbench.files import WrittenFile

    plain = msgspec.json.decode(msgspec.json.encode(report))
    files = [WrittenFile.of("a.csv", b"a")]
    plain["files"] = []
    head = msgspec.json.format(msgspec.json.encode(plain), indent=1)
    head = head[: head.rfind(b'"files": ')]
    files.append(WrittenFile.of("report.json", head))
    plain["files"] = msgspec.to_builtins(files)
    return msgspec.json.format(msgspec.json.encode(plain), indent=1)
