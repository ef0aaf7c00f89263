"""The door for plugins: in whole or not at all, by name, and no stranger ever stops a visit."""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import pytest

from benchcheck import __version__
from benchcheck.builtin import plugins
from benchcheck.errors import PluginError
from benchcheck.kinds.catalogue import KINDS
from benchcheck.plugins import hookspecs
from benchcheck.plugins.hookspecs import hookimpl
from benchcheck.plugins.manager import COLLECTED, Plugins

HOOKS = [name for name in vars(hookspecs) if name.startswith("benchcheck_")]
KIND = replace(KINDS[0], name="lamp")


class Lamps:
    """A plugin that adds a kind and listens."""

    def __init__(self, *kinds: Any) -> None:
        self.kinds = kinds or (KIND,)
        self.heard: list[Any] = []

    @hookimpl
    def benchcheck_kinds(self) -> Iterable[Any]:
        return self.kinds

    @hookimpl
    def benchcheck_check_scored(self, score: Any) -> None:
        self.heard.append(score)


class Entry:
    """An entry point as installed packages have them."""

    def __init__(self, name: str, load: Callable[[], object]) -> None:
        self.name, self.load, self.dist = name, load, None


def refused(manager: Plugins, plugin: object, name: str) -> str:
    before = manager.names, {hook: manager.handed(hook) for hook in COLLECTED}
    with pytest.raises(PluginError) as caught:
        manager.let_in(plugin, name)
    assert (manager.names, {hook: manager.handed(hook) for hook in COLLECTED}) == before, "nothing in between"
    return str(caught.value)


def test_the_built_in_kinds_come_in_by_the_same_door() -> None:
    manager = plugins(installed=False)
    assert manager.names == ("built-in",)
    assert manager.handed("benchcheck_kinds") == KINDS


def test_what_a_plugin_hands_over_stands_after_what_was_there() -> None:
    manager = plugins(installed=False)
    manager.let_in(Lamps(), "lamps")
    assert manager.handed("benchcheck_kinds") == (*KINDS, KIND)
    assert manager.names == ("built-in", "lamps")


@pytest.mark.parametrize(
    ("name", "told"), [("built-in", "is in already"), ("", "needs a name"), (" ", "needs a name")]
)
def test_a_plugin_needs_a_name_of_its_own(name: str, told: str) -> None:
    assert told in refused(plugins(installed=False), Lamps(), name)


def test_a_kind_that_is_there_already_is_refused_by_name() -> None:
    told = refused(plugins(installed=False), Lamps(KIND, KINDS[0]), "lamps")
    assert told == f'plugin lamps: benchcheck_kinds: kind "{KINDS[0].name}" is there already; choose another name'


def test_the_same_kind_twice_from_one_plugin_is_refused() -> None:
    assert '"lamp" is there already' in refused(plugins(installed=False), Lamps(KIND, KIND), "lamps")


def test_everything_wrong_with_a_plugin_is_told_at_once() -> None:
    told = refused(plugins(installed=False), Lamps("a word", 7, KINDS[0]), "lamps").splitlines()
    assert len(told) == 3
    assert all(line.startswith("plugin lamps: ") for line in told)


def test_a_plugin_that_raises_is_named_with_the_hook_and_stays_out() -> None:
    class Broken:
        @hookimpl
        def benchcheck_dialects(self) -> Iterable[Any]:
            raise ZeroDivisionError("no lamp")

        @hookimpl
        def benchcheck_kinds(self) -> Iterable[Any]:
            return (KIND,)

    told = refused(plugins(installed=False), Broken(), "broken")
    assert told == "plugin broken: benchcheck_dialects: raised ZeroDivisionError: no lamp"


def test_a_hook_with_arguments_nobody_has_is_refused() -> None:
    class Asking:
        @hookimpl
        def benchcheck_check_scored(self, verdict: str) -> None:
            """There is no such argument."""

    told = refused(plugins(installed=False), Asking(), "asking")
    assert told == 'plugin asking: benchcheck_check_scored: asks for the argument "verdict"; it is given score'


def test_a_hook_of_no_known_name_is_refused() -> None:
    class Misspelt:
        @hookimpl
        def benchcheck_check_score(self, score: Any) -> None:
            """One letter short."""

    told = refused(plugins(installed=False), Misspelt(), "misspelt")
    assert told.startswith("plugin misspelt: benchcheck_check_score: is no hook of benchcheck; did you mean")
    assert '"benchcheck_check_scored"' in told


def test_one_plugin_cannot_come_in_twice() -> None:
    manager, lamps = Plugins(), Lamps()
    manager.let_in(lamps, "lamps")
    assert refused(manager, lamps, "more lamps") == "plugin more lamps: is in already, as lamps; register it once"
    assert manager.names == ("lamps",)


def test_installed_plugins_that_cannot_come_in_are_left_out_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing() -> object:
        raise ImportError("no module named lamps")

    entries = [Entry("gone", missing), Entry("lamps", Lamps), Entry("twin", Lamps)]
    monkeypatch.setattr(importlib.metadata, "entry_points", lambda *, group: entries if group == "benchcheck" else [])
    manager = plugins()
    assert manager.names == ("built-in", "lamps")
    gone, twin = map(str, manager.left_out)
    assert "plugin gone: cannot be loaded (ImportError: no module named lamps)" in gone
    assert twin.startswith('plugin twin: benchcheck_kinds: kind "lamp" is there already')


def unmarked(self: object) -> tuple[()]:
    return ()


def wrapping(self: object, score: object) -> object:
    yield


@pytest.mark.parametrize(
    ("members", "told"),
    [
        ({"benchcheck_kinds": unmarked}, "benchcheck_kinds: is not marked; write @hookimpl above it"),
        ({"benchcheck_check_scored": hookimpl(wrapper=True)(wrapping)}, "is a wrapper; no hook can change"),
        ({"benchcheck_kinds": hookimpl(lambda self: None)}, "returned nothing; return a tuple, () for none"),
        ({"benchcheck_kinds": hookimpl(lambda self: "resistor")}, "returned 'resistor'; return a tuple of things"),
        ({"benchcheck_kinds": hookimpl(lambda self: iter(int, 1))}, "hands over more than 1000 things"),
        ({"benchcheck_kinds": hookimpl(lambda self: pytest.skip("no"))}, "benchcheck_kinds: raised Skipped: no"),
        ({"benchcheck_needs": ">=99"}, f"needs benchcheck >=99, and this is {__version__}"),
        ({"benchcheck_needs": "the next one"}, 'benchcheck_needs is "the next one", which is no version'),
        ({"benchcheck_needs": 2}, 'benchcheck_needs is 2; write a version such as ">=0.1"'),
    ],
)
def test_a_plugin_that_is_none_is_told_what_to_do(members: dict[str, Any], told: str) -> None:
    assert told in refused(plugins(installed=False), type("Guest", (), members)(), "guest")


def test_a_class_in_place_of_an_instance_is_refused() -> None:
    assert "is a class; hand over an instance of it" in refused(plugins(installed=False), Lamps, "lamps")


def test_a_hook_may_go_by_another_name_in_the_plugin() -> None:
    members = {"my_lamps": hookimpl(specname="benchcheck_kinds")(lambda self: (KIND,))}
    manager = plugins(installed=False)
    manager.let_in(type("Guest", (), members)(), "guest")
    assert manager.handed("benchcheck_kinds")[-1] is KIND
    assert manager.giver(KIND) == "guest"


@pytest.mark.parametrize(
    ("requires", "told"),
    [
        (["benchcheck>=99"], f"plugin lamps: needs benchcheck >=99, and this is {__version__}"),
        (["numpy", "benchcheck<99", "not a requirement ~ at all"], ""),
        (['benchcheck>=99; extra == "later"'], ""),
        (None, ""),
    ],
)
def test_a_package_for_another_benchcheck_is_named_before_it_is_imported(
    monkeypatch: pytest.MonkeyPatch, requires: list[str] | None, told: str
) -> None:
    class Package:
        version = "1.2"

        def __init__(self) -> None:
            self.requires = requires

    def loaded() -> object:
        assert not told, "it was imported"
        return Lamps()

    entry: Any = Entry("lamps", loaded)
    entry.dist = Package()
    monkeypatch.setattr(importlib.metadata, "entry_points", lambda *, group: [entry])
    manager = plugins()
    assert " ".join(map(str, manager.left_out)).startswith(told)
    assert manager.versions == (() if told else (("lamps", "1.2"),))


@pytest.mark.parametrize("error", [SystemExit(3), pytest.skip.Exception("no"), RecursionError()])
def test_nothing_an_import_raises_stops_the_run(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def broken() -> object:
        raise error

    monkeypatch.setattr(importlib.metadata, "entry_points", lambda *, group: [Entry("broken", broken)])
    (fault,) = plugins().left_out
    assert str(fault).startswith(f"plugin broken: cannot be loaded ({type(error).__name__}")


def test_ctrl_c_during_an_import_is_the_users(monkeypatch: pytest.MonkeyPatch) -> None:
    def slow() -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(importlib.metadata, "entry_points", lambda *, group: [Entry("slow", slow)])
    with pytest.raises(KeyboardInterrupt):
        plugins()


def test_notices_reach_every_plugin_with_their_one_argument() -> None:
    manager, lamps = Plugins(), Lamps()
    manager.let_in(lamps, "lamps")
    manager.notify("benchcheck_check_scored", score="pass")
    manager.notify("benchcheck_checklist_ready", checklist=())
    assert lamps.heard == ["pass"]


def test_a_listener_that_raises_is_told_nothing_more_and_the_others_are_told() -> None:
    class Shouting(Lamps):
        @hookimpl
        def benchcheck_check_scored(self, score: Any) -> None:
            self.heard.append(score)
            raise RuntimeError("too loud")

    manager, quiet, shouting, last = Plugins(), Lamps(), Shouting(), Lamps()
    for plugin, name in ((quiet, "quiet"), (shouting, "shouting"), (last, "last")):
        manager.let_in(plugin, name)
    for score in ("pass", "fail"):
        manager.notify("benchcheck_check_scored", score=score)
    assert (quiet.heard, shouting.heard, last.heard) == (["pass", "fail"], ["pass"], ["pass", "fail"])
    (fault,) = manager.left_out
    assert str(fault).startswith("plugin shouting: benchcheck_check_scored: raised RuntimeError: too loud")


@pytest.mark.parametrize("hook", HOOKS)
def test_every_hook_says_what_it_is_for(hook: str) -> None:
    assert getattr(hookspecs, hook).__doc__.strip()


def test_a_run_has_a_manager_of_its_own() -> None:
    first = plugins(installed=False)
    first.let_in(Lamps(), "lamps")
    assert plugins(installed=False).names == ("built-in",)


def test_what_comes_first_is_collected_when_it_is_asked_for() -> None:
    asked: list[str] = []

    class First:
        @hookimpl
        def benchcheck_kinds(self) -> Iterable[Any]:
            asked.append("kinds")
            return (KIND,)

        @hookimpl
        def benchcheck_reports(self) -> Iterable[Any]:
            asked.append("reports")
            return ("no report",)

    manager = Plugins({"benchcheck_reports": lambda offered, present: ("wrong",)})
    manager.let_in_first(First(), "first")
    assert asked == []
    assert manager.handed("benchcheck_kinds") == manager.handed("benchcheck_kinds") == (KIND,)
    assert asked == ["kinds"]
    with pytest.raises(PluginError, match="plugin first: benchcheck_reports: wrong"):
        manager.handed("benchcheck_reports")


def test_a_stranger_is_compared_with_what_came_first_although_nobody_asked_for_it_yet() -> None:
    assert '"resistor" is there already' in refused(plugins(installed=False), Lamps(KINDS[0]), "lamps")


def test_only_one_comes_first_and_it_must_be_a_plugin() -> None:
    manager = plugins(installed=False)
    with pytest.raises(PluginError, match="plugin late: is not the first"):
        manager.let_in_first(Lamps(), "late")
    with pytest.raises(PluginError, match="is not marked"):
        Plugins().let_in_first(type("Guest", (), {"benchcheck_kinds": unmarked})(), "guest")
