"""What a visit sounds like: eyes are on the tips. The bell always; tones and speech where the system can.

Pass, fail, undecided and "put the tips on again" differ in number and in melody, so that the bell alone tells them
apart; the tone of a pass rises with the place of the reading between its limits. Everything is made in a thread of
its own and dropped when it comes late: no sound ever holds up a reading, and no words hold up a sound.
"""

from __future__ import annotations

import contextlib
import io
import math
import queue
import shutil
import struct
import subprocess
import threading
import wave
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from benchcheck.score.model import Score
from benchcheck.session.exit_code import FAILED, PASSED
from benchcheck.terminal.bar import Gauge

__all__ = ["Cue", "Sound", "melody", "wave_bytes"]

_RATE_HZ = 22_050
_BELL_GAP_S = 0.18
_LONGEST_S, _LONGEST_WORDS_S, _GLANCE_S = 5.0, 30.0, 0.05
_LOW_HZ, _HIGH_HZ = 440.0, 880.0  # the octave a reading between its limits is sung in
#: players that take a wave file on standard input, and programs that speak a text; the first that is there is used.
_PLAYERS = (("aplay", "-q", "-"), ("pw-cat", "-p", "-"), ("paplay",), ("play", "-q", "-t", "wav", "-"))
_SPEAKERS = (("espeak-ng", "--"), ("espeak", "--"), ("spd-say", "--wait", "--"), ("say", "--"))
_WAITING = 3


class Cue(StrEnum):
    """What there is to hear."""

    SETTLED = "settled"  # the reading stands: the tips may leave
    MARKED = "marked"  # the touches were seen: now the points
    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    RESEAT = "re-seat"
    ATTENTION = "attention"  # the meter is gone, power went off


#: the bell's beats of each cue: how many rings. What a verdict follows at once has none: together they would be
#: counted as another verdict.
_RINGS = {Cue.SETTLED: 0, Cue.MARKED: 0, Cue.PASS: 1, Cue.UNDECIDED: 2, Cue.RESEAT: 3, Cue.FAIL: 4, Cue.ATTENTION: 5}
#: melodies as pairs of frequency in hertz (0: silence) and seconds.
_MELODIES: dict[Cue, tuple[tuple[float, float], ...]] = {
    Cue.SETTLED: ((1320.0, 0.06),),
    Cue.MARKED: ((990.0, 0.06), (0.0, 0.04), (1320.0, 0.06)),
    Cue.PASS: ((660.0, 0.09), (990.0, 0.14)),
    Cue.FAIL: ((330.0, 0.18), (0.0, 0.04), (220.0, 0.32)),
    Cue.UNDECIDED: ((550.0, 0.14), (0.0, 0.05), (550.0, 0.14)),
    Cue.RESEAT: ((880.0, 0.06), (0.0, 0.05)) * 3,
    Cue.ATTENTION: ((440.0, 0.12), (880.0, 0.12)) * 3,
}


def melody(cue: Cue, position: float | None = None) -> tuple[tuple[float, float], ...]:
    """Return a cue as frequencies (Hz, 0 for silence) and durations (s); a pass ends on the pitch of its position.

    `position` is 0 at the lower and 1 at the upper limit.

    >>> melody(Cue.PASS, 0.5)[-1]
    (660.0, 0.14)
    """
    notes = _MELODIES[cue]
    if cue is not Cue.PASS or position is None or not math.isfinite(position):
        return notes
    pitch_hz = _LOW_HZ + (_HIGH_HZ - _LOW_HZ) * max(0.0, min(1.0, position))
    return (notes[0], (pitch_hz, notes[-1][1]))


def wave_bytes(notes: Sequence[tuple[float, float]]) -> bytes:
    """Return notes as a wave file: one channel, 16 bits, edges softened so that nothing clicks."""
    frames = bytearray()
    for frequency_hz, duration_s in notes:
        count = int(_RATE_HZ * min(duration_s, _LONGEST_S))
        edge = max(1, min(count // 4, _RATE_HZ // 200))
        for place in range(count):
            loud = min(1.0, place / edge, (count - place) / edge)
            value = 0.4 * loud * math.sin(2.0 * math.pi * frequency_hz * place / _RATE_HZ) if frequency_hz else 0.0
            frames += struct.pack("<h", int(32767 * value))
    held = io.BytesIO()
    with wave.open(held, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(_RATE_HZ)
        file.writeframes(bytes(frames))
    return held.getvalue()


def _found(candidates: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """Return the first command that is installed, () where none is."""
    return next((command for command in candidates if shutil.which(command[0])), ())


@dataclass(frozen=True, slots=True)
class _Heard:
    cue: Cue | None
    position: float | None = None
    words: str = ""
    place: int = 0  # counted from the first that was to be heard


class Sound:
    """Plays cues, each as soon as the one before has ended, and says words until something else is to be heard.

    `ring` sounds the bell.
    `on` false is silence; `speak` has words said where a speech program is installed.
    """

    def __init__(self, ring: Callable[[], None], *, on: bool = True, speak: bool = False) -> None:
        """Look for a player and a speaker; nothing is heard yet."""
        self._ring, self._on, self._speak = ring, on, speak
        self._player = _found(_PLAYERS) if on else ()
        self._speaker = _found(_SPEAKERS) if on and speak else ()
        self._waiting: queue.Queue[_Heard] = queue.Queue(_WAITING)
        self._pause, self._last = threading.Event(), 0
        self._thread: threading.Thread | None = None

    @property
    def missing(self) -> str:
        """What to say where words were wanted and no speech program is installed, "" otherwise."""
        if not (self._on and self._speak) or self._speaker:
            return ""
        *first, last = (command[0] for command in _SPEAKERS)
        return (
            f"--spoken: no speech program is installed, so no words are said; {', '.join(first)} or {last} on the "
            "search path would do it. The visit goes on without."
        )

    @property
    def speaks(self) -> bool:
        """Whether words will be said."""
        return bool(self._speaker)

    def cue(self, cue: Cue, position: float | None = None) -> None:
        """Let a cue be heard; what cannot be played soon is dropped."""
        self._hear(_Heard(cue, position))

    def scored(self, score: Score) -> None:
        """Let it be heard what a check came to; nothing where nothing was measured."""
        if score.verdict in PASSED:
            self.cue(Cue.PASS, Gauge(score.quantity_unit, score.lower, score.upper, value=score.value).position)
        elif score.verdict is not None:
            self.cue(Cue.FAIL if score.verdict in FAILED else Cue.UNDECIDED)

    def say(self, words: str) -> None:
        """Have words said, where they can be."""
        if self._speaker and words:
            self._hear(_Heard(None, words=words))

    def close(self) -> None:
        """Be silent from now on."""
        self._on = False
        self._pause.set()

    def _hear(self, heard: _Heard) -> None:
        if not self._on:
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._play, name="sound", daemon=True)
            self._thread.start()
        self._last += 1
        with contextlib.suppress(queue.Full):
            self._waiting.put_nowait(replace(heard, place=self._last))

    def _play(self) -> None:
        while self._on:
            heard = self._waiting.get()
            if heard.cue is not None:
                self._rings(_RINGS[heard.cue])
                if self._player and self._on:
                    self._run(self._player, wave_bytes(melody(heard.cue, heard.position)))
            elif self._newest(heard):
                self._say(heard)

    def _newest(self, heard: _Heard) -> bool:
        return self._on and heard.place == self._last

    def _rings(self, count: int) -> None:
        for place in range(count):
            if not self._on or (place and self._pause.wait(_BELL_GAP_S)):
                return
            self._ring()

    def _say(self, heard: _Heard) -> None:
        """Have words said to their end, or until something newer is to be heard: then the hand was quicker."""
        command = (*self._speaker, heard.words)
        nothing = subprocess.DEVNULL
        with (
            contextlib.suppress(OSError),
            subprocess.Popen(command, stdin=nothing, stdout=nothing, stderr=nothing) as by,
        ):
            for _ in range(round(_LONGEST_WORDS_S / _GLANCE_S)):
                if not self._newest(heard):
                    break
                with contextlib.suppress(subprocess.TimeoutExpired):
                    by.wait(_GLANCE_S)
                    return
            by.kill()

    def _run(self, command: tuple[str, ...], given: bytes) -> None:
        with contextlib.suppress(OSError, subprocess.SubprocessError):
            subprocess.run(
                command,
                input=given,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=_LONGEST_S,
                check=False,
            )
