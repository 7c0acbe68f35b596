"""Where the parts of a text end. The nodes of its tree know where they begin, and an alias has the
node of its anchor; so the events of the parser are gone through once more.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import yaml

from modecheck.editor.positions import TextMap
from modecheck.model.places import Place

Spot: TypeAlias = tuple[int, int]
"""A line and a column, from 1, as places count them."""


@dataclass(slots=True)
class _Open:
    """A collection that has begun at `start`; `end` is where the last part in it ends, `key` the
    start of the key whose value comes next.
    """

    start: Spot
    end: Spot
    is_mapping: bool
    in_brackets: bool
    key: Spot | None = None


@dataclass(slots=True)
class NodeEnds:
    """The ends of the values of all keys, of all items of lists and of all scalars, by where these
    begin.
    """

    text: TextMap
    _values: dict[Spot, Spot] = field(default_factory=dict)
    _items: dict[Spot, Spot] = field(default_factory=dict)
    _scalars: dict[Spot, Spot] = field(default_factory=dict)
    _open: list[_Open] = field(default_factory=list)

    def of_key(self, key: Place) -> int:
        """The offset behind the value of a key; behind the key, if it has none."""
        return self._behind(self._values.get((key.line, key.column)), key)

    def of_item(self, item: Place) -> int:
        """The offset behind an item of a list."""
        return self._behind(self._items.get((item.line, item.column)), item)

    def of_scalar(self, scalar: Place) -> int:
        """The offset behind a text, which may have several lines."""
        return self._behind(self._scalars.get((scalar.line, scalar.column)), scalar)

    def _behind(self, spot: Spot | None, place: Place) -> int:
        least = self.text.span_of(place).end
        if spot is None:
            return least
        end = self.text.offset_at(*spot)
        while end > least and self.text.text[end - 1].isspace():
            end -= 1  # a block of text ends where the next line begins
        return max(end, least)

    def take(self, event: Any) -> None:
        """Follow one event of the parser."""
        if isinstance(event, yaml.CollectionStartEvent):
            start = _spot(event.start_mark)
            mapping = isinstance(event, yaml.MappingStartEvent)
            self._open.append(_Open(start, start, mapping, bool(event.flow_style)))
        elif isinstance(event, yaml.CollectionEndEvent):
            done = self._open.pop()
            self._put(done.start, _spot(event.end_mark) if done.in_brackets else done.end)
        elif isinstance(event, yaml.ScalarEvent | yaml.AliasEvent):
            self._scalars[_spot(event.start_mark)] = _spot(event.end_mark)
            self._put(_spot(event.start_mark), _spot(event.end_mark))

    def _put(self, start: Spot, end: Spot) -> None:
        if not self._open:
            return
        around = self._open[-1]
        around.end = max(around.end, end)
        if not around.is_mapping:
            self._items[start] = end
        elif around.key is None:
            around.key = start
        else:
            self._values[around.key], around.key = end, None


def _spot(mark: Any) -> Spot:
    return mark.line + 1, mark.column + 1


def ends_in(text: TextMap, readable: str) -> NodeEnds:
    """The ends in a text. `readable` is what was read in its place, line by line the same but for
    those that are half written; behind an error, nothing has an end but itself.
    """
    ends = NodeEnds(text)
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    with contextlib.suppress(yaml.YAMLError, ValueError):
        for event in yaml.parse(readable, Loader=loader):
            ends.take(event)
    return ends
