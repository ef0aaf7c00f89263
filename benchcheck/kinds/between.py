"""A check without limits between any two nets, named so that it can be written down: `between.ohms[BSW:LX]`."""

from __future__ import annotations

from collections.abc import Collection

from benchcheck.bench.functions import Function
from benchcheck.errors import close_match
from benchcheck.kinds.build import check
from benchcheck.kinds.check import Check, Limits, Phase, Probe

__all__ = ["NOT_OF_A_VISIT", "between_check", "between_named", "between_refused", "is_between", "with_nets_of"]

_SUBJECT = "between"
_FUNCTIONS = tuple(map(str, Function))
#: what is wrong with such a name where checks of a visit are asked for.
NOT_OF_A_VISIT = "is a reading for benchcheck diagnose, which no visit scores"
#: nets that are told one by one where none is near what was written.
_TOLD = 40


def between_check(function: Function, red: str, black: str) -> Check:
    """Return the check that reads a function with red on one net and black on another."""
    limits = Limits(origin="none: for the diagnosis")
    ends = f"{red}:{black}"
    return check(
        _SUBJECT, str(function), function, Phase.PARTS, limits, Probe(red, red), Probe(black, black), bracket=ends
    )


def is_between(name: str) -> bool:
    """Return whether a name is meant for a reading between two nets, well written or not."""
    return name.partition(".")[0].casefold() == _SUBJECT


def between_named(name: str) -> Check | None:
    """Return the check of such a name, None for any other name.

    >>> between_named("between.ohms[BSW:LX]").red.net
    'BSW'
    """
    subject, function, red, black = _taken_apart(name)
    if subject != _SUBJECT or function not in _FUNCTIONS or not red or not black:
        return None
    return between_check(Function(function), red, black)


def with_nets_of(name: str, nets: Collection[str]) -> str:
    """Return such a name with its nets and its function as the board writes them, whatever their case.

    >>> with_nets_of("Between.Ohms[bsw:LX]", ("BSW", "LX"))
    'between.ohms[BSW:LX]'
    """
    subject, function, red, black = _taken_apart(name)
    by_fold = {net.casefold(): net for net in nets} | {net: net for net in nets}
    red, black = (by_fold.get(end, by_fold.get(end.casefold(), end)) for end in (red, black))
    return f"{subject.casefold()}.{function.casefold()}[{red}:{black}]"


def between_refused(name: str, nets: Collection[str], functions: Collection[str] = _FUNCTIONS) -> str:
    """Return what is wrong with such a name on a board with these nets, "" where nothing is; case does not count.

    >>> between_refused("between.ohms[BSW:LX]", ("BSW", "LXA"))
    'no part of the spec is on a net "LX"; did you mean "LXA"?'
    """
    _, function, red, black = _taken_apart(name)
    if not nets:
        return "the spec gives its parts no nets to read between; write nets into it, or leave this out"
    if function.casefold() not in functions:
        near = close_match(function, functions) or (f"; there are {', '.join(functions)}" if functions else "")
        return f'"{function}" is no function that is read between two nets here{near}'
    if not red or not black:
        return f"does not name two nets; write between.{function}[RED:BLACK], the net of red first"
    if red == black or (red.casefold() == black.casefold() and not {red, black} <= set(nets)):
        return f'has both probes on one net, "{red}"; name two different nets'
    return _not_there((red, black), nets)


def _not_there(ends: Collection[str], nets: Collection[str]) -> str:
    known = {net.casefold() for net in nets}
    unknown = [end for end in ends if end.casefold() not in known]
    if not unknown:
        return ""
    told, more = sorted(nets)[:_TOLD], len(nets) - _TOLD
    every = f"; its nets are {', '.join(told)}" + (f" and {more} more" if more > 0 else "")
    near = [(end, close_match(end, nets)) for end in unknown]
    if len(near) > 1 and all(hint for _, hint in near):
        return "; ".join(f'no part of the spec is on a net "{end}"{hint}' for end, hint in near)
    hints = "".join(hint for _, hint in near)
    return "no part of the spec is on a net " + " or ".join(f'"{end}"' for end in unknown) + (hints or every)


def _taken_apart(name: str) -> tuple[str, str, str, str]:
    """Return subject, function, net of red and net of black of such a name, "" for what is not there."""
    subject, _, rest = name.partition(".")
    function, _, ends = rest.removesuffix("]").partition("[")
    red, _, black = ends.partition(":")
    return subject, function, red, black
