"""XML as a tree of elements that is written with one element a line, and comments before it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from textwrap import wrap
from xml.sax.saxutils import quoteattr

WIDTH = 100
FORBIDDEN = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML 1.0 (section 2.2) excludes, even as references."""


@dataclass(slots=True)
class XmlElement:
    """An element without text of its own; empty attributes are left out."""

    tag: str
    attributes: dict[str, str] = field(default_factory=dict)
    children: list[XmlElement] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)

    def add(self, tag: str, /, **attributes: str) -> XmlElement:
        """A new last child; `id_` stands for `id`, `chip_fair` for `chip:fair`."""
        child = XmlElement(tag, {})
        for name, value in attributes.items():
            child.attributes[name.rstrip("_").replace("chip_", "chip:")] = value
        self.children.append(child)
        return child


def xml_text(root: XmlElement) -> str:
    """The whole document, which ends with a newline."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', *_lines(root, 0)]
    return FORBIDDEN.sub("\ufffd", "".join(f"{line}\n" for line in lines))


def _lines(element: XmlElement, depth: int) -> Iterator[str]:
    indent = "  " * depth
    for comment in element.comments:
        yield from _comment(comment, indent)
    end = ">" if element.children else "/>"
    yield from _tag(element, indent, end)
    for child in element.children:
        yield from _lines(child, depth + 1)
    if element.children:
        yield f"{indent}</{element.tag}>"


def _tag(element: XmlElement, indent: str, end: str) -> Iterator[str]:
    given = [f"{name}={quoteattr(text)}" for name, text in element.attributes.items() if text]
    line = f"{indent}<{element.tag}"
    for number, part in enumerate(given):
        closing = end if number == len(given) - 1 else ""
        if len(line) + 1 + len(part) + len(closing) > WIDTH and line.strip():
            yield line
            line = f"{indent}    {part}"
        else:
            line += f" {part}"
    yield line + end


def _comment(text: str, indent: str) -> Iterator[str]:
    """Two hyphens in a row would end it (XML 1.0, section 2.5)."""
    said = re.sub(r"-(?=-)", "- ", " ".join(text.split())).removesuffix("-")
    lines = wrap(f"<!-- {said} -->", WIDTH - len(indent), subsequent_indent="     ")
    yield from (f"{indent}{line}" for line in lines)
