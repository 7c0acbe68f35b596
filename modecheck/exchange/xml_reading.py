"""Read XML strictly, with the place of every element and attribute.

The standard library's expat parses; documents with a document type are refused, so that no entity
is ever expanded and nothing outside of the file is read.
"""

from __future__ import annotations

import bisect
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from xml.parsers import expat

from modecheck.model.errors import Notebook
from modecheck.model.places import Place, Source
from modecheck.model.text_files import read_text

DEEPEST = 100
"""Elements inside each other; a chart of more levels than this is not one that a person draws."""

ATTRIBUTE = re.compile(r"\s*([^\s=/>]+)\s*=\s*(\"[^\"]*\"|'[^']*')")
REFERENCE = re.compile(r"&[^;]*;|\r\n|.", re.DOTALL)
SEPARATOR = " "


class _Lines:
    """Finds the line and the column of an offset in a text."""

    def __init__(self, name: str, text: str) -> None:
        self.source = Source(name, tuple(text.split("\n")))
        self._starts = [0, *(match.end() for match in re.finditer("\n", text))]

    def at(self, offset: int, width: int = 1) -> Place:
        line = bisect.bisect_right(self._starts, offset) - 1
        return Place(self.source, line + 1, offset - self._starts[line] + 1, max(width, 1))


@dataclass(frozen=True, slots=True)
class XmlAttribute:
    """The value of an attribute, the place of its name, and that of every part of its value."""

    text: str
    place: Place
    lines: _Lines = field(repr=False, compare=False)
    offsets: Sequence[int] = field(repr=False, compare=False)

    def part(self, offset: int, width: int) -> Place:
        """The place of a part of the value: an entity such as `&lt;` counts as one character."""
        first = self.offsets[min(offset, len(self.offsets) - 1)]
        last = self.offsets[min(offset + max(width, 1), len(self.offsets) - 1)]
        return self.lines.at(first, last - first)

    @property
    def whole(self) -> Place:
        """The place of the value."""
        return self.part(0, max(len(self.text), 1))


@dataclass(slots=True)
class XmlNode:
    """An element of the namespace `space`. Attributes without a namespace are known by their name,
    any other by `(namespace, name)`; `text` is what stands between its children.
    """

    space: str
    tag: str
    place: Place
    attributes: Mapping[tuple[str, str], XmlAttribute]
    children: list[XmlNode] = field(default_factory=list)
    text: str = ""
    text_place: Place | None = None

    def get(self, name: str, space: str = "") -> XmlAttribute | None:
        return self.attributes.get((space, name))

    def words(self, name: str, space: str = "") -> str:
        """The text of an attribute, or nothing."""
        found = self.get(name, space)
        return found.text.strip() if found is not None else ""

    def of(self, *tags: str) -> list[XmlNode]:
        """The children with these tags, in their own namespace."""
        return [one for one in self.children if one.tag in tags and one.space == self.space]


class _RefusedDocument(Exception):
    """Reading has stopped, after noting why."""


def read_xml(path: str, notes: Notebook) -> XmlNode | None:
    """The root element of a file, or None after noting what is wrong with it."""
    text = read_text(path, notes, None, "XML")
    return None if text is None else _Parser(path, text, notes).root()


class _Parser:
    def __init__(self, path: str, text: str, notes: Notebook) -> None:
        self._text = text
        self._raw = text.encode()
        self._notes = notes
        self._lines = _Lines(path, text)
        self._stack: list[XmlNode] = []
        self._root: XmlNode | None = None
        self._known = (0, 0)
        self._expat = parser = expat.ParserCreate("utf-8", SEPARATOR)
        parser.ordered_attributes = True
        parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        parser.StartDoctypeDeclHandler = self._doctype
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters

    def root(self) -> XmlNode | None:
        try:
            self._expat.Parse(self._raw, True)
        except expat.ExpatError as error:
            self._malformed(error)
            return None
        except _RefusedDocument:
            return None
        return self._root

    def _malformed(self, error: expat.ExpatError) -> None:
        line, column = error.lineno, error.offset
        place = Place(self._lines.source, line, column + 1)
        told = expat.errors.messages[error.code]
        expected = "well-formed XML"
        if self._stack and told == "mismatched tag":
            last = self._stack[-1]
            expected = f"</{last.tag}>, which ends that of line {last.place.line}"
        elif self._stack and told == "no element found":
            last = self._stack[-1]
            told = "the file ends inside of an element"
            expected = f"</{last.tag}>, which ends that of line {last.place.line}"
        self._notes.add(f"this is not well-formed XML: {told}", place, expected=expected)

    def _offset(self) -> int:
        """Where the parser is, in characters."""
        index = self._expat.CurrentByteIndex
        raw, characters = self._known
        self._known = (index, characters + len(self._raw[raw:index].decode(errors="replace")))
        return self._known[1]

    def _doctype(self, *_: object) -> None:
        message = "a document type declaration: no entity is expanded, and no other file is read"
        start = self._text.rfind("<!DOCTYPE", 0, self._offset() + 1)
        place = self._lines.at(max(start, 0), len("<!DOCTYPE"))
        self._notes.add(message, place, expected="a document without <!DOCTYPE …>")
        raise _RefusedDocument

    def _start(self, name: str, attributes: Sequence[str]) -> None:
        start = self._offset()
        if len(self._stack) == DEEPEST:
            place, expected = self._lines.at(start), f"at most {DEEPEST} levels"
            self._notes.add("the elements are nested too deeply", place, expected=expected)
            raise _RefusedDocument
        space, _, tag = name.rpartition(SEPARATOR)
        place = self._lines.at(start, 1 + len(self._written_name(start)))
        found = self._attributes(start, attributes)
        node = XmlNode(space, tag, place, found)
        if self._stack:
            self._stack[-1].children.append(node)
        else:
            self._root = node
        self._stack.append(node)

    def _written_name(self, start: int) -> str:
        match = re.compile(r"[^\s/>]*").match(self._text, start + 1)
        return match[0] if match else ""

    def _attributes(
        self, start: int, attributes: Sequence[str]
    ) -> dict[tuple[str, str], XmlAttribute]:
        """Declarations of namespaces aside, expat names them in the order of the text."""
        names = [tuple(one.rpartition(SEPARATOR)[::2]) for one in attributes[::2]]
        position = start + 1 + len(self._written_name(start))
        found: dict[tuple[str, str], XmlAttribute] = {}
        for (space, name), text in zip(names, attributes[1::2], strict=True):
            match = ATTRIBUTE.match(self._text, position)
            while match and (match[1] == "xmlns" or match[1].startswith("xmlns:")):
                match = ATTRIBUTE.match(self._text, match.end())
            assert match is not None, "expat has read these attributes"
            position = match.end()
            value = match.start(2) + 1
            offsets = [value + one.start() for one in REFERENCE.finditer(match[2][1:-1])]
            place = self._lines.at(match.start(1), len(match[1]))
            ends = (*offsets, match.end(2) - 1)
            found[space, name] = XmlAttribute(text, place, self._lines, ends)
        return found

    def _end(self, _name: str) -> None:
        self._stack.pop()

    def _characters(self, text: str) -> None:
        node = self._stack[-1]
        if text.strip() and node.text_place is None:
            skipped = len(text) - len(text.lstrip())
            node.text_place = self._lines.at(self._offset() + skipped, len(text.split()[0]))
        node.text += text
