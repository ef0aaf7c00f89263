"""Which benchcheck a plugin needs: from its own word, or from what its package says it requires.

An installed package is asked before it is imported, so that one written for a later benchcheck is named as such
instead of failing on a name that is not there yet.
"""

from __future__ import annotations

import importlib.metadata

from packaging.requirements import InvalidRequirement, Requirement
from packaging.specifiers import InvalidSpecifier, SpecifierSet

from benchcheck import __version__

__all__ = ["package_needs", "version_fault"]


def package_needs(distribution: importlib.metadata.Distribution | None) -> str:
    """Return what an installed package says of benchcheck (">=0.3"), "" for nothing."""
    for line in (distribution.requires or ()) if distribution is not None else ():
        try:
            requirement = Requirement(line)
        except InvalidRequirement:
            continue
        unconditional = requirement.marker is None or requirement.marker.evaluate({"extra": ""})
        if requirement.name.casefold() == "benchcheck" and unconditional:
            return str(requirement.specifier)
    return ""


def version_fault(needs: object, version: str = __version__) -> str:
    """Return in words that this benchcheck is not the one needed, "" when it is.

    >>> version_fault(">=99", version="0.1.0")
    'needs benchcheck >=99, and this is 0.1.0; bring benchcheck or the plugin up to date'
    """
    if not isinstance(needs, str):
        return f'benchcheck_needs is {needs!r}; write a version such as ">=0.1"'
    try:
        wanted = SpecifierSet(needs)
    except InvalidSpecifier:
        return f'benchcheck_needs is "{needs}", which is no version; write for example ">=0.1"'
    if wanted.contains(version, prereleases=True):
        return ""
    return f"needs benchcheck {wanted}, and this is {version}; bring benchcheck or the plugin up to date"
