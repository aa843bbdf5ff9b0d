"""Lines in the terminal: none is broken where its text says that it must not be."""

import pytest

from lensbench.cli.screen import print_lines
from lensbench.formatting import unbroken


@pytest.mark.parametrize("before", range(40, 60))
def test_a_size_is_never_parted(before, capsys):
    print_lines("Answers", [("Prints sharp to", f"{'x' * before} {unbroken('30 × 20 cm')} all over")])
    assert unbroken("30 × 20 cm") in capsys.readouterr().out
