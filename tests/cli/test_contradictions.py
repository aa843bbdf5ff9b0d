"""Options that contradict each other are refused, those that go together are not: every pair of every command."""

import itertools

import pytest
import typer.main
from typer.core import TyperCommand

from lensbench.cli import COMMANDS, command_line
from lensbench.cli.contradictions import PAIRS, parameter_name
from tests.cli.command import run

VALUES = {"--sensor": "36x24", "--pixel-um": "5", "--focal": "32", "--idle": "3", "--magnification": "0.1"}
"""What options are given that don't take any word."""

ALWAYS = {("--json", "--quiet"), ("--quiet", "--verbose")}
APART = {
    "demo": {("--truth", "--json"), ("--truth", "--quiet"), ("--full", "--truth")},
    "watch": {("--page", "--no-page"), ("--no-page", "--quiet")},
    "edges": {("--pixel-um", "--sensor")},
    "grade": {("--start", "--json")},
    "correct": {
        ("--values", other)
        for other in ("--as", "--dark", "--out", "--replace", "--keep-gps", "--prove", "--quiet")
    },
}
"""Written by hand, beside the list that the program has: what nobody can want together."""


def parameters(name):
    return [p for p in typer.main.get_command(command_line()).commands[name].params if p.name != "help"]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_pair_of_options_goes_together_or_is_refused(capsys, monkeypatch, name):
    """The command itself is not run: only what stands before it is tested."""
    monkeypatch.setattr(TyperCommand, "invoke", lambda self, ctx: None)
    needed = ["thing" for p in parameters(name) if p.param_type_name == "argument" and p.required]
    options = [p for p in parameters(name) if p.param_type_name == "option"]
    apart = {frozenset(pair) for pair in ALWAYS | APART.get(name, set())}
    for one, other in itertools.combinations(options, 2):
        names = parameter_name(one), parameter_name(other)
        ran = run(capsys, name, *needed, *as_typed(one), *as_typed(other))
        if frozenset(names) in apart:
            assert (ran.code, len(ran.err.splitlines())) == (2, 1), names
            assert "contradict each other" in ran.err
            assert all(option in ran.err for option in names)
        else:
            assert (ran.code, ran.err) == (0, ""), names


@pytest.mark.parametrize(
    "arguments", [("correct", "report", "a.dng", "--values"), ("grade", "report", "--start", "a")]
)
def test_arguments_that_an_option_has_no_use_for_are_refused(capsys, arguments):
    ran = run(capsys, *arguments)
    assert (ran.code, len(ran.err.splitlines())) == (2, 1)
    assert "contradict each other" in ran.err


def as_typed(parameter):
    name = parameter_name(parameter)
    return [name] if parameter.is_flag else [name, VALUES.get(name, "word")]


def test_the_list_names_only_what_there_is():
    for command, pairs in PAIRS.items():
        names = {parameter_name(parameter) for parameter in parameters(command)}
        assert names.issuperset(itertools.chain.from_iterable(pairs)), command


@pytest.mark.parametrize("name", COMMANDS)
def test_quiet_and_verbose_mean_the_same_everywhere(name):
    by_name = {parameter_name(parameter): parameter for parameter in parameters(name)}
    said = {option: by_name[option].help for option in ("--quiet", "--verbose", "--json")}
    first = {parameter_name(parameter): parameter for parameter in parameters("measure")}
    assert said == {option: first[option].help for option in said}


@pytest.mark.parametrize("option", ["--idle", "--page"])
def test_what_is_for_a_folder_is_refused_with_one_shot(capsys, option):
    ran = run(capsys, "watch", __file__, option, "3")
    assert (ran.code, ran.out) == (2, "")
    assert f"{option} is for a folder" in ran.err


def test_a_flat_is_not_held_against_itself(capsys, tmp_path):
    (tmp_path / "a.dng").write_bytes(b"")
    ran = run(capsys, "check", tmp_path / "a.dng", "--since", tmp_path / "a.dng")
    assert ran.code == 2
    assert "is named twice" in ran.err


def test_nothing_left_to_correct_is_refused(capsys, tmp_path):
    skipped = [word for kind in ("falloff", "fringing", "dirt") for word in ("--skip", kind)]
    ran = run(capsys, "correct", tmp_path, "a.dng", *skipped)
    assert ran.code == 2
    assert "nothing to correct" in ran.err
