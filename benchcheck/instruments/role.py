"""Whether what answers is what the bench file takes it for, where its identity is of no family known here.

The dialect a user names says how to speak, not who is there: a load answers many of a supply's commands, and a supply
answers a meter's DC volts with its own. Only questions are asked that nothing but an instrument of a kind answers.
"""

from __future__ import annotations

import functools
from collections.abc import Callable

from benchcheck.errors import BenchError, Fault
from benchcheck.instruments.dialect import Dialect, fill
from benchcheck.instruments.link import Link
from benchcheck.instruments.recovery import probe, recover
from benchcheck.instruments.reply import decode_bit, read_bool, read_text

__all__ = ["check_role"]

WORDS = {"dmm": "a multimeter", "psu": "a supply", "load": "an electronic load"}
Shape = Callable[[str], object]


def check_role(name: str, role: str, link: Link, dialect: Dialect) -> None:
    """Raise BenchError where a supply or load cannot say its output or input, or where a meter says one."""
    own, others = _questions(role, dialect), {}
    if role == "dmm":
        if dialect.dmm.function_query and _says(link, dialect.dmm.function_query, _measures):
            return  # asking further would cost a meter two timeouts
        others = {other: _questions(other, dialect) for other in ("psu", "load")}
    for other, (question, shape) in others.items():
        if question and _says(link, question, shape):
            raise _refused(name, link, f"answers {question} as {WORDS[other]} does; here {WORDS[role]} should be")
    question, shape = own
    if question and not (_says(link, question, shape) or _says(link, question, shape)):
        raise _refused(name, link, f"does not answer {question}, as {WORDS[role]} does")


def _measures(answer: str) -> object:
    """Refuse the word for current: what a load is set to is called so as well."""
    word = read_text(answer)
    if word.upper().startswith("CURR"):
        raise ValueError(f"{word!r} may be a load's")
    return word


def _questions(role: str, dialect: Dialect) -> tuple[str, Shape]:
    """Return what only an instrument of a role answers, and the shape of the answer; "" where there is nothing."""
    if role == "psu" and not dialect.psu.select:  # to choose a channel would set something
        psu = dialect.psu
        shape = functools.partial(decode_bit, kind=psu.out_kind, mask=psu.out_mask[0], true_words=psu.true_words)
        return fill(psu.out, ch=1), shape
    if role == "load":
        return fill(dialect.load.inp, ch=1), functools.partial(read_bool, true_words=dialect.load.true_words)
    return "", read_text


def _says(link: Link, question: str, shape: Shape) -> bool:
    answers = probe(link, question)
    if answers is None:
        return False
    try:
        shape(answers[0])
    except ValueError:
        recover(link)
        return False
    return True


def _refused(name: str, link: Link, found: str) -> BenchError:
    return BenchError(
        Fault(name, "link", f'"{link.state.identity}" {found}; check the resource and the dialect in the bench file')
    )
