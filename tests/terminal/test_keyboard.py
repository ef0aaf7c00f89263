"""Single keys told apart from pastes, from cursor keys and from noise; the terminal is given back."""

from __future__ import annotations

import os
import pty
import termios

from hypothesis import given
from hypothesis import strategies as st

from benchcheck.terminal.keyboard import Key, Keyboard, keys_in


def test_signs_enter_and_backspace_are_keys_and_cursor_keys_are_not() -> None:
    assert keys_in("u\x1b[A\x1bOB\x7f") == [Key("sign", "u"), Key("back", "\x7f")]
    assert keys_in("\x1b") == [Key("escape")]


def test_what_no_hand_types_so_fast_is_pasted_text_and_no_keys() -> None:
    assert keys_in("quit, skip, undo, later and accept at once") == [
        Key("paste", "quit, skip, undo, later and accept at once")
    ]
    assert keys_in("\x1b[200~uuu\x1b[201~") == [Key("paste", "uuu")]
    (paste,) = keys_in("q" * 5_000_000)
    assert paste.name == "paste"
    assert len(paste.text) <= 4096


def test_different_signs_in_one_piece_know_it_and_one_held_down_is_a_key_again_and_again() -> None:
    assert [key.came for key in keys_in("uuu")] == ["", "", ""]
    assert [key.came for key in keys_in("u\r")] == ["", ""]
    assert [key.came for key in keys_in("un")] == ["run", "run"]
    assert [key.came for key in keys_in("un\r")] == ["line", "line", "line"]
    assert [key.name for key in keys_in("u\nn\n")] == ["paste"]
    assert [key.name for key in keys_in("\r\r")] == ["enter", "enter"]


@given(st.text())
def test_whatever_comes_every_key_has_a_name_and_no_control_sign_is_a_sign(text: str) -> None:
    for key in keys_in(text):
        assert key.name
        assert key.name != "sign" or key.text.isprintable()


def test_a_paste_in_pieces_is_one_paste_and_the_keys_after_it_are_keys() -> None:
    master, slave = pty.openpty()
    with Keyboard(slave) as keyboard:
        os.write(master, b"\x1b[200~" + b"u" * 3000)
        (first,) = keyboard.keys(1.0)
        assert first.name == "paste"
        os.write(master, b"q" * 3000 + b"\x1b[201~")
        found: list[Key] = []
        for _ in range(3):
            found += keyboard.keys(0.05)
        os.write(master, b"a")
        assert [*found, *keyboard.keys(1.0)] == [Key("sign", "a")]
    os.close(master)
    os.close(slave)


def test_the_terminal_is_put_back_as_it_was() -> None:
    master, slave = pty.openpty()
    before = termios.tcgetattr(slave)
    with Keyboard(slave) as keyboard:
        assert not termios.tcgetattr(slave)[3] & (termios.ECHO | termios.ICANON)
        keyboard.wake()
        assert keyboard.keys(5.0) == [], "woken, and no key was pressed"
    assert termios.tcgetattr(slave)[:4] == before[:4]
    os.close(master)
    os.close(slave)


def test_bytes_that_are_no_text_are_no_error() -> None:
    master, slave = pty.openpty()
    with Keyboard(slave) as keyboard:
        os.write(master, b"\xff\xc3")
        keyboard.keys(1.0)
        os.write(master, "\u00e9".encode()[:1])
        keyboard.keys(1.0)
        os.write(master, b"a")
        assert keyboard.keys(1.0)[-1].text == "a"
    os.close(master)
    os.close(slave)
