"""A group of commands that meets a mistyped name with the right one."""

from __future__ import annotations

import click

from benchcheck.errors import close_match

__all__ = ["Suggesting"]


class Suggesting(click.Group):
    """A group whose typing errors are met with the nearest command, or with all there are."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command the arguments begin with; raises UsageError for one there is not."""
        known = self.list_commands(ctx)
        if args and args[0] not in known and not ctx.resilient_parsing:
            hint = close_match(args[0], known) or f"; there are {', '.join(known)}"
            raise click.UsageError(f'"{args[0]}" is not a command{hint}', ctx)
        return super().resolve_command(ctx, args)
