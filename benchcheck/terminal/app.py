"""A visit on the screen: cautions and what lies ahead, a line a check, the tally and where the record is."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial

from benchcheck.bench.model import Bench
from benchcheck.builtin import catalogue, further_dialects, open_source, read_file
from benchcheck.checklist.cautions import cautions_for
from benchcheck.checklist.order import Checklist
from benchcheck.clock import SystemClock
from benchcheck.errors import Fault, UsageError, VisitInterrupted
from benchcheck.kinds.check import Check
from benchcheck.plugins.manager import Plugins
from benchcheck.record.model import Stage
from benchcheck.record.shelf import latest_open
from benchcheck.score.model import Score, Verdict
from benchcheck.session.answers import Answer, Source, Step
from benchcheck.session.clips import clips_seen
from benchcheck.session.meters import Meters, linked
from benchcheck.session.run import Conduct, Report, Request
from benchcheck.session.sources import Setting
from benchcheck.terminal.after_stop import wish_by_line
from benchcheck.terminal.clipping_by_line import ByLine, Clips
from benchcheck.terminal.expecting import typed_source
from benchcheck.terminal.guided import Guided
from benchcheck.terminal.guiding import GuidedConduct, guided_screen, instrumented
from benchcheck.terminal.hand import PersonHand
from benchcheck.terminal.line_by_line import LineByLine
from benchcheck.terminal.lines import stays, summary_line
from benchcheck.terminal.manner import Manner
from benchcheck.terminal.progress import Progress
from benchcheck.terminal.prompt import PromptSource, asked_for_last_word
from benchcheck.terminal.screen import Screen
from benchcheck.terminal.sound import Sound
from benchcheck.terminal.telling import most_telling
from benchcheck.terminal.typed_visit import TypedVisit
from benchcheck.terminal.whys import why_lines

__all__ = ["conduct_on_screen"]

#: prompts line by line, and no sound: what pytest and programs get.
_LINES = Manner(linear=True, silent=True)
#: one check in so many is read a second time, blind.
_SECOND_LOOK = 20
#: what is named again at the end, because it must not be lost among the passes.
_NAMED = (
    ("failed", (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)),
    ("inside the limits, but nearer to them than the uncertainty", (Verdict.CONDITIONAL_PASS,)),
)


def conduct_on_screen(
    request: Request,
    *,
    lines: bool = True,
    screen: Screen | None = None,
    plugins: Plugins | None = None,
    manner: Manner = _LINES,
) -> Conduct:
    """Return what conducts a request with a person at this terminal; `lines` shows every score as it comes.

    `manner` says whether there is a screen to be guided on, and sound.
    `plugins` are told the notices of the run; those that had to be left out are named at its end.
    """
    show = _Show(request, screen or Screen(), lines, plugins, manner)
    asked = {"ready": show.ready, "done": show.done, "told": show.told}
    conduct = GuidedConduct(request, show, show.source, **asked, leave=show.leave)  # type: ignore[arg-type]
    show.conduct = conduct
    if plugins is not None:
        conduct.notify, conduct.versions = plugins.notify, plugins.versions
        conduct.read = partial(read_file, plugins)
    return conduct


#: the source that is a person; where no terminal is, the lines of a file or another program in place of one.
TYPED = "typed"
_NOT_BEGUN = "stopped at the cautions: nothing was measured and no record was begun"
_NOT_GONE_ON = "stopped at the cautions: the record is as it was, --resume goes on"


def _nothing() -> None:
    """Nothing is on."""


class _Show:
    """The screen's side of one run."""

    def __init__(
        self, request: Request, screen: Screen, lines: bool, plugins: Plugins | None, manner: Manner
    ) -> None:
        self._request = request
        self._plugins = plugins
        self._manner = manner
        self.conduct: Conduct
        self._guided: Guided | None = None
        self._prompts: PromptSource | None = None
        self._sound: Sound | None = None
        self._stays: dict[str, str] = {}  # what is said again on the terminal that stays, the last of each
        self._rest: Callable[[], None] = _nothing
        self._cautions: tuple[str, ...] = ()
        self._last: tuple[Check, Score] | None = None
        self._screen = screen
        self._asks = request.readings is None
        self._lines = lines or self._asks
        watched = sys.stderr.isatty() and not self._asks and not (lines and sys.stdout.isatty())
        self._progress = Progress() if watched else None

    def source(self, bench: Bench) -> Source:
        setting = Setting(bench, ask=self._screen.ask, tell=self._screen.tell)
        named = self._request.source if not (self._request.source == TYPED and sys.stdin.isatty()) else ""
        if named and self._plugins is not None:
            return open_source(self._plugins, named, setting)
        if not sys.stdin.isatty():
            message = (
                "there is no terminal to ask at; give the readings with --readings FILE, or the lines somebody would "
                f"type with --source {TYPED}"
            )
            raise UsageError(Fault("", "", message))
        if self._manner.on_screen():
            return self._on_screen(bench)
        prompts = self._prompts = typed_source(setting)
        self.conduct.second_look_every, self.conduct.last_word = _SECOND_LOOK, self._last_word
        self._sound = Sound(self._screen.bell, on=not self._manner.silent, speak=self._manner.spoken)
        prompts.say, prompts.drained, prompts.width = self._sound.say, self._screen.drained, self._screen.columns
        prompts.line_if_typed = self._screen.line_if_typed
        self._screen.paragraph(self._sound.missing)
        if not linked(bench):
            return TypedVisit(prompts, bench, prompts.confirmed)
        lines = LineByLine(self._screen, prompts, self._meters(bench), bench, self._sound, SystemClock())
        clips = Clips(lines)
        source = ByLine(lines.meters, PersonHand(prompts), prompts, clips.look, self.told, clips=clips)
        clips.seen = lambda check: clips_seen(check, source.power.board, lines.meters) if source.power else ""
        source.dialects = further_dialects(self._plugins) if self._plugins is not None else {}
        source.stop_asked, self._screen.while_waiting = self._screen.stop_asked, source.tend
        lines.tend, lines.power_ended = source.tend, source.why_off
        lines.live = lambda: source.power is not None and source.power.is_on
        lines.switch_off, self._rest = source.switch_off_by_key, source.rest
        source.power_stopped, source.power_ruled = self._power_stopped, self._power_ruled
        prompts.driven = lambda: source.power is not None
        return source

    def _on_screen(self, bench: Bench) -> Source:
        self.conduct.second_look_every, self.conduct.last_word = _SECOND_LOOK, self._last_word
        guided = self._guided = guided_screen(bench, f"unit {self._request.unit}", self._manner)
        if not linked(bench):
            return TypedVisit(guided, bench, guided.prompts.confirmed)
        source = instrumented(guided, self._meters(bench), self.told)
        source.dialects = further_dialects(self._plugins) if self._plugins is not None else {}
        return source

    def _power_stopped(self, step: Step, reason: str) -> Answer:
        return wish_by_line(reason, self._cautions, self._screen.ask, self._screen.tell)

    def _power_ruled(self, step: Step, reason: str) -> Answer:
        return wish_by_line(reason, self._cautions, self._screen.ask, self._screen.tell, ruled=True)

    def _last_word(self) -> bool:
        """Whether the last answer is to be taken back, power being off; without a screen nothing ends by itself."""
        if self._guided is not None:
            return self._guided.last_word()
        self._rest()
        return asked_for_last_word(self._screen.ask, self._screen.tell)

    def leave(self) -> None:
        if self._guided is not None:
            self._guided.leave()
        if self._sound is not None:
            self._sound.close()

    def _meters(self, bench: Bench) -> Meters:
        if self._plugins is None:
            return Meters(bench, SystemClock())
        return Meters(bench, SystemClock(), catalogue=catalogue(self._plugins))

    def told(self, line: str) -> None:
        if self._guided is not None:
            self._guided.tell(line)
            about = stays(line)
            if about:
                self._stays.pop(about, None)
                self._stays[about] = line
            return
        self._screen.paragraph(line, "  ", "    ")

    def ready(self, checklist: Checklist, bench: Bench) -> None:
        board, screen = checklist.board, self._screen
        if self._guided is not None:
            self._begin(self._guided, checklist, bench)
            return
        if self._prompts is not None:
            self._prompts.pace.soak_s = 60.0 * self._request.soak
            self._prompts.most_telling = partial(most_telling, checklist, bench)
            self._prompts.explain = lambda check, session: why_lines(check, bench, session, board, self._last)
        screen.heading(f"{board.model} {board.revision}".strip() + f", unit {self._request.unit}")
        self._cautions = (*cautions_for(board), *bench.cautions(SystemClock().now().date()))
        screen.cautions(self._cautions)
        if checklist.pulled_in:
            count = len(checklist.pulled_in)
            screen.paragraph(f"{count} more checks come along: the selected ones need them first", "  ")
        if self._asks:
            screen.paragraph(self._unfinished(checklist), "  ")
            screen.tell()
            if self._prompts is not None:  # the simulated hand needs no telling
                self._prompts.help()
        else:
            screen.tell()

    def _begin(self, guided: Guided, checklist: Checklist, bench: Bench) -> None:
        """Show the cautions and what lies ahead, and wait for the key that begins."""
        board = checklist.board
        guided.keys.board = board
        guided.picture.soak_follows, guided.pace.soak_s = bool(self._request.soak), 60.0 * self._request.soak
        guided.keys.most_telling = partial(most_telling, checklist, bench)
        guided.desk.diagnosis = True
        title = f"{board.model} {board.revision}".strip()
        guided.picture.title = f"{title}, unit {self._request.unit}"
        cautions = (*cautions_for(board), *bench.cautions(SystemClock().now().date()))
        guided.cautions = ("", *(f"- {one}" for one in cautions))
        ahead = f"{len(checklist.checks)} checks"
        if checklist.pulled_in:
            ahead += f", {len(checklist.pulled_in)} of them because the selected ones need them first"
        missing = (guided.sound.missing,) if guided.sound.missing else ()
        first = (*guided.cautions, "", ahead, self._unfinished(checklist), *missing)
        if not guided.begins(first):
            raise VisitInterrupted(_NOT_BEGUN if not self._request.resume else _NOT_GONE_ON)

    def _unfinished(self, checklist: Checklist) -> str:
        """Return in words that a visit could be gone on with, where this one begins anew beside it."""
        request = self._request
        if request.resume:
            return ""
        stage = Stage(request.stage)
        found = latest_open(request.records, request.unit, checklist.board.digest, stage=stage)
        if found is None or found.empty:
            return ""
        began = f" of {found.head.date:%Y-%m-%d}" if found.head.date else ""
        return f"A visit{began} to this unit was not finished: stop, then --resume goes on with that one."

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        if self._guided is not None:
            self._guided.scored(check, score, place, total)
            return
        self._last = (check, score)
        if self._sound is not None:
            self._sound.scored(score)
        if self._lines:
            self._screen.scored(check, score, place, total)
        if self._progress:
            self._progress.scored(check, score, place, total)

    def undone(self, check: Check | None) -> None:
        if self._guided is not None:
            self._guided.undone(check)
            return
        self._screen.undone(check)

    def _tell_open_ends(self, report: Report) -> None:
        """Say again, on the terminal that stays, what did not pass, and how soak and power ended."""
        by_id = {check.id: check for check in report.checklist.checks}
        for place, score in enumerate(report.scores, 1):
            if score.verdict is not Verdict.PASS and score.check in by_id:
                self._screen.scored(by_id[score.check], score, place, len(report.scores))
        for line in self._stays.values():
            self._screen.paragraph(line)

    def done(self, report: Report) -> None:
        if self._progress:
            self._progress.wipe()
        screen = self._screen
        if self._guided is not None:
            self._guided.leave()
            self._tell_open_ends(report)
        screen.heading(f"{len(report.scores)} checks: {summary_line(report.scores)}")
        for words, verdicts in _NAMED:
            names = [score.check for score in report.scores if score.verdict in verdicts]
            if names:
                screen.paragraph(f"{words}: {', '.join(names)}", "", "  ")
        rule = report.bench.decision
        screen.paragraph(f"decision rule: {rule.name}; {rule.guard_band}", "", "  ")
        screen.paragraph(f"record: {report.record}", "", "  ")
        screen.tell(f"last seal: {report.last_seal}")
        for fault in self._plugins.left_out if self._plugins else ():
            screen.paragraph(f"left out: {fault}", "", "  ")
        if report.alarm:
            screen.paragraph(report.alarm, style="bold red")
        if report.interrupted:
            screen.tell("stopped; everything accepted is kept, --resume goes on")
