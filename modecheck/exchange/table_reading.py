"""Read a table as a drafted chip: a row for each transition, or a matrix of states and events.

The structure is checked here, and what a table alone decides: states, variables, timers, the
grammar of every cell. What the rest of a device decides is checked when a device reads the chip.
"""

from __future__ import annotations

import os
from collections.abc import Sequence

from modecheck.exchange.chip_draft import DraftedChip
from modecheck.exchange.table_cells import TableCell, read_rows
from modecheck.exchange.table_heads import TableHead, read_head
from modecheck.exchange.table_matrix import read_matrix
from modecheck.exchange.table_phrases import CellPhrases, names_in
from modecheck.exchange.table_rows import FoundRules, read_transitions
from modecheck.exchange.table_states import TableStates
from modecheck.exchange.table_words import CHIP, COLUMNS, MORE_COLUMNS, NEEDED
from modecheck.exchange.titled_rules import branches_together
from modecheck.model.errors import Notebook, nearest_name
from modecheck.model.shapes import IDENTIFIER, RESERVED

EXPECTED = "a line 'state, event, condition, action, next', or 'state' and then the events"


def read_table(path: str, chip: str = "") -> DraftedChip:
    """The chip in a file; of several, the one of this name. Raises `InvalidInput` with every error
    in it.
    """
    notes = Notebook()
    rows = read_rows(path, notes)
    notes.raise_if_any()
    return _Reading(path, rows, notes).chip(chip)


class _Reading:
    def __init__(self, path: str, rows: list[list[TableCell]], notes: Notebook) -> None:
        self._path = path
        self._notes = notes
        top = next((n for n, row in enumerate(rows) if _is_header(row)), len(rows))
        if top == len(rows):
            place = rows[0][0].whole if rows else None
            message = f"{path!r} is empty" if not rows else "no line names the columns of the table"
            notes.add(message, place, expected=EXPECTED)
            notes.raise_if_any()
        self._head = read_head(rows[:top], notes)
        self._header, self._rows = rows[top], rows[top + 1 :]
        self._columns = {one.text.strip().lower(): n for n, one in enumerate(self._header)}
        self._by_rows = "event" in self._columns and "next" in self._columns

    def chip(self, chosen: str) -> DraftedChip:
        named = self._only(chosen)
        if self._by_rows:
            self._check_columns()
        self._notes.raise_if_any()
        column = self._columns["state"]
        cells = [row[column] for row in self._rows if len(row) > column]
        states = TableStates(self._head, names_in(cells), self._notes)
        head = self._head
        phrases = CellPhrases(self._notes, head.variables, head.timers, states.names)
        for piece in (*head.initial, *head.named):
            phrases.state(piece)
        read = read_transitions if self._by_rows else read_matrix
        found = read(self._header, self._rows, phrases)
        if not states.names:
            place = self._header[column].whole
            self._notes.add("a table without states", place, expected="rows below the columns")
        self._notes.raise_if_any()
        return self._drafted(named, states, found)

    def _only(self, chosen: str) -> str:
        """Keep the rows of one chip, if there is a column for it; its name."""
        column = self._columns.get(CHIP)
        if column is None:
            if chosen and chosen != self._head.name:
                place, expected = self._header[0].whole, f"a column {CHIP!r}, or no --chip"
                self._notes.add(f"no row is about {chosen!r}", place, expected=expected)
            return self._head.name
        names = dict.fromkeys(row[column].text.strip() for row in self._rows if len(row) > column)
        names.pop("", None)
        name = chosen or next(iter(names), "")
        if name not in names or (len(names) > 1 and not chosen):
            told = f"no row is about {chosen!r}" if chosen else "a table of several chips"
            expected = f"--chip with one of {', '.join(names)}"
            near = nearest_name(chosen, names)
            self._notes.add(
                told, self._header[column].whole, expected=expected + f"; {near}" * bool(near)
            )
        self._rows = [r for r in self._rows if len(r) > column and r[column].text.strip() == name]
        return name

    def _check_columns(self) -> None:
        known = (CHIP, *COLUMNS, *MORE_COLUMNS)
        seen: dict[str, TableCell] = {}
        for cell in self._header:
            name = cell.text.strip().lower()
            if name and name not in known:
                message = f"unknown column {cell.text.strip()!r}"
                self._notes.add(message, cell.whole, word=name, choices=known)
            elif name and name in seen:
                self._notes.add(
                    f"a second column {name!r}", cell.whole, expected="each column once"
                )
            seen[name] = cell
        assert all(one in seen for one in NEEDED), "else it is no table of rows"

    def _drafted(self, named: str, states: TableStates, found: FoundRules) -> DraftedChip:
        head = self._head
        texts = {key: head.texts.get(key, "") for key in ("about", "fair", "battery", "runs_on")}
        return DraftedChip(
            name=named or _name_of_file(self._path),
            states=tuple(states.drafted(one, found.replies) for one in states.outermost()),
            rules=tuple(one.rule for one in branches_together(found.rules)),
            variables=tuple(head.variables.values()),
            timers=head.timers,
            initial=states.first_in(""),
            actor=head.kind == "actor",
            concerns=tuple(head.texts.get("concerns", "").split()),
            priority=int(head.texts.get("priority", 0)),
            discards=self._replies("discards", "discard", found),
            defers=self._replies("defers", "defer", found),
            comments=tuple(self._comments(head)),
            **texts,
        )

    def _replies(self, word: str, manner: str, found: FoundRules) -> tuple[str, ...]:
        """What the whole chip does: lines above the table, and rows without a state."""
        listed = [one.text for one in self._head.lists.get(word, ())]
        return (*listed, *found.replies.get((manner, ""), ()))

    def _comments(self, head: TableHead) -> Sequence[str]:
        lines = [f"Read from {os.path.basename(self._path)} by modecheck."]
        if "rest" not in head.lists:
            lines.append(
                "The table does not say where the chip may stay for ever: add `rest: true`."
            )
        return lines


def _is_header(row: list[TableCell]) -> bool:
    """Whether a row names the columns: one of its first two is `state`, or it has all needed."""
    words = [one.text.strip().lower() for one in row]
    by_rows = all(one in words for one in NEEDED)
    return by_rows or words[0] == "state" or words[:2] == [CHIP, "state"]


def _name_of_file(path: str) -> str:
    name = os.path.basename(path).partition(".")[0]
    return name if IDENTIFIER.fullmatch(name) and name not in RESERVED else "chip"
