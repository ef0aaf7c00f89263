"""What a plugin answers to which hook, looked at before it is let in: marked, known, with arguments that exist.

Everything here reads a stranger's object, so everything here may raise anything; it is said in words, never let out.
"""

from __future__ import annotations

import inspect
import itertools
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pluggy

from benchcheck.errors import Fault, close_match
from benchcheck.plugins import hookspecs

__all__ = ["COLLECTED", "HOOKS", "NOTICES", "Found", "collected", "look_at", "shown"]

#: the hooks whose answers are collected when a plugin is let in.
COLLECTED = ("benchcheck_kinds", "benchcheck_dialects", "benchcheck_sources", "benchcheck_reports")
#: every hook with the names of its arguments.
HOOKS: Mapping[str, tuple[str, ...]] = {
    name: tuple(inspect.signature(spec).parameters)
    for name, spec in vars(hookspecs).items()
    if name.startswith("benchcheck_")
}
NOTICES = tuple(name for name in HOOKS if name not in COLLECTED)
_MOST = 1000  # things from one hook; an endless generator must not hang a visit


@dataclass(frozen=True, slots=True)
class Found:
    """What a plugin answers: hook -> function, and what is wrong with it."""

    functions: Mapping[str, Callable[..., Any]]
    faults: tuple[Fault, ...]


def look_at(plugin: object, name: str, manager: pluggy.PluginManager) -> Found:
    """Return the hooks a plugin answers; a fault for every function that looks like one and cannot be."""
    if isinstance(plugin, type):
        told = "is a class; hand over an instance of it, or a module"
        return Found({}, (Fault(f"plugin {name}", plugin.__name__, told),))
    functions: dict[str, Callable[..., Any]] = {}
    faults: list[Fault] = []
    for attribute in dir(plugin):
        try:
            method = getattr(plugin, attribute)
            marked = manager.parse_hookimpl_opts(plugin, attribute)
        except Exception:  # a property that raises is no hook
            continue
        if marked is None and not (attribute.startswith("benchcheck_") and inspect.isroutine(method)):
            continue
        options: dict[str, Any] | None = None if marked is None else {**marked}
        hook = str((options or {}).get("specname") or attribute)
        wrong = tuple(_wrong(hook, method, options))
        faults.extend(Fault(f"plugin {name}", attribute, words) for words in wrong)
        if not wrong:
            functions[hook] = method
    return Found(functions, tuple(faults))


def _wrong(hook: str, method: Callable[..., Any], marked: Mapping[str, Any] | None) -> Iterator[str]:
    if hook not in HOOKS:
        yield f"is no hook of benchcheck{close_match(hook, HOOKS) or '; there are ' + ', '.join(sorted(HOOKS))}"
        return
    if marked is None:
        yield "is not marked; write @hookimpl above it, from benchcheck.plugins.hookspecs"
    elif marked.get("wrapper") or marked.get("hookwrapper"):
        yield "is a wrapper; no hook can change what another one says, so hand over or listen only"
    for argument in _needed(method):
        if argument not in HOOKS[hook]:
            known = " and ".join(HOOKS[hook])
            yield f'asks for the argument "{argument}"; ' + (f"it is given {known}" if known else "it is given none")


def _needed(method: Callable[..., Any]) -> Iterator[str]:
    """Yield the arguments a function cannot be called without; those with a default keep it."""
    parameters = inspect.signature(method).parameters.values()
    positional = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    for one in parameters:
        if one.default is inspect.Parameter.empty and one.kind in (*positional, inspect.Parameter.KEYWORD_ONLY):
            yield one.name


def collected(function: Callable[..., Any]) -> tuple[tuple[Any, ...], str]:
    """Return what a hook handed over, and what is wrong with it in words, "" when it could be had."""
    try:
        answer = function()
        if answer is None:
            return (), "returned nothing; return a tuple, () for none"
        if isinstance(answer, str | bytes | Mapping):
            return (), f"returned {shown(answer)}; return a tuple of things"
        things = tuple(itertools.islice(iter(answer), _MOST + 1))
    except KeyboardInterrupt:
        raise
    except BaseException as error:  # named and left out, whatever it was
        return (), f"raised {type(error).__name__}: {error}"
    return (things, "") if len(things) <= _MOST else ((), f"hands over more than {_MOST} things")


def shown(thing: object) -> str:
    """Return a stranger's object in one short line; one whose repr raises is named by its type."""
    try:
        words = " ".join(repr(thing).split())
    except Exception:
        words = f"a {type(thing).__name__}"
    return words if len(words) <= 80 else f"{words[:77]}..."
