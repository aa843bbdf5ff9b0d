"""Findings leave an analyser whole: nothing that reads them can write into them."""

import importlib
import pkgutil

import msgspec
import pytest

from lensbench import findings
from lensbench.findings.tables import Tabular


def kinds():
    """All classes of findings, wherever in the room they are defined."""
    for module in pkgutil.iter_modules(findings.__path__):
        importlib.import_module(f"{findings.__name__}.{module.name}")
    return sorted(
        (kind for kind in Tabular.__subclasses__() if kind.__module__.startswith(findings.__name__)),
        key=lambda kind: kind.__name__,
    )


def test_all_findings_are_looked_at():
    names = {kind.__name__ for kind in kinds()}
    assert {"Report", "Setting", "Mark", "Sharpness", "Falloff", "Focus", "Geometry", "Verdict"} <= names


@pytest.mark.parametrize("kind", kinds(), ids=lambda kind: kind.__name__)
def test_a_finding_is_frozen(kind):
    assert issubclass(kind, msgspec.Struct)
    assert kind.__struct_config__.frozen
