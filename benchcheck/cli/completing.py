"""What the shell is offered where a command wants a file of ours, a check of a board, or one of its nets.

Everything here answers while somebody types: a file that cannot be read offers nothing and says nothing.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class

from benchcheck.errors import BenchcheckError

if TYPE_CHECKING:
    from benchcheck.spec.board import Board

    Completer = Callable[[click.Context, click.Parameter, str], list[CompletionItem[str]]]

__all__ = ["benches", "checks", "nets", "our_files", "records", "specs", "use_own_bash"]

#: how many bytes of a file are looked at for its first key.
_HEAD_BYTES = 4096
_MOST_FILES = 500


def _marked(path: Path, key: str) -> bool:
    """Return whether a file is one of ours of the sort its first key says."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES).decode("utf-8", "replace")
    except OSError:
        return False
    return re.search(rf"^{key}[ \t]*=", head, re.MULTILINE) is not None


def _nearby(typed: str, depth: int) -> Iterator[Path]:
    """Yield the TOML files whose path begins as typed, down to `depth` folders below it."""
    folder, begun = os.path.split(typed)
    try:
        inside = sorted(Path(folder or ".").glob(f"{_literal(begun)}*"))
    except (OSError, ValueError):
        return
    for path in inside:
        if path.name.startswith(".") and not begun.startswith("."):
            continue
        if path.suffix == ".toml" and path.is_file():
            yield path
        elif path.is_dir():
            for level in range(depth):
                yield from sorted(path.glob("*/" * level + "*.toml"))


def _literal(begun: str) -> str:
    """Return what was typed with no sign left that stands for others."""
    return re.sub(r"([*?\[])", r"[\1]", begun)


def our_files(key: str, depth: int = 1, words: Iterable[str] = ()) -> Completer:
    """Return a completer for files whose first key is `key`, and for words that may stand in their place."""

    def complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem[str]]:
        found = [word for word in words if word.startswith(incomplete)]
        for path in _nearby(incomplete, depth):
            if len(found) < _MOST_FILES and _marked(path, key):
                found.append(str(path))
        return [CompletionItem(text) for text in found] or [CompletionItem(incomplete, type="file")]

    return complete


specs = our_files("benchcheck")
benches = our_files("benchcheck_bench", words=("simulated",))
records = our_files("benchcheck_record", depth=2)


def _board(ctx: click.Context) -> Board | None:
    """Return the board of the spec that stands on the line already."""
    given = ctx.params.get("spec") or next(iter(ctx.args), None)  # an option still without its value ends the parsing
    if given is None:
        return None
    from benchcheck.builtin import load_spec

    try:
        return load_spec(Path(given))
    except (BenchcheckError, OSError, ValueError):
        return None


def checks(*, several: bool = False, subjects: bool = False) -> Completer:
    """Return a completer for check ids of the board; `subjects` adds parts and rails, `several` allows commas."""

    def complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem[str]]:
        board = _board(ctx)
        if board is None:
            return []
        done, comma, typed = incomplete.rpartition(",") if several else ("", "", incomplete)
        names = dict.fromkeys(check.subject for check in board.checks) if subjects else {}
        ids = {check.id: check.why for check in board.checks}
        chosen = done.split(",")
        return [
            CompletionItem(f"{done}{comma}{name}", help=why or None)
            for name, why in (dict.fromkeys(names, "") | ids).items()
            if name.casefold().startswith(typed.casefold()) and name not in chosen
        ]

    return complete


def nets(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem[str]]:
    """Return the nets of the board that begin as typed."""
    board = _board(ctx)
    names = sorted(board.nets) if board is not None else ()
    return [CompletionItem(name) for name in names if name.casefold().startswith(incomplete.casefold())]


_BASH = """\
%(complete_func)s() {
    local line type value
    COMPREPLY=()
    while IFS= read -r line; do
        [[ -n $line ]] || continue
        type=${line%%%%,*} value=${line#*,}
        if [[ $type == file ]]; then
            compopt -o default 2> /dev/null
        elif [[ $type == dir ]]; then
            compopt -o dirnames 2> /dev/null
        else
            printf -v value '%%q' "$value"
            COMPREPLY+=("$value")
        fi
    done < <(env COMP_LINE="$COMP_LINE" COMP_POINT="$COMP_POINT" COMP_WORDBREAKS="$COMP_WORDBREAKS" \\
        %(complete_var)s=bash_complete "$1" 2> /dev/null)
}
complete -o nosort -F %(complete_func)s %(prog_name)s
"""


class _Bash(BashComplete):
    """Bash's own words end at every colon, and check ids hold colons: the line is taken apart here instead."""

    source_template = _BASH

    @staticmethod
    def _check_version() -> None:
        """Say nothing: the script is often made on one machine and used on another."""

    def get_completion_args(self) -> tuple[list[str], str]:
        line = os.environ.get("COMP_LINE", "")[: int(os.environ.get("COMP_POINT", "0") or 0)]
        words = click.shell_completion.split_arg_string(line)
        if not line or line[-1].isspace():
            words.append("")
        return words[1:-1], words[-1] if words else ""

    def get_completions(self, args: list[str], incomplete: str) -> list[CompletionItem[str]]:
        """Return completions without what bash takes for earlier words: everything up to the last colon."""
        found = super().get_completions(args, incomplete)
        breaks = os.environ.get("COMP_WORDBREAKS", "")
        typed = incomplete.partition("=")[2] if incomplete.startswith("--") and "=" in breaks else incomplete
        cut = typed.rfind(":") + 1 if ":" in breaks else 0
        return [CompletionItem(str(item.value)[cut:], type=item.type) for item in found] if cut else found


def use_own_bash() -> None:
    """Let click complete bash through the script above."""
    add_completion_class(_Bash)
