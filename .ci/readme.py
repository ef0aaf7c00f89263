"""Print one of README's commands, so that what CI runs is what README says.

The command is the fenced block after the comment `<!-- ci: NAME -->`.
"""

from __future__ import annotations

import pathlib
import re
import sys

README = pathlib.Path(__file__).parents[1] / "README.md"


def block(name: str) -> str:
    """Return the text of the fenced block marked with this name."""
    found = re.findall(rf"<!-- ci: {re.escape(name)} -->\s*```\w*\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
    if len(found) != 1:
        sys.exit(f'README.md has {len(found)} blocks marked "ci: {name}"; it must have one')
    return found[0]


if __name__ == "__main__":
    sys.stdout.write(block(sys.argv[1]))
