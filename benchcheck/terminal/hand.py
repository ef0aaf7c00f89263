"""A person's hands at the probes, asked at the terminal; the meters read by themselves.

The only seam between prompts and instruments: `placed` of the prompts shows a check and waits until the tips are
on, `PersonHand` asks what must be confirmed. A live screen may take the place of both.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check
from benchcheck.session.answers import Answer
from benchcheck.terminal.prompt import GIVEN_UP, PromptSource

__all__ = ["PersonHand"]


@dataclass(frozen=True, slots=True)
class PersonHand:
    """The hand of a person, who is told what to do by the prompts and is asked nothing twice."""

    prompts: PromptSource

    def place(self, check: Check) -> Answer | None:
        """Do nothing: the prompt before the reading has asked for it."""
        return None

    def lift(self) -> None:
        """Do nothing: the next prompt says where the tips go."""

    def look(self, check: Check) -> str:
        """Return what the person types for a visual check asked beside the list."""
        return self._typed(f"  {check.id}: {check.why} > ")

    def confirm(self, question: str) -> bool:
        """Return whether the person typed yes."""
        return self.prompts.confirmed(question)

    def read(self, check: Check, meter: str) -> str:
        """Return what the person types for a display asked for beside the list, such as a thermometer's."""
        where = check.red.point if check.red is not None and check.function is Function.TEMPERATURE else check.id
        return self._typed(f"  {where}, in {check.quantity_unit}{f', on {meter}' if meter else ''} > ")

    def _typed(self, prompt: str) -> str:
        try:
            return self.prompts.ask(prompt).removeprefix(GIVEN_UP)
        except EOFError:
            return ""

    def discharge(self, check: Check) -> None:
        """Do nothing: the prompt says so in its first line."""
