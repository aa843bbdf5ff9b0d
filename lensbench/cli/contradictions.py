"""Options that contradict each other: one list for all commands, looked at before a command runs."""

from __future__ import annotations

from typing import Any

from typer.core import TyperCommand

EVERYWHERE = (("--json", "--quiet"), ("--quiet", "--verbose"))
"""Pairs that contradict each other in every command that has both."""

PAIRS: dict[str, tuple[tuple[str, str], ...]] = {
    "demo": (("--truth", "--json"), ("--truth", "--quiet"), ("--truth", "--full")),
    "watch": (("--page", "--no-page"), ("--quiet", "--no-page")),
    "edges": (("--pixel-um", "--sensor"),),
    "grade": (("--start", "REPORT"), ("--start", "GOALS"), ("--start", "--json")),
    "correct": tuple(
        ("--values", other)
        for other in ("PICTURES", "--as", "--dark", "--out", "--replace", "--keep-gps", "--prove", "--quiet")
    ),
}
"""Further pairs by command; arguments stand in capitals."""


class CheckedCommand(TyperCommand):
    """A command that refuses options that contradict each other before it does anything."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command, unless what was given contradicts itself."""
        refuse_contradictions(self.name or "", given_in(self, ctx))
        return super().invoke(ctx)


def given_in(command: TyperCommand, ctx: Any) -> set[str]:
    """The names of what the user gave, as they are typed; what was left at its default isn't among them."""
    return {
        parameter_name(parameter)
        for parameter in command.params
        # An argument that takes any number of things counts as given with none, too.
        if parameter.name
        and ctx.params[parameter.name]
        and getattr(ctx.get_parameter_source(parameter.name), "name", "") == "COMMANDLINE"
    }


def parameter_name(parameter: Any) -> str:
    """An option as it is typed, in its long form; an argument in capitals."""
    if parameter.param_type_name == "argument":
        return parameter.name.upper()
    return max(parameter.opts, key=len)


def refuse_contradictions(command: str, given: set[str]) -> None:
    """Refuse what contradicts itself.

    Raises
    ------
    BenchError
        Naming both.
    """
    for pair in (*EVERYWHERE, *PAIRS.get(command, ())):
        if given.issuperset(pair):
            from lensbench.errors import BenchError

            raise BenchError(f"{' and '.join(pair)} contradict each other: leave one of them out.")
