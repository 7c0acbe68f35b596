"""The states of a table: those that it names, nested as the lines above it say."""

from __future__ import annotations

from collections.abc import Iterable

from modecheck.exchange.chip_draft import DraftedState
from modecheck.exchange.table_heads import TableHead
from modecheck.exchange.table_phrases import Piece
from modecheck.model.errors import Notebook
from modecheck.model.shapes import IDENTIFIER, RESERVED

DEEPEST = 30
"""States nest a few deep; this stops what nests without an end."""


class TableStates:
    """The names of the states, and the tree that they make."""

    def __init__(self, head: TableHead, column: Iterable[Piece], notes: Notebook) -> None:
        self._head = head
        self._notes = notes
        self.parents: dict[str, str] = {}
        self._children = {
            outer: tuple(p.text for p in inner) for outer, inner in head.inside.items()
        }
        nested = [one for inner in head.inside.values() for one in inner]
        listed = [*head.states, *nested]
        self._known: dict[str, None] = {}
        for piece in listed if head.states else [*nested, *column]:
            self._declare(piece)
        self._known.update(dict.fromkeys(head.inside))
        self._nest()

    @property
    def names(self) -> list[str]:
        """Every state."""
        return list(self._known)

    def _declare(self, piece: Piece) -> None:
        if not IDENTIFIER.fullmatch(piece.text) or piece.text in RESERVED:
            expected = "a letter, then letters, digits and underscores; no word of the language"
            place = piece.cell.part(*piece.place())
            self._notes.add(f"{piece.text!r} is not a name of a state", place, expected=expected)
        self._known[piece.text] = None

    def _nest(self) -> None:
        for outer, inner in self._head.inside.items():
            for piece in inner:
                other = self.parents.setdefault(piece.text, outer)
                if other != outer or self._around(piece.text) > DEEPEST:
                    told = f"{piece.text!r} is inside of {other!r}"
                    told += " and of this state" if other != outer else ", without an end"
                    place = piece.cell.part(*piece.place())
                    expected = f"each state once, at most {DEEPEST} deep"
                    self._notes.add(told, place, expected=expected)

    def _around(self, name: str) -> int:
        """How many states are around one, or more than are allowed."""
        count = 0
        while name in self.parents and count <= DEEPEST:
            name, count = self.parents[name], count + 1
        return count

    def outermost(self) -> list[str]:
        """The states that no other contains, in order."""
        first = [one.text for one in self._head.states]
        names = dict.fromkeys([*first, *self._known])
        return [one for one in names if one not in self.parents]

    def drafted(self, name: str, replies: dict[tuple[str, str], list[str]]) -> DraftedState:
        """A state with those inside it; `replies` are events by the word of the cell and state."""
        head = self._head
        about = {key: text for (key, state), text in head.of_states.items() if state == name}
        rest = {p.text for p in head.lists.get("rest", ())}
        awake = {p.text for p in head.lists.get("awake", ())}
        children = self._children.get(name, ())
        return DraftedState(
            name,
            states=tuple(self.drafted(one, replies) for one in children),
            initial=self.first_in(name),
            rest=True if name in rest else False if name in awake else None,
            about=about.get("about", ""),
            concerns=tuple(about.get("concerns", "").split()),
            masks=tuple(about.get("masks", "").split()),
            current=about.get("current", ""),
            discards=tuple(replies.get(("discard", name), ())),
            defers=tuple(replies.get(("defer", name), ())),
        )

    def first_in(self, outer: str) -> str:
        """The state in which a state begins (the chip, for ""), unless it is the first in it."""
        found = [p.text for p in self._head.initial if self.parents.get(p.text, "") == outer]
        return found[-1] if found else ""
