"""The command line: one file a command, each with a function of the file's name.

The command files import nothing of the library until they run, so that ``lensbench --help`` is instant.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import sys

import typer

from lensbench import __version__
from lensbench.cli.contradictions import CheckedCommand
from lensbench.errors import TRACEBACK, BenchError, fault_in_words

COMMANDS = {
    "demo": "Measure an invented lens, beside the truth; no camera needed.",
    "target": "Make the two sheets to print.",
    "check": "Is the glass clean? One shot of an even light.",
    "watch": "Live figures while aligning, or one shot judged.",
    "edges": "Any straight edges in a shot; no target needed.",
    "session": "Say what each shot of a folder shows.",
    "measure": "Measure a folder of shots and write the report.",
    "grade": "Did the build reach its goals?",
    "compare": "Is this build better than the last?",
    "correct": "Take the lens's flaws out of your pictures.",
}
"""The commands in the order in which a bench evening needs them, and what each does in a few words."""

INTRODUCTION = """Measure a home-built camera lens from raw shots of two printed sheets.

Photograph the target of set squares (right-angled triangles) and an evenly lit blank sheet at each aperture, put
the shots in one folder, and run: lensbench session FOLDER, then lensbench measure FOLDER. New here? Run lensbench
demo first: it needs no camera."""


def command_line() -> typer.Typer:
    """The whole command line, ready to call."""
    app = typer.Typer(no_args_is_help=True, pretty_exceptions_enable=False, rich_markup_mode=None)
    app.callback(help=INTRODUCTION)(_common)
    for name, short in COMMANDS.items():
        if importlib.util.find_spec(f"lensbench.cli.{name}"):
            command = getattr(importlib.import_module(f"lensbench.cli.{name}"), name)
            app.command(name, cls=CheckedCommand, short_help=short)(command)
    return app


def _print_version(wanted: bool) -> None:
    if wanted:
        print(__version__)
        raise typer.Exit


def _common(
    version: bool = typer.Option(
        False, "--version", help="Print the version.", callback=_print_version, is_eager=True
    ),
) -> None:
    """Options before any command."""


def main(arguments: list[str] | None = None) -> None:
    """Run one command and end with its exit code.

    0 is done, 1 is done and the answer is no, 2 is that nothing could be measured (or was asked for wrongly).
    """
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show × or ± must not stop a measurement.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        command_line()(args=arguments, prog_name="lensbench")
    except BenchError as error:
        sys.exit(_refused(str(error)))
    except BrokenPipeError:
        # Who read the output has seen enough, as `head` does; nothing more can be written there.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except (OSError, MemoryError) as error:
        if os.environ.get(TRACEBACK):
            raise
        sys.exit(_refused(_outside_trouble(error)))
    except Exception as error:
        if os.environ.get(TRACEBACK):
            raise
        sys.exit(_refused(fault_in_words(error)))


def _refused(text: str) -> int:
    """Say why nothing could be done, and give the exit code for that."""
    from lensbench.formatting import printable

    print(printable(text), file=sys.stderr)
    return 2


def _outside_trouble(error: OSError | MemoryError) -> str:
    if isinstance(error, MemoryError):
        return "There is not enough memory for this. Close other programs, or measure fewer shots at once."
    where = f"{error.filename}: " if error.filename else ""
    return f"{where}{error.strerror or error}. Look at the disk's free space and the folder's permissions."
