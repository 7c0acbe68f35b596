"""A table with a row for each state and a column for each event.

A cell is empty, or has a line for each rule, in the order in which they are tried:
`[condition] next / action; action`. Each part may be left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from modecheck.exchange.chip_draft import DraftedRule
from modecheck.exchange.table_cells import TableCell
from modecheck.exchange.table_phrases import CellPhrases, Piece, names_in, pieces
from modecheck.exchange.table_rows import FoundRules, target_of
from modecheck.exchange.table_words import INSTEAD, MANNERS, NOTHING
from modecheck.exchange.titled_rules import TitledRule

AN_ENTRY = "[condition] next / action, each of which may be left out"


@dataclass(frozen=True, slots=True)
class _Column:
    """An event, or what else is waited for."""

    on: tuple[str, ...] = ()
    waits: tuple[str, str] | None = None


def read_matrix(
    header: Sequence[TableCell], rows: Sequence[Sequence[TableCell]], phrases: CellPhrases
) -> FoundRules:
    """The rules of all cells; every error is noted."""
    reader = _MatrixReader(header, phrases)
    for row in rows:
        reader.read(row)
    return reader.found


class _MatrixReader:
    def __init__(self, header: Sequence[TableCell], phrases: CellPhrases) -> None:
        self.found = FoundRules()
        self._phrases = phrases
        words = [one.text.strip().lower() for one in header]
        self._state = words.index("state")
        self._columns = {
            number: self._column(cell)
            for number, cell in enumerate(header)
            if number > self._state and cell.text.strip()
        }
        self._same: dict[DraftedRule, int] = {}

    def _column(self, cell: TableCell) -> _Column:
        if cell.text.strip() == NOTHING:
            return _Column()
        waits = self._phrases.waiting(cell)
        if waits is not None:
            return _Column(waits=waits)
        return _Column(on=tuple(map(self._phrases.event, pieces(cell, ",\n"))))

    def read(self, row: Sequence[TableCell]) -> None:
        """The row of a state."""
        sources = tuple(map(self._phrases.state, names_in([row[self._state]])))
        for number, cell in enumerate(row):
            if number <= self._state or not cell.text.strip():
                continue
            column = self._columns.get(number)
            if column is None:
                expected = "an event at the top of its column"
                self._phrases.notes.add("a cell without an event", cell.whole, expected=expected)
                continue
            entries = pieces(cell, "\n")
            for entry in entries:
                self._entry(entry, column, sources, alone=len(entries) == 1)

    def _entry(
        self, entry: Piece, column: _Column, sources: tuple[str, ...], *, alone: bool
    ) -> None:
        cell, end = entry.cell, entry.offset + len(entry.text)
        begin, condition = self._condition(entry)
        slash = cell.text.find("/", begin, end)
        target = self._target(cell, begin, end if slash < 0 else slash)
        actions = pieces(cell, ";", slash + 1, end) if slash >= 0 else []
        if target in INSTEAD:
            if condition or actions or not column.on:
                expected = f"{target!r} alone, for an event"
                self._phrases.note(entry, f"{target!r} and more", expected=expected)
            if target in MANNERS:
                self.found.reply(MANNERS[target], sources, column.on)
            return
        effects = self._phrases.effects(actions, target)
        if not (column.on or column.waits or effects):
            self._phrases.note(entry, "a cell that does nothing", expected=AN_ENTRY)
        rule = DraftedRule(on=column.on, waits=column.waits, condition=condition, effects=effects)
        self._add(rule, sources, alone=alone)

    def _add(self, rule: DraftedRule, sources: tuple[str, ...], *, alone: bool) -> None:
        """Cells of a column that say the same, and nothing besides, are one rule."""
        rules = self.found.rules
        number = self._same.get(rule) if alone else None
        if number is not None and sources:
            known = rules[number].rule
            rules[number] = TitledRule("", replace(known, sources=(*known.sources, *sources)))
            return
        if alone and sources:
            self._same[rule] = len(rules)
        rules.append(TitledRule("", replace(rule, sources=sources)))

    def _condition(self, entry: Piece) -> tuple[int, str]:
        """Where an entry goes on behind its condition, and that."""
        if not entry.text.startswith("["):
            return entry.offset, ""
        depth = 0
        for number, one in enumerate(entry.text):
            depth += {"[": 1, "]": -1}.get(one, 0)
            if depth == 0:
                inside = entry.text[1:number]
                skipped = len(inside) - len(inside.lstrip())
                piece = Piece(entry.cell, inside.strip(), entry.offset + 1 + skipped)
                return entry.offset + number + 1, self._phrases.condition(piece)
        self._phrases.note(entry, "a condition without its last bracket", expected=AN_ENTRY)
        return entry.offset + len(entry.text), ""

    def _target(self, cell: TableCell, begin: int, end: int) -> str:
        text = cell.text[begin:end]
        if text.strip() in ("", NOTHING):
            return ""
        skipped = len(text) - len(text.lstrip())
        return target_of(Piece(cell, text.strip(), begin + skipped), self._phrases)
