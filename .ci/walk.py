"""Run what README shows, block by block, the walk through a first visit among it, and hold each exit code to README.

The blocks are fenced and marked `<!-- ci: walk, exits N -->`; they run in order in the current directory, as
somebody types them. The exit code of a block is that of its last command; all before it must end with 0.
"""

from __future__ import annotations

import pathlib
import re
import subprocess
import sys

README = pathlib.Path(__file__).parents[1] / "README.md"
BLOCK = re.compile(r"<!-- ci: walk, exits (\d+) -->\s*```sh\n(.*?)```", re.DOTALL)

PAGES = ("sheet.html", "history.html")


def main() -> None:
    """Exit with a message at the first block that does not end as README says."""
    blocks = BLOCK.findall(README.read_text("utf-8"))
    if not blocks:
        sys.exit("README.md has no blocks to run")
    for exits, commands in blocks:
        print(f"$ {commands.strip()}", flush=True)
        ran = subprocess.run(["bash", "-e", "-c", commands], check=False)
        if ran.returncode != int(exits):
            sys.exit(f"ended with {ran.returncode}, and README says {exits}")
    for page in PAGES:
        if not pathlib.Path(page).read_text("utf-8").startswith("<!DOCTYPE html>"):
            sys.exit(f"{page} is no page")
    print(f"as README says: {len(blocks)} blocks of commands")


if __name__ == "__main__":
    main()
