"""All figures, printed as ratios in one run on one machine: `python -m tests.benchmarks [NAME ...]`.

Each module beside this one has a `main` that prints its rows, the peer's absolute value beside ours. These are
measurements, not tests: nothing here passes or fails.
"""

from __future__ import annotations

import importlib
import pathlib
import platform
import sys


def main() -> None:
    names = sorted(path.stem for path in pathlib.Path(__file__).parent.glob("[a-z]*.py"))
    wanted = sys.argv[1:] or names
    print(f"Python {platform.python_version()}, {platform.machine()}, {platform.system()}")
    for name in wanted:
        if name not in names:
            sys.exit(f'"{name}" is not a benchmark; there are {", ".join(names)}')
        print(f"\n{name.replace('_', ' ')}")
        importlib.import_module(f"tests.benchmarks.{name}").main()


if __name__ == "__main__":
    main()
