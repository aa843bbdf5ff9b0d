"""What a wheel holds: the package, whole, and nothing that lies about in a checkout."""

import subprocess
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

ROOT = Path(__file__).parents[1]

KINDS = {".py", ".pyi", ".typed", ".md", ".json", ".html", ".css", ".js", ".png", ".jpg"}
"""Endings of what the package is made of: code and its types, the guide, the schema, the page's templates."""


@pytest.fixture(scope="module")
def files():
    """The wheel's files as the build backend would pack them, by their path in it."""
    builder = WheelBuilder(str(ROOT))
    included = builder.config.builder.recurse_included_files
    return {Path(file.distribution_path) for file in included()}


def test_the_wheel_holds_the_package_and_no_stray_file(files):
    assert {path.parts[0] for path in files} == {"lensbench"}
    assert {path.suffix for path in files} <= KINDS
    odd = [path for path in files if any(part.startswith(".") or part == "__pycache__" for part in path.parts)]
    assert odd == []
    # Packed archives and pictures apart, nobody writes so large a file by hand.
    assert all((ROOT / path).stat().st_size < 1_000_000 for path in files)


def test_the_wheel_holds_every_file_that_the_package_has(files):
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard", "lensbench"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    if listed.returncode:
        pytest.skip("this copy of the sources is no git checkout")
    known = {Path(name) for name in listed.stdout.decode().split("\0") if name and (ROOT / name).exists()}
    assert files == known
