"""A table with a row for each transition: columns state, event, condition, action, next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from modecheck.exchange.chip_draft import DraftedEffects, DraftedRule
from modecheck.exchange.table_cells import TableCell
from modecheck.exchange.table_phrases import CellPhrases, Piece, names_in, pieces
from modecheck.exchange.table_words import INSTEAD, MANNERS, NOTHING
from modecheck.exchange.titled_rules import TitledRule
from modecheck.model.shapes import FAIR, IDENTIFIER, RESERVED


@dataclass(frozen=True, slots=True)
class FoundRules:
    """The rules of a table in order, and the events that states (by name) discard or defer."""

    rules: list[TitledRule] = field(default_factory=list)
    replies: dict[tuple[str, str], list[str]] = field(default_factory=dict)

    def reply(self, manner: str, states: Sequence[str], events: Sequence[str]) -> None:
        for state in states or ("",):
            self.replies.setdefault((manner, state), []).extend(events)


def read_transitions(
    header: Sequence[TableCell], rows: Sequence[Sequence[TableCell]], phrases: CellPhrases
) -> FoundRules:
    """The rules of all rows; every error is noted."""
    columns = [one.text.strip().lower() for one in header]
    reader = _RowReader(phrases)
    for row in rows:
        for cell in row[len(columns) :]:
            if cell.text.strip():
                expected = f"at most {len(columns)} cells; quotes around a cell with a separator"
                phrases.notes.add("a cell without a column", cell.whole, expected=expected)
        reader.read({name: cell for name, cell in zip(columns, row, strict=False) if name})
    return reader.found


class _RowReader:
    def __init__(self, phrases: CellPhrases) -> None:
        self.found = FoundRules()
        self._phrases = phrases
        self._titles: dict[str, int] = {}

    def read(self, cells: Mapping[str, TableCell]) -> None:
        """One row. One with nothing but a state only says that there is such a state."""
        filled = {name: cell for name, cell in cells.items() if cell.text.strip()}
        if not filled.keys() - {"state", "chip"}:
            return
        sources = self._states(filled)
        waits, on = self._events(filled)
        target = self._target(filled)
        if target in INSTEAD:
            self._manner(filled, target, sources, on)
            return
        condition = self._condition(filled)
        effects = self._effects(filled, target)
        if not (on or waits or effects):
            place = filled[next(iter(filled))].whole
            expected = "an event, an action, or a next state"
            self._phrases.notes.add("a row that does nothing", place, expected=expected)
        rule = DraftedRule(
            sources=sources, on=on, waits=waits, condition=condition, effects=effects
        )
        title = filled["rule"].text.strip() if "rule" in filled else ""
        self.found.rules.append(
            TitledRule(title, self._named(self._with_more(rule, filled), title, filled))
        )

    def _states(self, filled: Mapping[str, TableCell]) -> tuple[str, ...]:
        cell = filled.get("state")
        return tuple(map(self._phrases.state, names_in([cell]))) if cell is not None else ()

    def _events(
        self, filled: Mapping[str, TableCell]
    ) -> tuple[tuple[str, str] | None, tuple[str, ...]]:
        cell = filled.get("event")
        if cell is None or cell.text.strip() == NOTHING:
            return None, ()
        waits = self._phrases.waiting(cell)
        if waits is not None:
            return waits, ()
        return None, tuple(map(self._phrases.event, pieces(cell, ",\n")))

    def _condition(self, filled: Mapping[str, TableCell]) -> str:
        cell = filled.get("condition")
        return self._phrases.condition(whole(cell)) if cell is not None else ""

    def _target(self, filled: Mapping[str, TableCell]) -> str:
        cell = filled.get("next")
        if cell is None or cell.text.strip() == NOTHING:
            return ""
        return target_of(whole(cell), self._phrases)

    def _effects(self, filled: Mapping[str, TableCell], target: str) -> DraftedEffects:
        cell = filled.get("action")
        actions = pieces(cell, ";\n") if cell is not None and cell.text.strip() != NOTHING else []
        return self._phrases.effects(actions, target)

    def _manner(
        self,
        filled: Mapping[str, TableCell],
        word: str,
        sources: tuple[str, ...],
        on: tuple[str, ...],
    ) -> None:
        for name in ("condition", "action", "rule"):
            if name in filled:
                expected = f"nothing in this column where next is {word!r}"
                self._phrases.notes.add(f"a {name}", filled[name].whole, expected=expected)
        if not on:
            place = filled["next"].whole
            self._phrases.notes.add(f"{word!r} without an event", place, expected="an event")
        if word in MANNERS:
            self.found.reply(MANNERS[word], sources, on)

    def _named(self, rule: DraftedRule, title: str, filled: Mapping[str, TableCell]) -> DraftedRule:
        """The rule with its name: that before the point, where the title is that of a branch."""
        name = title.partition(".")[0]
        if ":" in title or not title:
            return rule
        notes, place = self._phrases.notes, filled["rule"].whole
        if not IDENTIFIER.fullmatch(name) or name in RESERVED:
            expected = "a letter, then letters, digits and underscores"
            notes.add(f"{title!r} is not a name of a rule", place, expected=expected)
        before = self._titles.setdefault(title, place.line)
        if before != place.line:
            told = f"the rule {title!r} is named twice, first in line {before}"
            notes.add(told, place, expected="different names; NAME.1, NAME.2 for its branches")
        return replace(rule, name=name)

    def _with_more(self, rule: DraftedRule, filled: Mapping[str, TableCell]) -> DraftedRule:
        """The columns for what few rules say."""
        text = {name: cell.text.strip() for name, cell in filled.items()}
        for name, known in (("fair", FAIR), ("steps", ("separate",))):
            if text.get(name, known[0]) not in known:
                message = f"unknown word {text[name]!r}"
                self._phrases.notes.add(message, filled[name].whole, word=text[name], choices=known)
        priority = text.get("priority", "0")
        if not priority.removeprefix("-").isdecimal():
            place = filled["priority"].whole
            message = f"{priority!r} is not a priority"
            self._phrases.notes.add(message, place, expected="a whole number")
            priority = "0"
        return replace(
            rule,
            priority=int(priority),
            separate=text.get("steps") == "separate",
            text=text.get("text", ""),
            fair=text.get("fair", ""),
            weight=text.get("weight", ""),
            concerns=tuple(text.get("concerns", "").split()),
        )


def whole(cell: TableCell) -> Piece:
    """All that stands in a cell."""
    text = cell.text.strip()
    return Piece(cell, text, cell.text.index(text) if text else 0)


def target_of(piece: Piece, phrases: CellPhrases) -> str:
    """A next state, or one of the words that may stand in its place."""
    text = " ".join(piece.text.split())
    if text in phrases.states or text in INSTEAD:
        return text
    message = f"unknown state {piece.text!r}"
    phrases.note(piece, message, choices=[*phrases.states, *INSTEAD])
    return ""
