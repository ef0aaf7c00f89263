"""Keys at a check: whatever is pressed, an answer comes of it or none, and nothing breaks."""

from __future__ import annotations

import pathlib
from collections.abc import Iterator
from itertools import chain

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.clock import FakeClock
from benchcheck.kinds.check import Check, Phase
from benchcheck.readings.reading import Session
from benchcheck.session.answers import Answer, Exchange, Later, Photo, Prefer, Remark, Skip, Step, Stop, Taken, Undo
from benchcheck.terminal.actions import Action, keys_for, pressed
from benchcheck.terminal.asking import Asking
from benchcheck.terminal.canvas import Canvas
from benchcheck.terminal.desk import Desk
from benchcheck.terminal.guided import Guided
from benchcheck.terminal.keyboard import Key, keys_in
from benchcheck.terminal.pace import Pace
from benchcheck.terminal.picture import Picture
from benchcheck.terminal.prompt import PromptSource
from benchcheck.terminal.sound import Sound
from tests.factories import bench, check
from tests.terminal.bench_hand import ScriptedKeyboard
from tests.terminal.glass import Glass

R14, R25 = check("R14.resistance"), check("R25.resistance")
SEEN = check("C9.orientation", Function.VISUAL, quantity_unit="text", answers=("yes", "no"))


STRUCK = "stands for a look at the screen before anything else is pressed"


def asked(one: Check, bursts: Iterator[str], telling: str | None = None) -> tuple[Answer, Glass]:
    """Ask for a check while bursts of text are typed; the terminal closes after the last.

    `telling` is the check a diagnosis would take next.
    """
    glass, owned, clock = Glass(), bench(), FakeClock()
    quiet = iter([""] * 8)

    class Typing(ScriptedKeyboard):
        def keys(self, timeout_s: float) -> list[Key]:
            burst = next(bursts, None)
            if burst == STRUCK:
                raise InterruptedError(glass.text)
            burst = next(quiet, None) if burst is None else burst
            if burst is None:
                raise EOFError
            clock.sleep(0.0 if burst else 0.1)
            return keys_in(burst)

    prompts = PromptSource(str, print, lambda one: "dmm", lambda one, session: "")
    desk = Desk(Picture("unit 7", owned), Canvas(glass.write), Typing(), clock=clock)  # type: ignore[arg-type]
    desk.let_go = lambda: "Ctrl-Z would have the tests stand still"
    guided = Guided(desk, prompts, Sound(lambda: None, on=False), FakeClock(), owned)
    prompts.ask, prompts.tell = guided.ask, guided.tell
    if telling is not None:
        guided.keys.most_telling, desk.diagnosis = lambda readings, session: telling, True
    answer = guided.answer(Step(one, 1, 9, Session(), left=(R25,)))
    guided.leave()
    return answer, glass


def test_each_key_does_what_the_foot_of_the_screen_says() -> None:
    expected: dict[str, Answer] = {"u": Undo(), "l": Later(), "q": Stop()}
    for key, answer in expected.items():
        assert asked(R14, iter([key]))[0] == answer
    assert asked(R14, iter(["s", "too hot", "\r"]))[0] == Skip("too hot")
    assert asked(R14, iter(["n", "pad lifted", "\r"]))[0] == Remark("pad lifted")
    assert not isinstance(asked(R14, iter(["p", "/nowhere.jpg", "\r"]))[0], Photo)


def test_a_reading_is_typed_with_its_first_digit_or_after_t_or_as_ol() -> None:
    for bursts in (["4.68k\r"], ["t", "4k68", "\r"], ["4", ".6", "9\x7f8", "k", "\r"]):
        (reading,) = getattr(asked(R14, iter(bursts))[0], "readings")  # noqa: B009
        assert reading.display.value == 4680.0
    (reading,) = getattr(asked(R14, iter(["o"]))[0], "readings")  # noqa: B009
    assert reading.display.state == "overload"
    for words in ("climbs to 2.1M", "jumps", "beep", "no beep"):
        assert isinstance(asked(R14, iter(["t", words, "\r"]))[0], Taken)


WORDS = (
    "climbs to 2.1k",
    "beep",
    "no beep",
    "jumps",
    "unstable",
    "silent",
    "rising",
    "falls",
    "drops to 18k",
    "open",
)


@pytest.mark.parametrize("word", WORDS)
@pytest.mark.parametrize("slowly", [False, True])
def test_a_word_typed_as_it_is_answers_and_no_letter_of_it_is_a_key(word: str, slowly: bool) -> None:
    bursts = [burst for sign in (*word, "\r") for burst in ((sign, "", "", "") if slowly else (sign,))]
    answer, _ = asked(R14, iter(bursts))
    assert isinstance(answer, Taken)
    assert answer.readings[0].display.text == word
    answer, _ = asked(R14, iter([f"{word}\r"]))
    assert isinstance(answer, Taken), "as a terminal sends it that marks no paste"


@pytest.mark.parametrize("word", WORDS)
def test_a_marked_paste_is_never_a_key_nor_sent_by_itself(word: str) -> None:
    for pasted in (f"{word}\n", f"{word}\nq\nu\n", "u\n", "q"):
        answer, glass = asked(R14, iter([f"\x1b[200~{pasted}\x1b[201~"]))
        assert answer == Stop(), "the terminal went away with the line not sent"
        assert f"> {pasted.splitlines()[0]}_" in glass.text
    answer, _ = asked(R14, iter([f"\x1b[200~{word}\n\x1b[201~", "\r"]))
    assert isinstance(answer, Taken)


def test_a_letter_shows_at_once_with_what_it_will_do_and_escape_takes_it_back() -> None:
    answer, glass = asked(R14, iter(["u", "\x1b", "z"]))
    assert answer == Stop()
    assert "> z_" in glass.text
    for key, words in (("u", "undo"), ("q", "quit"), ("l", "later"), ("o", "OL")):
        with pytest.raises(InterruptedError) as shown:
            asked(R14, iter([key, STRUCK]))
        assert f"{words}, unless a word follows" in str(shown.value)


@pytest.mark.parametrize(
    ("bursts", "answer"),
    [
        (["u", "u"], Undo()),
        (["u\r"], Undo()),
        (["later\r"], Later()),
        (["later wet\r"], Later("wet")),
        (["skip too hot\r"], Skip("too hot")),
        (["s", "is too hot", "\r"], Skip("is too hot")),
        (["stop\r"], Stop()),
        (["note the lead", " is oxidised\r"], Remark("the lead is oxidised")),
        (["n", "othing is loose", "\r"], Remark("othing is loose")),
        (["n", *"o ring is missing", "\r"], Remark("o ring is missing")),
        (["n", *"ot screwed down", "\r"], Remark("ot screwed down")),
        (["n", *"no room for a tip", "\r"], Remark("no room for a tip")),
        (["note no room", "\r"], Remark("no room")),
        (["s", *"o the shield covers it", "\r"], Skip("o the shield covers it")),
        (["n", "the lead is oxidised", "\r"], Remark("the lead is oxidised")),
        (["no", "w it is clean", "\r"], Remark("ow it is clean")),
        (["undo\r"], Undo()),
        (["swap\r"], Exchange()),
        (["x"], Exchange()),
        (["l\r"], Later()),
        (["uuu"], Undo()),
    ],
)
def test_keys_and_words_answer_alike(bursts: list[str], answer: Answer) -> None:
    assert asked(R14, iter(bursts))[0] == answer


@pytest.mark.parametrize(
    "burst",
    [
        "l4.7k\r",
        "u1",
        "x4.7",
        "xq",
        "so it goes\r",
        "q!",
        "w?",
        "#l\r",
        "l\nu\nq\n",
        "\nq\n",
        "u\r\nq\r\n",
        "m, then",
    ],
)
def test_different_signs_that_come_in_one_piece_are_text_and_no_key(burst: str) -> None:
    """As a terminal without marks for pastes hands them over, also fewer of them than a hand types at once."""
    answer, _ = asked(R14, iter([burst]))
    assert answer == Stop(), "nothing acted when the terminal went away"
    answer, _ = asked(R14, iter([burst, "\x1b", "\x1b", "4.68k\r"]))
    assert isinstance(answer, Taken), "and Escape gives the text up"


def test_a_reading_and_its_enter_may_come_in_one_piece_over_a_slow_line() -> None:
    for burst in ("4.68k\r", "4.68k", "OL\r", "beep\r", "later wet\r", "l\r", "note pad lifted\r"):
        answer, _ = asked(R14, iter([burst, "\r"]))
        assert answer != Stop(), burst


def test_words_behind_a_key_that_came_with_their_enter_wait_for_another() -> None:
    answer, glass = asked(R14, iter(["nthe lead is old\r"]))
    assert answer == Stop()
    assert "Enter keeps it, Esc drops it" in glass.text
    assert asked(R14, iter(["nthe lead is old\r", "\r"]))[0] == Remark("the lead is old")
    assert asked(R14, iter(["skip too hot\r"]))[0] == Skip("too hot"), "a word known is understood"
    assert asked(R14, iter(["n", "", "", "", "", "", "", "old lead\r"]))[0] == Remark("old lead")


def test_lines_behind_the_first_of_a_paste_are_left_out_with_words() -> None:
    _, glass = asked(R14, iter(["4.7k\n4.8k\n"]))
    assert "> 4.7k_" in glass.text
    assert "1 more line left out" in " ".join(glass.text.split())


LOT = check("C9.lot", Function.VISUAL, quantity_unit="text", answers=("yes", "no", "L-2"))


def test_where_free_words_are_asked_for_a_word_that_is_also_an_action_is_asked_about() -> None:
    assert asked(LOT, iter(["later\r", "yes\r"]))[0] != Later()
    answer, _ = asked(LOT, iter(["later\r", "yes\r"]))
    assert isinstance(answer, Taken)
    assert answer.readings[0].display.text == "later"
    assert asked(LOT, iter(["later\r", "no\r"]))[0] == Later()
    assert asked(LOT, iter(["l\r", "no\r"]))[0] == Later()
    answer, _ = asked(LOT, iter(["L-2\r"]))
    assert isinstance(answer, Taken)
    assert answer.readings[0].display.text == "L-2"
    for key, word in (("y", "yes"), ("n", "no")):
        answer, _ = asked(LOT, iter([key]))
        assert isinstance(answer, Taken)
        assert answer.readings[0].display.text == word


@pytest.mark.parametrize("words", ["sno idea", "snot seen", "unreadable"])
def test_words_that_are_another_name_are_asked_about_before_they_fail_a_part(words: str) -> None:
    for no in ("no\r", "\x1b"):
        answer, glass = asked(LOT, iter([f"{words}\r", no]))
        assert answer == Stop(), "nothing was taken when the terminal went away"
        assert "Is that what is printed there?" not in glass.text
    answer, _ = asked(LOT, iter([f"{words}\r", "yes\r"]))
    assert isinstance(answer, Taken)
    assert answer.readings[0].display.text == words


@pytest.mark.parametrize("typed", ["later", "l", "s no idea"])
def test_escape_at_the_question_what_a_word_is_takes_nothing(typed: str) -> None:
    answer, glass = asked(LOT, iter([f"{typed}\r", "\x1b"]))
    assert answer == Stop(), "neither the answer nor the action when the terminal went away"
    assert "Is it the answer" not in glass.text
    assert asked(LOT, iter([f"{typed}\r", "\r"]))[0] == Stop(), "Enter alone is neither as well"
    assert asked(LOT, iter(["skip no idea\r"]))[0] == Skip("no idea"), "a whole word with its reason is no name"


def test_a_photo_that_is_none_is_asked_for_again_with_its_path_to_mend(tmp_path: pathlib.Path) -> None:
    (tmp_path / "pads.jpg").write_bytes(b"not a picture")
    answer, _ = asked(R14, iter(["p", f"{tmp_path}/padz.jpg", "\r", *["\x7f"] * 5, "s.jpg\r"]))
    assert isinstance(answer, Photo)
    answer, glass = asked(R14, iter(["p", "/nope.jpg\r"]))
    assert '"nope.jpg" is not a file' in glass.text
    assert "> /nope.jpg_" in glass.text
    answer, _ = asked(R14, iter(["photo /nope.jpg\r", f"{tmp_path}/pads.jpg", "\r"]))
    assert isinstance(answer, Photo)


def test_text_pasted_beyond_what_an_entry_holds_is_left_out_with_words() -> None:
    for one in (LOT, R14):
        answer, glass = asked(one, iter(["\x1b[200~" + "x" * 5000 + "\x1b[201~"]))
        assert answer == Stop()
        assert "pasted text of more than 4000 signs left out" in " ".join(glass.text.split())
        answer, glass = asked(one, iter(["\x1b[200~" + "dolor\n" * 60 + "\x1b[201~", "\r"]))
        assert answer == Stop(), "a line of it is no answer either"
        assert "pasted text of 359 signs left out" in " ".join(glass.text.split())
        answer, glass = asked(one, iter(["z", "y" * 201]))
        assert answer == Stop()
        assert "pasted text of 201 signs left out: an entry has at most 200" in " ".join(glass.text.split())


def test_what_is_seen_is_one_key() -> None:
    for key, word in (("y", "yes"), ("n", "no")):
        (reading,) = getattr(asked(SEEN, iter([key]))[0], "readings")  # noqa: B009
        assert reading.display.text == word


def test_escape_gives_up_a_line_and_a_paste_waits_for_enter() -> None:
    assert asked(R14, iter(["4.7", "\x1b", "q"]))[0] == Stop()
    pasted = "4.68k and much more than any hand could type at once"
    answer, glass = asked(R14, iter([pasted]))
    assert answer == Stop(), "the terminal went away before anybody pressed Enter"
    assert "> 4.68k and much more" in glass.text


def test_the_most_telling_check_is_brought_forward_when_it_has_been_weighed() -> None:
    patience = ("" for _ in range(10_000))
    assert asked(R14, chain(["m"], patience), "R25.resistance")[0] == Prefer("R25.resistance")
    for name in (R14.id, "R99.resistance"):  # the second is not in this visit
        answer, glass = asked(R14, chain(["m"], ["" for _ in range(2000)]), name)
        assert answer == Stop()
        assert "nothing tells more than this check" in glass.text
        assert "tells most now" not in glass.text


def test_nobody_can_leave_without_a_reason() -> None:
    assert asked(R14, iter(["s\r", "\r", "s\r", "  ", "\r", "q"]))[0] == Stop()


@settings(max_examples=150, deadline=None)
@given(st.lists(st.text(max_size=40), max_size=30), st.booleans())
def test_random_keys_break_nothing(bursts: list[str], by_eye: bool) -> None:
    answer, _ = asked(SEEN if by_eye else R14, iter(bursts))
    assert isinstance(answer, (Taken, Skip, Undo, Later, Stop, Remark, Photo, Exchange))


def test_no_key_has_two_meanings_and_each_action_word_is_told_once() -> None:
    for one in (R14, SEEN):
        keys = keys_for(one, metered=True, diagnosis=True)
        assert len({key for key, _ in keys}) == len(keys)
        assert len({words for _, words in keys}) == len(keys)
    assert pressed("Q", R14, metered=False) is Action.STOP


def test_a_clock_set_back_or_a_long_pause_does_not_upset_the_time_left() -> None:
    pace = Pace()
    for at_s in (0.0, 20.0, 10.0, 30.0, 5000.0, 5020.0, 5040.0):
        pace.answered(R14, at_s)
    assert pace.left([R14] * 30) == "about 10 min left"


def test_the_time_left_goes_by_what_is_left_and_counts_power_and_soak_before_they_come() -> None:
    quick = [R14] * 10
    rails = [check(f"V{place}.voltage", Function.DC_VOLTAGE, phase=Phase.RAILS) for place in range(12)]
    series = check("BATT.off_current", Function.DC_CURRENT, phase=Phase.OFF)
    assert Pace().left(quick) == "about 2 min left", "what is supposed: 10 s a placing"
    pace = Pace(soak_s=600.0)
    for place in range(20):
        pace.answered(R14, 2.0 * place)  # very quick at resistors
    # 20 s of resistors; 12 rails and 90 s in series at a fifth of the usual; 45 s of bringing power up; the soak
    assert pace.left([*quick, *rails, series]) == "about 12 min left"
    pace.soak_s = 0.0
    pace.answered(rails[0], 120.0)  # power came up before it, which says nothing of a rail
    for place in range(1, 5):
        pace.answered(rails[place], 120.0 + 30.0 * place)
    assert pace.left(rails[5:]) == "about 4 min left", "7 rails of 30 s"


@pytest.mark.parametrize(
    ("prompt", "typed", "said", "switched"),
    [
        ("  yes or no > ", "yes\r", "yes", 0),
        ("  yes or no > ", "no\r", "no", 0),
        ("  yes or no > ", "z", "no", 1),
        ("  yes or no > ", "yex", "no", 1),
        ("  yes or no > ", "\x1b", "no", 1),
        ("  the air, in degC > ", "23.5\r", "23.5", 0),
        ("  the air, in degC > ", "OL\r", "OL", 0),
        ("  the air, in degC > ", "\r", "", 0),
        ("  the air, in degC > ", "x", "no", 1),
        ("  the air, in degC > ", " ", "no", 1),
        ("  the air, in degC > ", "\x1b", "no", 1),
    ],
)
def test_a_question_under_power_gives_way_to_any_other_key(prompt: str, typed: str, said: str, switched: int) -> None:
    off: list[str] = []
    glass, owned = Glass(), bench()
    bursts = iter(typed) if typed != "\x1b" else iter([typed])

    class Typing(ScriptedKeyboard):
        def keys(self, timeout_s: float) -> list[Key]:
            return keys_in(next(bursts))

    prompts = PromptSource(str, print, lambda one: "dmm", lambda one, session: "")
    desk = Desk(Picture("unit 7", owned), Canvas(glass.write), Typing())  # type: ignore[arg-type]
    guided = Guided(desk, prompts, Sound(lambda: None, on=False), FakeClock(), owned)
    guided.keys.switch_off = lambda: off.append("off")
    desk.power_line = lambda: "POWER ON  6.000 V"
    desk.enter()
    desk.asking = Asking(Step(R14, 1, 9, Session()))
    assert guided.ask(prompt) == said
    assert len(off) == switched
    assert "any other key power off" in " ".join(glass.text.split())
    guided.leave()


def test_the_soak_shows_its_questions_and_looks_and_that_any_key_switches_off() -> None:
    """The questions of a soak come when no check is asked for any more."""
    picture = Picture("unit 7", bench())
    picture.asking_no_more()
    assert picture.view(None, "POWER ON  6.000 V").keys == (("any key", "power off"),)
    picture.soaking()
    picture.say("soak 0 s: 6.000 V, 40.0 mA")
    picture.prompt, picture.entry = "stay beside it? yes or no", "y"
    view = picture.view(None, "POWER ON  6.000 V")
    assert (view.entry, view.prompt) == ("y", "stay beside it? yes or no")
    assert view.messages == ("soak 0 s: 6.000 V, 40.0 mA",)
    assert "stay beside it" in view.check
    assert ("any other key", "power off") in view.keys
