"""Run the command line in this process, as the console script would."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from lensbench.cli import main


class Ran(NamedTuple):
    """How a command ended: its exit code and what it said."""

    code: int
    out: str
    err: str


def run(capsys, *arguments) -> Ran:
    """Run ``lensbench ARGUMENTS`` to its end."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as left:
        main([str(argument) for argument in arguments])
    said = capsys.readouterr()
    return Ran(left.value.code or 0, said.out, said.err)
