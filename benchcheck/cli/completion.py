"""`benchcheck completion`: the script that lets a shell complete commands, options, specs and checks."""

from __future__ import annotations

import click

__all__ = ["completion"]

_SHELLS = ("bash", "zsh", "fish")


@click.command(
    epilog="""\b
Examples:
  eval "$(benchcheck completion bash)"      a line for ~/.bashrc
  eval "$(benchcheck completion zsh)"       a line for ~/.zshrc, after compinit
  benchcheck completion fish | source       a line for ~/.config/fish/config.fish"""
)
@click.argument("shell", type=click.Choice(_SHELLS))
def completion(shell: str) -> int:
    """Print the script that makes SHELL complete what is typed after benchcheck.

    It completes commands and options, specs, benches and records by what is in the files, the checks and parts
    of the spec on the line (--only, --explain, --waive), and its nets (between).
    """
    from click.shell_completion import get_completion_class

    from benchcheck.cli import cli
    from benchcheck.cli.completing import use_own_bash

    use_own_bash()
    made = get_completion_class(shell)
    if made is None:  # a shell click no longer has
        raise click.UsageError(f"no completion for {shell} here; there are {', '.join(_SHELLS)}")
    click.echo(made(cli, {}, "benchcheck", "_BENCHCHECK_COMPLETE").source())
    return 0
