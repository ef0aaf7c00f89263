"""The command line: each command is a module, loaded only when it is the one called."""

from __future__ import annotations

import importlib
import sys

import click

from benchcheck.errors import BenchcheckError, close_match

__all__ = ["COMMANDS", "main"]

#: command -> (module, one line); the lines stand here so that help needs no command's module.
COMMANDS = {
    "verify": ("verify", "Check one unit against its spec and keep the record: the main job."),
    "capability": ("capability", "Say, before a probe is touched, what this bench can decide."),
    "check-spec": ("spec", "Validate a spec and list its checks."),
    "schema": ("spec", "Print the JSON Schema of specs, for editors."),
}


class _Commands(click.Group):
    """A group whose commands are imported on demand and whose typing errors are met with the right name."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"benchcheck.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS:
            hint = close_match(args[0], COMMANDS) or f"; there are {', '.join(COMMANDS)}"
            raise click.UsageError(f'"{args[0]}" is not a command{hint}', ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in COMMANDS.items()])


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog='Example: benchcheck verify specs/marrowby-pr3.toml --unit "PR-3 no. 0412"',
)
@click.version_option(package_name="benchcheck", prog_name="benchcheck", message="%(prog)s %(version)s")
def cli() -> None:
    """Prove, with the meter you own, that a repaired low-voltage board is right before the case is closed."""


def main() -> None:
    """Run the command line; every expected error becomes its message and its exit code."""
    try:
        code = cli.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        code = 2
    except click.Abort:
        code = 130
    except BenchcheckError as error:
        click.echo(f"benchcheck: {error}", err=True)
        code = error.exit_code
    sys.exit(code if isinstance(code, int) else 0)
