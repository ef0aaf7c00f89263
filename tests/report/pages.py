"""What a page is held to: valid, whole in itself, and usable by somebody who does not see it."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from collections import Counter

import html5lib

XHTML = "{http://www.w3.org/1999/xhtml}"
_HEADINGS = [f"{XHTML}h{level}" for level in range(1, 7)]


def parsed(page: str) -> ET.Element:
    """Return the page's tree; raises ParseError where it is not valid HTML (the HTML standard's parse errors)."""
    tree = html5lib.HTMLParser(strict=True).parse(page)
    assert isinstance(tree, ET.Element)
    return tree


def texts(element: ET.Element) -> str:
    return "".join(element.itertext())


def each(tree: ET.Element, name: str) -> list[ET.Element]:
    return list(tree.iter(f"{XHTML}{name}"))


def assert_accessible(page: str) -> ET.Element:
    """Hold a page to WCAG 2.1: 1.1.1, 1.3.1, 2.4.2, 3.1.1, 4.1.1 as far as a tree shows it; return the tree."""
    tree = parsed(page)
    assert tree.get("lang") == "en"
    assert [bool(texts(one).strip()) for one in each(tree, "title")] == [True]
    levels = [_HEADINGS.index(one.tag) + 1 for one in tree.iter() if one.tag in _HEADINGS]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(later <= earlier + 1 for earlier, later in itertools.pairwise(levels)), levels
    for table in each(tree, "table"):
        assert table[0].tag == f"{XHTML}caption"
        assert texts(table[0]).strip()
    assert all(cell.get("scope") in ("row", "col") for cell in each(tree, "th"))
    for drawing in tree.iter("{http://www.w3.org/2000/svg}svg"):
        assert drawing.get("aria-hidden") == "true" or (drawing.get("role") == "img" and drawing.get("aria-label"))
    ids = Counter(one.get("id") for one in tree.iter() if one.get("id"))
    assert not [name for name, count in ids.items() if count > 1]
    assert {(one.get("href") or "")[1:] for one in each(tree, "a")} <= set(ids)
    return tree


def assert_inert(tree: ET.Element) -> None:
    """Nothing runs and nothing is fetched; pictures are in the page itself and of kinds that run nothing."""
    for one in tree.iter():
        name = str(one.tag).rpartition("}")[2]
        assert name not in ("script", "iframe", "object", "embed", "link", "base", "form"), name
        assert not [key for key in one.attrib if key.startswith("on") or key in ("srcset", "style")]
        if name == "img":
            assert re.fullmatch(r"data:image/(png|jpeg|gif|webp);base64,[A-Za-z0-9+/=]+", one.get("src", ""))
            assert one.get("alt")
        else:
            assert "src" not in one.attrib
        assert (one.get("href") or "#").startswith("#")


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio of two #rrggbb colours (WCAG 2.1, definition of contrast ratio)."""
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def colour_pairs(css: str) -> dict[str, tuple[str, str]]:
    """Return text and background of every rule that sets a text colour; the page's own is white."""
    pairs = {}
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", css):
        colour = re.search(r"(?<![\w-])color: (#[0-9a-f]{6})", body)
        ground = re.search(r"background: (#[0-9a-f]{6})", body)
        if colour:
            pairs[selector.strip()] = (colour[1], ground[1] if ground else "#ffffff")
    return pairs
