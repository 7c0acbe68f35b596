"""What a cell of a table says: conditions, actions, events. Every error is noted at its place."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from typing import TypeVar

from modecheck.exchange.chip_draft import DraftedEffects
from modecheck.exchange.table_cells import TableCell
from modecheck.exchange.table_words import WAITING, duration_of
from modecheck.model.errors import Notebook
from modecheck.model.rule_drafts import EVENT
from modecheck.model.syntax import (
    ExpressionError,
    parse_assignment,
    parse_condition,
    parse_send,
    parse_signal,
)

T = TypeVar("T")

DOING = re.compile(r"(send|signal|start|stop)\s+(?![-+*/%]?=)(.+)", re.DOTALL)
ACTIONS = "n += 1; send hello via up; signal ready; start patience; stop patience"


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a cell, without space around it, and where it begins there."""

    cell: TableCell
    text: str
    offset: int

    def place(self, offset: int = 0, width: int = 0) -> tuple[int, int]:
        return self.offset + offset, width or len(self.text)


def pieces(cell: TableCell, separators: str, start: int = 0, end: int | None = None) -> list[Piece]:
    """The parts of a cell between single characters that separate them; empty ones are left out."""
    found = []
    for match in re.finditer(rf"[^{separators}]+", cell.text[:end]):
        text = cell.text[max(match.start(), start) : match.end()]
        if text.strip():
            skipped = max(match.start(), start) + len(text) - len(text.lstrip())
            found.append(Piece(cell, text.strip(), skipped))
    return found


@dataclass(frozen=True, slots=True)
class CellPhrases:
    """Reads the parts of cells of one chip: its variables, its timers and its states by name."""

    notes: Notebook
    variables: Collection[str]
    timers: Collection[str]
    states: Collection[str]
    seen: dict[str, None] = field(default_factory=dict)

    def note(
        self, piece: Piece, message: str, *, expected: str = "", choices: Collection[str] = ()
    ) -> None:
        """Note an error about a part of a cell, which may be no name that is known."""
        self.notes.add(
            message,
            piece.cell.part(*piece.place()),
            expected=expected,
            word=piece.text if choices else "",
            choices=choices,
        )

    def state(self, piece: Piece) -> str:
        """The name of a state, or nothing after noting that there is none of that name."""
        if piece.text in self.states:
            return piece.text
        self.note(piece, f"unknown state {piece.text!r}", choices=self.states)
        return ""

    def condition(self, piece: Piece) -> str:
        """The text of a condition, if it is one."""
        self._parsed(piece, piece.text, 0, parse_condition)
        return " ".join(piece.text.split())

    def _parsed(self, piece: Piece, text: str, offset: int, parse: Callable[[str], T]) -> T | None:
        try:
            return parse(text)
        except ExpressionError as error:
            begin = piece.offset + offset + error.offset
            place = piece.cell.part(begin, max(error.width, 1))
            self.notes.add(error.message, place, expected=error.expected)
            return None

    def event(self, piece: Piece) -> str:
        """An event such as `hello via up`, or nothing after noting that it is none."""
        match = EVENT.fullmatch(piece.text)
        if match is None:
            expected = "a name, optionally with 'via' and a link; after, period or expires; nothing"
            self.note(piece, f"{piece.text!r} is not an event", expected=expected)
            return ""
        return f"{match[1]} via {match[2]}" if match[2] else match[1]

    def waiting(self, cell: TableCell) -> tuple[str, str] | None:
        """What a rule waits for, as a draft has it, if its event is a time or a timer."""
        match = WAITING.fullmatch(cell.text.strip())
        if match is None or EVENT.fullmatch(cell.text.strip()):
            return None
        skipped = len(cell.text) - len(cell.text.lstrip())
        piece = Piece(cell, match[2], skipped + match.start(2))
        if match[1] == "expires":
            return "expires", self._timer(piece)
        duration = duration_of(match[2])
        if duration is None:
            expected = "a number and a unit, such as 20 ms, or 2 ms to 5 ms"
            self.note(piece, f"{match[2]!r} is not a duration", expected=expected)
        return match[1], duration or ""

    def _timer(self, piece: Piece) -> str:
        if piece.text not in self.timers:
            expected = "" if self.timers else "a line 'timer' above the table (there is none)"
            message = f"unknown timer {piece.text!r}"
            self.note(piece, message, expected=expected, choices=self.timers)
        return piece.text

    def effects(self, found: list[Piece], to: str) -> DraftedEffects:
        """What actions do. Assignments come first, as a chip does them."""
        lists: dict[str, list[str]] = {
            key: [] for key in ("do", *("send", "signal", "start", "stop"))
        }
        for piece in found:
            match = DOING.fullmatch(piece.text)
            kind, text = (match[1], match[2]) if match else ("do", piece.text)
            if kind == "do" and any(value for key, value in lists.items() if key != "do"):
                expected = "assignments first: a chip assigns before it sends, signals, or starts"
                self.note(piece, "an assignment after something else", expected=expected)
            offset = match.start(2) if match else 0
            lists[kind].append(self._action(piece, kind, text, offset))
        return DraftedEffects(**{key: tuple(value) for key, value in lists.items()}, to=to)

    def _action(self, piece: Piece, kind: str, text: str, offset: int) -> str:
        inner = Piece(piece.cell, text, piece.offset + offset)
        if kind == "do":
            self._assignment(inner)
        elif kind == "send":
            self._parsed(inner, text, 0, parse_send)
        elif kind == "signal":
            self._parsed(inner, text, 0, parse_signal)
        else:
            self._timer(inner)
        return " ".join(text.split())

    def _assignment(self, piece: Piece) -> None:
        if "=" not in piece.text:
            expected = f"actions such as {ACTIONS}"
            self.note(piece, f"{piece.text!r} is not an action", expected=expected)
            return
        tree = self._parsed(piece, piece.text, 0, parse_assignment)
        for name in tree.targets if tree is not None else ():
            if name.parts[0] not in self.variables:
                target = Piece(piece.cell, name.parts[0], piece.offset + name.offset)
                nothing = (
                    "" if self.variables else "a line 'variable' above the table (there is none)"
                )
                message = f"unknown variable {name.parts[0]!r}"
                self.note(target, message, expected=nothing, choices=self.variables)


def names_in(cells: list[TableCell]) -> Iterator[Piece]:
    """The words of cells, which a space or a comma separates."""
    for cell in cells:
        yield from pieces(cell, r"\s,")
