"""For all tests: nothing is kept among a user's own fault dictionaries, and none of them is used."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from benchcheck.shelf import DIRECTORY


@pytest.fixture(autouse=True, scope="session")
def _no_dictionaries_of_the_user() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(DIRECTORY, "")
        yield
