"""The plugin manager of one run: built-ins and strangers come in by the same door, whole or not at all.

What a plugin hands over is collected and validated before it is let in; a plugin that raises, is named like
another or hands over something wrong is reported by name and left out, and the rest of the run goes on.
"""

from __future__ import annotations

import copy
import importlib.metadata
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import pluggy

from benchcheck.errors import Fault, PluginError
from benchcheck.plugins import hookspecs
from benchcheck.plugins.answers import COLLECTED, collected, look_at

__all__ = ["COLLECTED", "Plugins", "Validator"]

#: takes what a hook handed over and what is there already; returns what is wrong with it, in words.
Validator = Callable[[tuple[Any, ...], tuple[Any, ...]], tuple[str, ...]]


class Plugins:
    """Plugins let into one run, and what they handed over, by hook name.

    `validators` holds one function per collected hook; a hook without one takes anything.
    """

    def __init__(self, validators: Mapping[str, Validator] | None = None) -> None:
        self._manager = pluggy.PluginManager(hookspecs.NAMESPACE)
        self._manager.add_hookspecs(hookspecs)
        self._validators = dict(validators or {})
        self._handed: dict[str, tuple[Any, ...]] = dict.fromkeys(COLLECTED, ())
        self._later: dict[str, tuple[str, Callable[..., Any]]] = {}
        self._givers: dict[int, str] = {}
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
        if hook in self._later:
            name, function = self._later.pop(hook)
            things, wrong = self._collect(hook, function, ())
            if wrong:
                raise PluginError([Fault(f"plugin {name}", hook, words) for words in wrong])
            self._handed[hook] = things
            self._givers.update((id(thing), name) for thing in things)
        return self._handed[hook]

    def giver(self, thing: object) -> str:
        """Return the name of the plugin that handed a thing over, "" for what none of them did."""
        return self._givers.get(id(thing), "")

    def let_in_first(self, plugin: object, name: str) -> None:
        """Let benchcheck's own plugin in, before all others; what it hands over is collected when it is asked for.

        So a command pays only for the hooks it uses. Raises PluginError where it is no plugin, or not the first.
        """
        found = look_at(plugin, name, self._manager)
        faults = [*found.faults, *([Fault(f"plugin {name}", "", "is not the first")] if self.names else [])]
        if faults:
            raise PluginError(faults)
        self._register(plugin, name)
        self._later = {hook: (name, found.functions[hook]) for hook in COLLECTED if hook in found.functions}

    def let_in(self, plugin: object, name: str) -> None:
        """Let one plugin in, or raise PluginError naming it and everything wrong with it; nothing in between."""
        faults = list(self._name_faults(plugin, name))
        offered: dict[str, tuple[Any, ...]] = {}
        if not faults:
            found = look_at(plugin, name, self._manager)
            faults.extend(found.faults)
            for hook in (hook for hook in COLLECTED if hook in found.functions):
                offered[hook], wrong = self._collect(hook, found.functions[hook], self.handed(hook))
                faults.extend(Fault(f"plugin {name}", hook, words) for words in wrong)
        if faults:
            raise PluginError(faults)
        self._register(plugin, name)
        for hook, things in offered.items():
            self._handed[hook] += things
            self._givers.update((id(thing), name) for thing in things)

    def let_in_installed(self) -> None:
        """Let in every installed plugin of the entry-point group; those that cannot come in are in `left_out`."""
        for entry in importlib.metadata.entry_points(group=hookspecs.NAMESPACE):
            try:
                self._refuse_other_versions(entry)
                self.let_in(entry.load(), entry.name)
                self._versions[entry.name] = entry.dist.version if entry.dist else ""
            except PluginError as error:
                self.left_out += error.faults
            except KeyboardInterrupt:
                raise
            except BaseException as error:  # the board must still be checked
                message = f"cannot be loaded ({type(error).__name__}: {error}); mend or uninstall it"
                self.left_out += (Fault(f"plugin {entry.name}", "", message),)

    def notify(self, hook: str, **argument: Any) -> None:
        """Call a notice hook on every plugin, the last one in first, each with a copy of its own.

        One that raises is named in `left_out`, once, and is told nothing more; the others are told.
        """
        for implementation in reversed(getattr(self._manager.hook, hook).get_hookimpls()):
            name = implementation.plugin_name
            try:
                implementation.function(*(copy.deepcopy(argument[key]) for key in implementation.argnames))
            except KeyboardInterrupt:
                raise
            except (
                BaseException
            ) as error:  # a notice may never stop or change a visit, pytest's own outcomes included
                message = f"raised {type(error).__name__}: {error}; it is told nothing more"
                self.left_out += (Fault(f"plugin {name}", hook, message),)
                self._manager.unregister(name=name)

    def _name_faults(self, plugin: object, name: str) -> Iterator[Fault]:
        where = f"plugin {name}"
        if not name.strip() or not name.isprintable():
            yield Fault(where.rstrip(), "", "a plugin needs a name that can be printed")
        elif name in self.names:
            yield Fault(where, "", f"a plugin named {name} is in already; uninstall one, or give it another name")
        elif (earlier := self._manager.get_name(plugin)) is not None:
            yield Fault(where, "", f"is in already, as {earlier}; register it once")
        else:
            yield from (Fault(where, "", words) for words in _version_faults(plugin))

    def _collect(
        self, hook: str, function: Callable[..., Any], present: tuple[Any, ...]
    ) -> tuple[tuple[Any, ...], tuple[str, ...]]:
        things, wrong = collected(function)
        if wrong or hook not in self._validators:
            return things, (wrong,) if wrong else ()
        try:
            return things, self._validators[hook](things, present)
        except Exception as error:  # something in it raises when it is looked at
            return (), (f"hands over what cannot be looked at ({type(error).__name__}: {error})",)

    def _register(self, plugin: object, name: str) -> None:
        try:
            self._manager.register(plugin, name)
            self._manager.check_pending()
        except Exception as error:
            if self._manager.has_plugin(name):
                self._manager.unregister(name=name)
            told = f"cannot be registered ({type(error).__name__}: {' '.join(str(error).split())})"
            raise PluginError(Fault(f"plugin {name}", "", told)) from error

    def _refuse_other_versions(self, entry: importlib.metadata.EntryPoint) -> None:
        """Raise PluginError where an installed package says that it needs another benchcheck."""
        from benchcheck.plugins.needs import package_needs, version_fault

        wrong = version_fault(package_needs(entry.dist))
        if wrong:
            raise PluginError(Fault(f"plugin {entry.name}", "", wrong))


def _version_faults(plugin: object) -> Iterator[str]:
    try:
        needs = getattr(plugin, "benchcheck_needs", None)
    except Exception as error:
        yield f"benchcheck_needs raised {type(error).__name__}: {error}"
        return
    if needs is not None:
        from benchcheck.plugins.needs import version_fault

        wrong = version_fault(needs)
        if wrong:
            yield wrong
