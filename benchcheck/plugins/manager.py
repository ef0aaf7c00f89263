"""The plugin manager of one run: built-ins and strangers come in by the same door, whole or not at all.

What a plugin hands over is collected and validated before it is let in; a plugin that raises, is named like
another or hands over something wrong is reported by name and left out, and the rest of the run goes on.
"""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable, Mapping
from typing import Any

import pluggy

from benchcheck.errors import Fault, PluginError
from benchcheck.plugins import hookspecs

__all__ = ["COLLECTED", "Plugins", "Validator"]

#: the hooks whose answers are collected when a plugin is let in.
COLLECTED = ("benchcheck_kinds", "benchcheck_dialects", "benchcheck_sources", "benchcheck_reports")

#: what a stranger's code may raise; Ctrl-C alone is not the stranger's.
_ANYTHING = (Exception, SystemExit)

#: takes what a hook handed over and what is there already; returns what is wrong with it, in words.
Validator = Callable[[Any, tuple[Any, ...]], tuple[str, ...]]


class Plugins:
    """Plugins let into one run, and what they handed over, by hook name.

    `validators` holds one function per collected hook; a hook without one takes anything.
    """

    def __init__(self, validators: Mapping[str, Validator] | None = None) -> None:
        self._manager = pluggy.PluginManager(hookspecs.NAMESPACE)
        self._manager.add_hookspecs(hookspecs)
        self._validators = dict(validators or {})
        self._handed: dict[str, tuple[Any, ...]] = dict.fromkeys(COLLECTED, ())
        self._versions: dict[str, str] = {}
        self.left_out: tuple[Fault, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the plugins let in, sorted."""
        return tuple(sorted(name for name, _ in self._manager.list_name_plugin()))

    @property
    def versions(self) -> tuple[tuple[str, str], ...]:
        """Pairs of name and version of the installed plugins that were let in, sorted."""
        return tuple(sorted((name, version) for name, version in self._versions.items() if name in self.names))

    def handed(self, hook: str) -> tuple[Any, ...]:
        """Return everything handed over for a collected hook, in order of registration."""
        return self._handed[hook]

    def let_in(self, plugin: object, name: str) -> None:
        """Let one plugin in, or raise PluginError naming it and everything wrong with it; nothing in between."""
        faults = [Fault(f"plugin {name}", "", message) for message in self._name_faults(name)]
        offered: dict[str, tuple[Any, ...]] = {}
        for hook in COLLECTED if not faults else ():
            offered[hook] = self._collect(plugin, name, hook, faults)
        if faults:
            raise PluginError(faults)
        try:
            self._manager.register(plugin, name)
            self._manager.check_pending()
        except Exception as error:
            if self._manager.has_plugin(name):
                self._manager.unregister(name=name)
            raise PluginError(Fault(f"plugin {name}", "", _in_words(error))) from error
        for hook, things in offered.items():
            self._handed[hook] += things

    def let_in_installed(self) -> None:
        """Let in every installed plugin of the entry-point group; those that cannot come in are in `left_out`."""
        for entry in importlib.metadata.entry_points(group=hookspecs.NAMESPACE):
            try:
                self.let_in(entry.load(), entry.name)
                self._versions[entry.name] = entry.dist.version if entry.dist else ""
            except PluginError as error:
                self.left_out += error.faults
            except _ANYTHING as error:  # the board must still be checked
                message = f"cannot be loaded ({type(error).__name__}: {error}); mend or uninstall it"
                self.left_out += (Fault(f"plugin {entry.name}", "", message),)

    def notify(self, hook: str, **argument: Any) -> None:
        """Call a notice hook on every plugin, the last one in first.

        One that raises is named in `left_out`, once, and is told nothing more; the others are told.
        """
        for implementation in reversed(getattr(self._manager.hook, hook).get_hookimpls()):
            name = implementation.plugin_name
            try:
                implementation.function(*(argument[key] for key in implementation.argnames))
            except _ANYTHING as error:  # a notice may never stop or change a visit
                message = f"raised {type(error).__name__}: {error}; it is told nothing more"
                self.left_out += (Fault(f"plugin {name}", hook, message),)
                self._manager.unregister(name=name)

    def _name_faults(self, name: str) -> tuple[str, ...]:
        if not name.strip():
            return ("a plugin needs a name",)
        return (f"a plugin named {name} is in already",) if name in self.names else ()

    def _collect(self, plugin: object, name: str, hook: str, faults: list[Fault]) -> tuple[Any, ...]:
        implementation = getattr(plugin, hook, None)
        if implementation is None:
            return ()
        try:
            things = tuple(implementation())
        except _ANYTHING as error:  # named and left out, whatever it was
            faults.append(Fault(f"plugin {name}", hook, f"raised {type(error).__name__}: {error}"))
            return ()
        wrong = self._validators[hook](things, self._handed[hook]) if hook in self._validators else ()
        faults.extend(Fault(f"plugin {name}", hook, message) for message in wrong)
        return things


def _in_words(error: Exception) -> str:
    if isinstance(error, pluggy.PluginValidationError):
        return " ".join(str(error).split())
    return f"cannot be registered ({type(error).__name__}: {error})"
