"""Look into the built wheel and sdist: everything that belongs there is there, and nothing else is in the wheel.

`check_dist.py DIST SOURCE`: DIST holds one wheel and one sdist, SOURCE is the clone they were built from. The sdist
must hold every tracked file, the wheel every tracked file of the package, `py.typed`, templates and data included.
"""

from __future__ import annotations

import pathlib
import subprocess
import sys
import tarfile
import zipfile

#: tracked files that are for a checkout alone.
CHECKOUT_ONLY = {".gitignore", ".gitattributes"}
#: what must not be forgotten even where nobody tracks it.
NEEDED = (
    "benchcheck/py.typed",
    "benchcheck/instruments/dialects.toml",
    "benchcheck/report/templates/sheet.html",
    "benchcheck/report/templates/style.css",
    "benchcheck/bench/classes/handheld-6000.toml",
)


def main() -> int:
    """Print every fault; return 1 where there is one."""
    dist, source = (pathlib.Path(argument) for argument in sys.argv[1:3])
    (wheel,), (sdist,) = dist.glob("*.whl"), dist.glob("*.tar.gz")
    told = subprocess.run(["git", "ls-files", "-z"], cwd=source, capture_output=True, text=True, check=True).stdout
    tracked = {name for name in told.split("\0") if name}
    in_wheel, in_sdist = names_of_wheel(wheel), names_of_sdist(sdist)
    package = {name for name in tracked if name.startswith("benchcheck/")}
    faults = [f"the sdist lacks {name}" for name in sorted(tracked - CHECKOUT_ONLY - in_sdist)]
    faults += [f"the wheel lacks {name}" for name in sorted({*package, *NEEDED} - in_wheel)]
    faults += [
        f"the wheel holds {name}, which is no part of the package"
        for name in sorted(in_wheel - package)
        if not name.partition("/")[0].endswith(".dist-info")
    ]
    entries = zipfile.ZipFile(wheel).read(entry_points(in_wheel)).decode()
    faults += [
        f"the wheel has no entry point {word}" for word in ("benchcheck.cli:main", "pytest11") if word not in entries
    ]
    for fault in faults:
        print(fault)
    print(f"{wheel.name}: {len(in_wheel)} files; {sdist.name}: {len(in_sdist)} files; {len(faults)} faults")
    return 1 if faults else 0


def names_of_wheel(path: pathlib.Path) -> set[str]:
    """Return the files of a wheel."""
    return {name for name in zipfile.ZipFile(path).namelist() if not name.endswith("/")}


def names_of_sdist(path: pathlib.Path) -> set[str]:
    """Return the files of an sdist without the folder they are in."""
    with tarfile.open(path) as archive:
        return {one.name.partition("/")[2] for one in archive.getmembers() if one.isfile()}


def entry_points(names: set[str]) -> str:
    """Return the file of a wheel that holds its entry points."""
    return next(name for name in names if name.endswith(".dist-info/entry_points.txt"))


if __name__ == "__main__":
    raise SystemExit(main())
