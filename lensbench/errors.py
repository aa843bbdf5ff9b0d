"""The one kind of error that is the user's to mend, and says how; and what to say of any other."""

from __future__ import annotations

from pathlib import Path

TRACEBACK = "LENSBENCH_TRACEBACK"
"""Set in the environment, this has faults of the program shown in full."""


class BenchError(Exception):
    """Something about a file or a request that the user can put right.

    The message names the file (or option), what is wrong with it and what to do. The command line prints it
    as it stands, without a traceback; anything else that is raised is a fault of this program.
    """


def fault_in_words(error: Exception) -> str:
    """What to say of a fault of this program: that it is none of the user's, where it is, and how to report it."""
    place, step = "", error.__traceback__
    while step is not None:
        file = Path(step.tb_frame.f_code.co_filename)
        if "lensbench" in file.parts:
            place = f" in {file.parent.name}/{file.name}, line {step.tb_lineno}"
        step = step.tb_next
    return (
        f"Lensbench failed by a mistake of its own ({type(error).__name__}: {str(error)[:300]}){place}. Your "
        f"files are as they were. Please report it, with what this prints: {TRACEBACK}=1 lensbench … (the same "
        "command "
        "again)."
    )
