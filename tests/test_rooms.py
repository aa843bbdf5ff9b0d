"""A row of the tree imports only from rows above its own, and nobody reaches into another room's private modules.

The order is that of DEVELOPERS.md's table. Imports inside functions count as well.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import lensbench

ROOT = Path(lensbench.__file__).parent

GROUND_FLOOR = (
    "dng",
    "errors",
    "even_choice",
    "expected",
    "figure",
    "files",
    "formatting",
    "frame",
    "noise",
    "optics",
    "reduction",
    "robust",
    "shot",
    "srgb",
    "uniform_blocks",
    "workers",
)

ROWS = [
    *([f"lensbench.{name}" for name in row.split()] for row in ("findings", "loaders", "target")),
    ["lensbench.analysers.numerics"],
    ["lensbench.analysers.edge", "lensbench.analysers.flat_light"],
    [
        f"lensbench.analysers.{path.name}"
        for path in sorted((ROOT / "analysers").iterdir())
        if (path / "__init__.py").is_file() and path.name not in ("numerics", "edge", "flat_light")
    ],
    *(
        [f"lensbench.{name}" for name in row.split()]
        for row in ("verdicts", "correction", "reporter", "run", "watch", "simulator", "demo", "guide", "cli")
    ),
    ["lensbench.__main__"],
]
"""Rooms above the ground floor, the lowest row first; rooms of one row don't import each other."""

ROOM_ROW = {room: number for number, row in enumerate(ROWS, start=1) for room in row}

SIMULATOR_MAY = ("lensbench.target.layout",)
"""What the simulator may import besides the ground floor: truth never comes from what is tested with it."""


def modules() -> dict[str, Path]:
    """Every module of the package by its dotted name."""
    found = {}
    for path in sorted(ROOT.rglob("*.py")):
        parts = path.relative_to(ROOT.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


MODULES = modules()


def imports_of(source: str, importer: str = "", known: frozenset[str] = frozenset(MODULES)) -> Iterator[str]:
    """The package's modules, or names in them, that a module imports."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.split(".")[0] == "lensbench")
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{importer}: imports are absolute here"
            if node.module and node.module.split(".")[0] == "lensbench":
                for alias in node.names:
                    whole = f"{node.module}.{alias.name}"
                    yield whole if whole in known or alias.name.startswith("_") else node.module


def room_of(module: str) -> str:
    """The room that a module belongs to; its own name on the ground floor."""
    inside = [room for room in ROOM_ROW if module == room or module.startswith(f"{room}.")]
    return inside[0] if inside else ".".join(module.split(".")[:2])


def offence(importer: str, imported: str) -> str | None:
    """What is wrong with an import; None where it is right."""
    here, there = room_of(importer), room_of(imported)
    parts = imported.split(".")
    private = next((k for k, part in enumerate(parts) if part.startswith("_") and not part.startswith("__")), None)
    if private is not None and not f"{importer}.".startswith(".".join(parts[:private]) + "."):
        return f"{importer} reaches into {imported}"
    if here == there or there == "lensbench.__version__" or imported == "lensbench":
        return None
    if here == "lensbench.simulator" and there in ROOM_ROW and not imported.startswith(SIMULATOR_MAY):
        return f"{importer} imports {imported}: the simulator is built on the ground floor and the layout alone"
    if ROOM_ROW.get(there, 0) >= max(ROOM_ROW.get(here, 0), 1):
        return f"{importer} imports {imported}, which isn't in a row above"
    return None


def offences() -> list[str]:
    """All wrong imports of the package."""
    pairs = [(name, imported) for name, path in MODULES.items() for imported in imports_of(path.read_text(), name)]
    assert len(pairs) > 500, "the imports weren't found"
    return sorted({said for pair in pairs if (said := offence(*pair))})


def test_every_room_has_its_row():
    there = {room_of(name) for name in MODULES if name.count(".") and name != "lensbench.analysers"}
    assert there == {*ROOM_ROW, *(f"lensbench.{name}" for name in GROUND_FLOOR)} - {"lensbench.guide"}


def test_the_contributors_table_has_the_rooms_in_this_order():
    table = (ROOT.parent / "DEVELOPERS.md").read_text().split("| where |")[1].split("\n\n")[0]
    named = re.findall(
        r"`(?:analysers/)?(\w+)(?:\.py|/)`", "\n".join(line.split("|")[1] for line in table.split("\n")[2:])
    )
    capabilities = {room.rpartition(".")[2] for room in ROWS[5]}
    rows = [room.rpartition(".")[2] for row in ROWS for room in row if room.rpartition(".")[2] not in capabilities]
    assert sorted(named[: len(GROUND_FLOOR)]) == sorted(GROUND_FLOOR)
    assert [name for name in named[len(GROUND_FLOOR) :] if name != "analysers"] == rows


def test_rooms_import_from_rows_above_only_and_through_their_doors():
    assert offences() == []


@pytest.mark.parametrize(
    ("importer", "source", "right"),
    [
        ("lensbench.optics", "from lensbench.findings import Figure", False),
        ("lensbench.findings.dirt", "from lensbench.figure import Figure", True),
        ("lensbench.findings.dirt", "from lensbench.loaders import Session", False),
        ("lensbench.analysers.dust._search", "from lensbench.analysers.numerics import strips", True),
        ("lensbench.analysers.numerics.strips", "from lensbench.analysers.edge import EdgePlaces", False),
        ("lensbench.analysers.edge._fit", "import lensbench.analysers.flat_light", False),
        ("lensbench.analysers.dust._search", "from lensbench.analysers.glare import measure_glare", False),
        ("lensbench.analysers.dust._search", "from lensbench.analysers.flat_light import _light_map", False),
        ("lensbench.analysers.dust", "from lensbench.analysers.dust._search import find_marks", True),
        ("lensbench.run._measure", "def late():\n    from lensbench.cli import main", False),
        ("lensbench.run._measure", "from lensbench import __version__", True),
        ("lensbench.verdicts.limits", "from lensbench.verdicts.focus._error import FocusError", False),
        ("lensbench.verdicts.limits", "from lensbench.shot import _colour_layout", False),
        ("lensbench.simulator.lens", "from lensbench.target.layout import Layout", True),
        ("lensbench.simulator.lens", "from lensbench.target import find_tiles", False),
        ("lensbench.simulator.lens", "from lensbench.findings import Figure", False),
    ],
)
def test_what_counts_as_an_offence(importer, source, right):
    """Each rule, on imports written by hand."""
    (imported,) = imports_of(source, importer)
    assert (offence(importer, imported) is None) == right
