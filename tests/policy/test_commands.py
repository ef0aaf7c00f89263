"""Every command shows by example how it is called, and a wrong name is met with the right one."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner

from benchcheck.cli import cli


def every_command(group: click.Group, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    with click.Context(group, info_name="benchcheck") as context:
        for name in group.list_commands(context):
            command = group.get_command(context, name)
            assert command is not None, f"{name} is listed and not there"
            yield (*path, name), command
            if isinstance(command, click.Group):
                yield from every_command(command, (*path, name))


COMMANDS = dict(every_command(cli))


def examples(command: click.Command) -> list[str]:
    """Return the command lines of a command's examples, continuation lines joined."""
    epilog = (command.epilog or "").replace("\b", "")
    lines = re.sub(r"\\\n\s*", "", epilog).splitlines()
    shown = [match for line in lines if (match := re.search(r"benchcheck [^|)\"]*(?:\"[^\"]*\"[^|)\"]*)*", line))]
    return [match[0].split("  ")[0].partition(" > ")[0].strip() for match in shown]


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_help_shows_an_example_that_parses(path: tuple[str, ...]) -> None:
    shown = CliRunner().invoke(cli, [*path, "--help"], prog_name="benchcheck")
    assert shown.exit_code == 0
    assert re.search(r"^ *Examples?:", shown.output, re.MULTILINE)
    own = [line for line in examples(COMMANDS[path]) if line.startswith(f"benchcheck {' '.join(path)}")]
    assert own, f"no example calls benchcheck {' '.join(path)}"
    for line in own:
        words = shlex.split(line)[1:]
        command: click.Command = cli
        while isinstance(command, click.Group) and words:
            context = click.Context(command, info_name="benchcheck")
            found = command.get_command(context, words.pop(0))
            assert found is not None, line
            command = found
        command.make_context("benchcheck", words, resilient_parsing=False)


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_help_says_what_every_option_does(path: tuple[str, ...]) -> None:
    options = [param for param in COMMANDS[path].params if isinstance(param, click.Option)]
    assert [option.name for option in options if not option.help] == []


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_a_wrong_command_suggests_the_right_one(path: tuple[str, ...]) -> None:
    """One letter doubled in the last word of every command."""
    wrong = path[-1][:2] + path[-1][1:]
    refused = CliRunner().invoke(cli, [*path[:-1], wrong], prog_name="benchcheck")
    assert refused.exit_code == 2
    assert f'"{wrong}" is not a command; did you mean "{path[-1]}"?' in refused.output


def test_a_hopeless_command_lists_what_there_is() -> None:
    refused = CliRunner().invoke(cli, ["xyzzy"], prog_name="benchcheck")
    assert refused.exit_code == 2
    assert all(path[0] in refused.output for path in COMMANDS)


def test_a_wrong_option_suggests_the_right_one() -> None:
    refused = CliRunner().invoke(cli, ["verify", "x.toml", "--unti", "7"], prog_name="benchcheck")
    assert refused.exit_code == 2
    assert "--unit" in refused.output
