"""Properties are tried on the same examples every time, and never against the clock."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("metrology", deadline=None, derandomize=True)
settings.load_profile("metrology")
