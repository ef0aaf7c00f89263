"""What ends power before the visit does."""

from __future__ import annotations

from benchcheck.instruments.power_supply import SupplyPoint

__all__ = ["PowerEnded"]


class PowerEnded(BaseException):
    """Power went off early; `last` is what the supply showed.

    `trouble`: an instrument was the reason; `key`: somebody wanted it off.
    """

    def __init__(
        self, reason: str, *, trouble: bool = False, key: bool = False, last: SupplyPoint | None = None
    ) -> None:
        super().__init__(reason)
        self.reason, self.trouble, self.key, self.last = reason, trouble, key, last
