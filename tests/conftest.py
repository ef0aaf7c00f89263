"""For all tests: linear algebra in one thread, and nothing kept among a user's own fault dictionaries or taken there.

A board's matrices are small: threads bring nothing, and on a busy machine they wait for each other longer than they
work. The command line asks for one as well.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from benchcheck.shelf import DIRECTORY

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is imported


@pytest.fixture(autouse=True, scope="session")
def _no_dictionaries_of_the_user() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(DIRECTORY, "")
        yield
