"""Reads a picture back from its SVG text: texts with their boxes, outlines, lines, titles."""

from __future__ import annotations

import re
import xml.etree.ElementTree as Xml
from dataclasses import dataclass
from itertools import pairwise

from modecheck.draw.geometry import Point, Rectangle, around, flattened
from modecheck.draw.lettering import ASCENT, DESCENT, text_width
from modecheck.draw.sketch import NAME_SIZE, TEXT_SIZE

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Text:
    """One line of text, and the rectangle that its letters need."""

    words: str
    place: Rectangle


class Picture:
    """An SVG document, taken apart."""

    def __init__(self, svg: str) -> None:
        self.root = Xml.fromstring(svg)  # noqa: S314 - our own output
        left, top, width, height = (float(part) for part in self.root.attrib["viewBox"].split())
        self.view = Rectangle(left, top, left + width, top + height)

    @property
    def texts(self) -> list[Text]:
        return [_text(node) for node in self.root.iter(f"{SVG}text")]

    @property
    def words(self) -> str:
        """All letters of the picture without spaces, so that line breaks do not matter."""
        return squeezed("".join(text.words for text in self.texts))

    @property
    def titles(self) -> list[str]:
        return [node.text or "" for node in self.root.iter(f"{SVG}title")]

    def groups(self, kind: str) -> list[Xml.Element]:
        """Groups whose first class is `kind`, the legend's left out."""
        legend = {id(node) for group in self._legends() for node in group.iter()}
        return [
            group
            for group in self.root.iter(f"{SVG}g")
            if group.attrib.get("class", "").split(" ")[0] == kind and id(group) not in legend
        ]

    def _legends(self) -> list[Xml.Element]:
        return [g for g in self.root.iter(f"{SVG}g") if g.attrib.get("class") == "legend"]

    @property
    def legend(self) -> str:
        """The words of the legend."""
        return " ".join("".join(group.itertext()) for group in self._legends())

    def outline(self, group: Xml.Element) -> Rectangle:
        """The first rectangle of a group, or what is around its outline of another form."""
        node = next(group.iter(f"{SVG}rect"), None)
        if node is None:
            paths = group.iter(f"{SVG}path")
            return around(_points(next(p.attrib["d"] for p in paths if "d" in p.attrib)))
        x, y, w, h = (float(node.attrib[name]) for name in ("x", "y", "width", "height"))
        return Rectangle(x, y, x + w, y + h)

    def named(self, kind: str, title: str) -> Xml.Element:
        """The group of a kind whose title starts with these words."""
        return next(group for group in self.groups(kind) if title_of(group).startswith(title))

    @property
    def lines(self) -> list[tuple[str, list[Point]]]:
        """The title of each arrow with the points of each of its lines, tips included."""
        found = []
        for group in self.groups("arrow"):
            paths = [(node.attrib["class"], node.attrib["d"]) for node in group.iter(f"{SVG}path")]
            lines = [_points(data) for kind, data in paths if kind == "line"]
            for kind, data in paths:
                if kind in ("tip", "open"):
                    lines[-1][-1] = _points(data)[1]
            found += [(title_of(group), points) for points in lines]
        return found


def title_of(group: Xml.Element) -> str:
    node = group.find(f"{SVG}title")
    return (node.text or "") if node is not None else ""


def words_of(group: Xml.Element) -> list[str]:
    """The lines of text in a group."""
    return ["".join(node.itertext()) for node in group.iter(f"{SVG}text")]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def segments(points: list[Point]) -> list[tuple[Point, Point]]:
    return list(pairwise(points))


def _text(node: Xml.Element) -> Text:
    spans = [*node.iter(f"{SVG}tspan")] or [node]
    runs = [(span.text or "", span.attrib["class"]) for span in spans]
    size = NAME_SIZE if runs[0][1] == "name" else TEXT_SIZE
    words = "".join(node.itertext())
    spaces = text_width(" ", size) * (len(runs) - 1)
    width = spaces + sum(
        text_width(text, size, strong=face in ("name", "trigger")) for text, face in runs
    )
    x, y = float(node.attrib["x"]), float(node.attrib["y"])
    return Text(words, Rectangle(x, y - ASCENT * size, x + width, y + DESCENT * size))


def _points(data: str) -> list[Point]:
    """The corners of a path, and points along its curves; of a bend, where it is drawn to."""
    points: list[Point] = []
    for command, rest in re.findall(r"([A-Za-z])([^A-Za-z]*)", data):
        numbers = [float(part) for part in re.findall(r"-?\d+(?:\.\d+)?", rest)]
        own = list(zip(numbers[::2], numbers[1::2], strict=False))
        points += flattened((points[-1], *own))[1:] if command == "C" else own
    return points
