"""Looks for what must not be in a picture: overlaps, and what is cut."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from xml.etree.ElementTree import Element

from modecheck.draw.geometry import Rectangle
from tests.draw.reading_svg import Picture, Text, segments, squeezed, words_of

KINDS = (
    *("tab", "state", "rest", "mode", "chip", "actor", "label"),
    *("head", "player", "condition", "action", "notice"),
)
"""Boxes with an outline, those of sequence charts in the second line."""

SLACK = 0.3
"""Numbers in a picture have one decimal."""


def flaws(picture: Picture) -> Iterator[str]:
    """Every flaw, in words."""
    texts = [text for text in picture.texts if squeezed(text.words)]
    boxes = [(kind, _box(picture, kind, group)) for kind in KINDS for group in picture.groups(kind)]
    yield from _meetings(texts, boxes)
    yield from _cut_texts(picture, texts)
    for arrow, points in picture.lines:
        for start, end in segments(points):
            for text in texts:
                if text.place.grown(-1).is_crossed(start, end):
                    yield f"line on text: {arrow}: {text.words}"
            for kind, box in boxes:
                if box.grown(-1).is_crossed(start, end):
                    yield f"line on box: {arrow}: {kind} {box}"


def _box(picture: Picture, kind: str, group: Element) -> Rectangle:
    """A tab has no rectangle of its own; its words stand for it."""
    if kind == "tab":
        (words,) = words_of(group)
        return next(text.place for text in picture.texts if text.words == words)
    return picture.outline(group)


def _meetings(texts: list[Text], boxes: list[tuple[str, Rectangle]]) -> Iterator[str]:
    for one, two in combinations(texts, 2):
        if one.place.grown(-SLACK).meets(two.place.grown(-SLACK)):
            yield f"texts meet: {one.words} | {two.words}"
    for (_, first), (_, second) in combinations(boxes, 2):
        if first.grown(-SLACK).meets(second.grown(-SLACK)):
            yield f"boxes meet: {first} | {second}"


def _cut_texts(picture: Picture, texts: list[Text]) -> Iterator[str]:
    for text in texts:
        if not _holds(picture.view.grown(-4), text.place):
            yield f"text leaves the picture: {text.words}"
    for kind in KINDS[1:]:
        for group in picture.groups(kind):
            outline, lines = picture.outline(group), words_of(group)
            for text in texts:
                own = text.words in lines and outline.meets(text.place)
                if own and not _holds(outline.grown(SLACK), text.place):
                    yield f"text leaves its box: {text.words}"


def _holds(outer: Rectangle, inner: Rectangle) -> bool:
    return outer.holds((inner.left, inner.top)) and outer.holds((inner.right, inner.bottom))
