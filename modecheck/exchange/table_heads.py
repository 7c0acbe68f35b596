"""The lines above a table: what a chip is called, its variables and timers, how states nest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from modecheck.exchange.chip_draft import DraftedVariable
from modecheck.exchange.table_cells import TableCell
from modecheck.exchange.table_phrases import Piece, names_in, pieces
from modecheck.exchange.table_words import HEADS, duration_of, holds_of
from modecheck.model.errors import Notebook
from modecheck.model.outlines import LONGEST_LIST
from modecheck.model.places import Place
from modecheck.model.shapes import IDENTIFIER, RESERVED
from modecheck.model.values import ValueType

HOLDS = "0 to 9, bool, bond 1, or words such as: low fine full; with 'list 3' for three of it"
ABOUT_STATES = ("about", "concerns", "masks", "current")
"""Lines about the whole chip, or, with a state's name first, about that state."""
GROUPS = ("discards", "defers", "rest", "awake")


@dataclass(slots=True)
class TableHead:
    """What the lines say. `texts` are about the whole chip, `of_states` about a state each;
    `inside` names the states in a state, `lists` are the words behind `rest` and the like.
    """

    kind: str = "chip"
    name: str = ""
    texts: dict[str, str] = field(default_factory=dict)
    of_states: dict[tuple[str, str], str] = field(default_factory=dict)
    variables: dict[str, DraftedVariable] = field(default_factory=dict)
    timers: dict[str, str] = field(default_factory=dict)
    states: list[Piece] = field(default_factory=list)
    inside: dict[str, tuple[Piece, ...]] = field(default_factory=dict)
    initial: list[Piece] = field(default_factory=list)
    lists: dict[str, list[Piece]] = field(default_factory=dict)
    named: list[Piece] = field(default_factory=list)
    places: dict[str, Place] = field(default_factory=dict)


def read_head(rows: Sequence[Sequence[TableCell]], notes: Notebook) -> TableHead:
    """The lines above the columns."""
    reader = _HeadReader(notes)
    for row in rows:
        reader.read([one for one in row if one.text.strip()])
    return reader.head


class _HeadReader:
    def __init__(self, notes: Notebook) -> None:
        self.head = TableHead()
        self._notes = notes

    def read(self, cells: list[TableCell]) -> None:
        """One line, by its first word."""
        first, *rest = cells
        word = first.text.strip()
        if word not in HEADS:
            message = f"unknown line {word!r} above the table"
            self._notes.add(message, first.whole, word=word, choices=HEADS)
        elif not rest:
            self._notes.add(f"{word!r} says nothing", first.whole, expected="a value beside it")
        elif word in ("chip", "actor"):
            self._once(word, first.whole)
            self.head.kind, self.head.name = word, self._new_name(rest[0])
        elif word == "variable":
            self._variable(rest)
        elif word == "timer":
            self._timer(rest)
        elif word == "inside":
            self._inside(rest)
        elif word in ("initial", "states"):
            found = self.head.initial if word == "initial" else self.head.states
            found += names_in(rest)
        elif word in GROUPS:
            self._group(word, rest)
        else:
            self._text(word, first, rest)

    def _once(self, word: str, place: Place) -> None:
        before = self.head.places.setdefault(word, place)
        if before is not place:
            self._notes.add(
                f"a second line {word!r}", place, expected=f"one, in line {before.line}"
            )

    def _new_name(self, cell: TableCell) -> str:
        name = cell.text.strip()
        if not IDENTIFIER.fullmatch(name) or name in RESERVED:
            expected = "a letter, then letters, digits and underscores; no word of the language"
            self._notes.add(f"{name!r} is not a name", cell.whole, expected=expected)
        return name

    def _group(self, word: str, rest: list[TableCell]) -> None:
        events = word in ("discards", "defers")
        found = [p for cell in rest for p in pieces(cell, ",\n")] if events else names_in(rest)
        self.head.lists.setdefault(word, []).extend(found)
        if not events:
            self.head.named += names_in(rest)

    def _text(self, word: str, first: TableCell, rest: list[TableCell]) -> None:
        if word in ABOUT_STATES and len(rest) > 1:
            state = rest[0].text.strip()
            self.head.named.append(Piece(rest[0], state, rest[0].text.index(state)))
            self.head.of_states[word, state] = rest[1].text.strip()
            return
        self._once(word, first.whole)
        if word in ("masks", "current"):
            self._notes.add(
                f"{word!r} of no state", first.whole, expected="a state, then the value"
            )
        elif word == "priority" and not rest[0].text.strip().isdecimal():
            message = f"{rest[0].text.strip()!r} is not a priority"
            self._notes.add(message, rest[0].whole, expected="a whole number")
        self.head.texts[word] = rest[0].text.strip()

    def _inside(self, rest: list[TableCell]) -> None:
        outer, *inner = names_in(rest)
        if not inner:
            expected = "a state, then those inside it"
            self._notes.add("no state inside", outer.cell.whole, expected=expected)
        self.head.inside[outer.text] = (*self.head.inside.get(outer.text, ()), *inner)

    def _timer(self, rest: list[TableCell]) -> None:
        name = self._new_name(rest[0])
        text = rest[1].text.strip() if len(rest) > 1 else ""
        duration = duration_of(text)
        if duration is None:
            place = rest[1].whole if text else rest[0].whole
            expected = "a number and a unit, such as 20 ms, or 2 ms to 5 ms"
            self._notes.add(f"{text!r} is not a duration", place, expected=expected)
        self._once(f"timer {name}", rest[0].whole)
        self.head.timers[name] = duration or ""

    def _variable(self, rest: list[TableCell]) -> None:
        name = self._new_name(rest[0])
        self._once(f"variable {name}", rest[0].whole)
        holds = holds_of(rest[1].text.strip()) if len(rest) > 1 else None
        if holds is None:
            place = (rest[1] if len(rest) > 1 else rest[0]).whole
            self._notes.add(f"what {name!r} holds is not said", place, expected=HOLDS)
            # Known all the same: what uses it is no error of its own.
            self.head.variables[name] = DraftedVariable(name, _ANYTHING, (0,))
            return
        type_, length = holds
        if length > LONGEST_LIST:
            message = f"a list of {length} values"
            self._notes.add(message, rest[1].whole, expected=f"at most {LONGEST_LIST}")
        more = [one for one in rest[2:] if one.text.strip() != "persistent"]
        start = self._start(more[0], type_, length) if more else ()
        known = start or (type_.first,) * max(length, 1)
        persistent = len(more) < len(rest[2:])
        self.head.variables[name] = DraftedVariable(name, type_, known, length, persistent)

    def _start(self, cell: TableCell, type_: ValueType, length: int) -> tuple[int, ...]:
        words = cell.text.split()
        values = [_value(word, type_) for word in words]
        known = tuple(one for one in values if one is not None)
        if len(known) < len(values) or len(known) not in (1, max(length, 1)):
            expected = f"{type_}" + (f", one or {length} of it" if length else "")
            told = f"{cell.text.strip()!r} cannot be a first value"
            self._notes.add(told, cell.whole, expected=expected)
            return ()
        return known if len(known) == max(length, 1) else known * length


_ANYTHING = ValueType("truth", 0, 1)


def _value(word: str, type_: ValueType) -> int | None:
    """The value that a word means; a truth is true or false, no bond is `none`."""
    if type_.kind == "truth":
        return {"true": 1, "false": 0}.get(word)
    if type_.kind == "word":
        return type_.value_of(word)
    if type_.kind == "bond" and word == "none":
        return 0
    whole = word.removeprefix("-").isdecimal() and len(word) < 12
    return int(word) if whole and type_.holds(int(word)) else None
