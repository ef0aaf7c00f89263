"""What is heard: cues that differ, pitch by place, and silence where it is asked for."""

from __future__ import annotations

import io
import pathlib
import threading
import wave

import pytest

from benchcheck.terminal import sound as module
from benchcheck.terminal.sound import Cue, Sound, melody, wave_bytes


def test_pass_fail_undecided_and_reseat_differ_in_rings_and_in_melody() -> None:
    told = (Cue.PASS, Cue.FAIL, Cue.UNDECIDED, Cue.RESEAT)
    assert len({module._RINGS[cue] for cue in told}) == len(told)
    assert len({melody(cue) for cue in Cue}) == len(Cue)


def test_a_bell_that_precedes_a_verdict_does_not_add_to_its_rings() -> None:
    assert [module._RINGS[cue] for cue in (Cue.SETTLED, Cue.MARKED)] == [0, 0]
    loud = [module._RINGS[cue] for cue in (Cue.PASS, Cue.UNDECIDED, Cue.RESEAT, Cue.FAIL, Cue.ATTENTION)]
    assert sorted(set(loud)) == [1, 2, 3, 4, 5]


def test_the_pitch_of_a_pass_rises_an_octave_from_limit_to_limit() -> None:
    pitches = [melody(Cue.PASS, position)[-1][0] for position in (-3.0, 0.0, 0.25, 0.5, 1.0, 9.0)]
    assert pitches == sorted(pitches)
    assert pitches[-1] / pitches[0] == 2.0
    assert melody(Cue.FAIL, 0.5) == melody(Cue.FAIL)


@pytest.mark.parametrize("cue", list(Cue))
def test_every_melody_is_a_wave_file_as_long_as_its_notes(cue: Cue) -> None:
    """The `wave` module of the standard library reads it back."""
    with wave.open(io.BytesIO(wave_bytes(melody(cue)))) as file:
        length_s = file.getnframes() / file.getframerate()
    assert length_s == pytest.approx(sum(duration_s for _, duration_s in melody(cue)), abs=0.01)


def heard(sound: Sound, rung: threading.Event) -> bool:
    sound.cue(Cue.PASS)
    return rung.wait(5.0)


def test_the_bell_rings_where_nothing_else_is_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    rung = threading.Event()
    sound = Sound(rung.set, speak=True)
    assert not sound.speaks
    assert heard(sound, rung)
    sound.close()


def test_silence_is_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    rung = threading.Event()
    sound = Sound(rung.set, on=False, speak=True)
    sound.cue(Cue.FAIL)
    sound.say("red on C9")
    assert not rung.wait(0.05)
    assert sound._thread is None


def test_a_player_gets_the_tones_and_a_speaker_the_words(
    tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("aplay", "espeak-ng"):
        script = tmp_path / name
        script.write_text(f'#!/bin/sh\n/bin/cat > "{tmp_path}/{name}.in"\necho "$@" > "{tmp_path}/{name}.out"\n')
        script.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    rung = threading.Event()
    sound = Sound(rung.set, speak=True)
    assert heard(sound, rung)
    sound.say("red on C9 plus lead")
    assert sound._thread is not None
    for _ in range(100):
        if (tmp_path / "espeak-ng.out").exists() and (tmp_path / "espeak-ng.out").read_text():
            break
        threading.Event().wait(0.05)
    assert (tmp_path / "aplay.in").read_bytes()[:4] == b"RIFF"
    assert (tmp_path / "espeak-ng.out").read_text().strip() == "-- red on C9 plus lead"
    sound.close()


def test_cues_that_come_too_fast_are_dropped_and_never_wait() -> None:
    hold = threading.Event()

    def ring() -> None:
        hold.wait(5.0)

    sound = Sound(ring)
    for _ in range(1000):
        sound.cue(Cue.FAIL)
    hold.set()
    sound.close()


def test_a_cue_cuts_words_short_and_words_behind_it_that_say_where_the_tips_went_before(
    tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A hand that knows its way is done before the words are: the beep must not wait for them."""
    script = tmp_path / "espeak-ng"
    script.write_text(f'#!/bin/sh\necho "$@" >> "{tmp_path}/said"\nexec /bin/sleep 30\n')
    script.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    rung = threading.Event()
    sound = Sound(rung.set, speak=True)
    sound.say("red on C9 plus lead")
    for _ in range(200):
        if (tmp_path / "said").exists():
            break
        threading.Event().wait(0.05)
    sound.say("red on R1 lead 1")
    sound.cue(Cue.FAIL)
    assert rung.wait(module._LONGEST_S / 2.0)
    sound.say("red on D3 anode")
    for _ in range(200):
        if "D3" in (tmp_path / "said").read_text():
            break
        threading.Event().wait(0.05)
    sound.close()
    assert (tmp_path / "said").read_text().splitlines() == ["-- red on C9 plus lead", "-- red on D3 anode"]


def test_closing_cuts_words_short(tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch) -> None:
    script = tmp_path / "espeak-ng"
    script.write_text(f'#!/bin/sh\necho $$ > "{tmp_path}/pid"\nexec /bin/sleep 30\n')
    script.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    sound = Sound(lambda: None, speak=True)
    sound.say("red on C9 plus lead")
    for _ in range(200):
        if (tmp_path / "pid").exists() and (tmp_path / "pid").read_text():
            break
        threading.Event().wait(0.05)
    sound.close()
    assert sound._thread is not None
    sound._thread.join(module._LONGEST_S / 2.0)
    assert not sound._thread.is_alive()
