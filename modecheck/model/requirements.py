"""Read requirements: an id, the sentence that a person wrote, and its formal pattern."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from modecheck.model.conditions import condition, names_in
from modecheck.model.copies import OWN_NUMBER, unnumbered
from modecheck.model.each import named
from modecheck.model.exchanges import ExchangeReader
from modecheck.model.key_readers import note_misfits
from modecheck.model.keys import keys_of
from modecheck.model.parts import Requirement, Span
from modecheck.model.phrases import Phrases
from modecheck.model.places import Place
from modecheck.model.scopes import Scope
from modecheck.model.shapes import Shapes
from modecheck.model.terms import Term
from modecheck.model.times import Duration
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, kind_of
from modecheck.model.yaml_nodes import SequenceNode as SequenceNode

SPANNED = ("never", "always", "eventually", "whenever", "before")
"""Patterns that can have a scope."""
PATTERNS = (*SPANNED, "possible", "recoverable", "exactly_once")
SPAN_KEYS = ("before", "after", "between", "until")


class RequirementReader:
    """Reads the section `requirements`; `events` are the signals and messages of the device."""

    def __init__(
        self, shapes: Shapes, phrases: Phrases, scope: Scope, events: Collection[str] | None
    ) -> None:
        self._shapes = shapes
        self._phrases = phrases
        self._scope = scope
        self._states = replace(scope, steps=None)
        self._events = events

    def read(self, node: Node | None) -> dict[str, Requirement]:
        found = {}
        entries = list(named(self._shapes, self._phrases, node, "requirements"))
        known = [entry.name for entry in entries]
        for entry in entries:
            reader = RequirementReader(
                self._shapes, entry.phrases, entry.within(self._scope), self._events
            )
            requirement = reader._requirement(entry.name, entry.key, entry.node)
            if requirement is not None:
                below = reader._builds_on(entry.name, entry.node, known)
                found[entry.name] = replace(requirement, builds_on=below)
        self._note_circles(found)
        return found

    def _builds_on(self, name: str, node: Node | None, known: Sequence[str]) -> tuple[str, ...]:
        """Of a name that stands for requirements on each copy, that on the same copy, or all."""
        listed = node.get("builds_on") if isinstance(node, MappingNode) else None
        others = [other for other in known if other != name]

        def meant(word: str) -> Sequence[str]:
            own = f"{word}[{self._phrases.parameters.get(OWN_NUMBER, '')}]"
            copies = [own] if own in known else [one for one in others if unnumbered(one) == word]
            return [word] if word in known else copies or [word]

        return names_in(
            self._shapes, listed, "requirement", others, phrases=self._phrases, meant=meant
        )

    def _note_circles(self, found: dict[str, Requirement]) -> None:
        """A requirement that builds on itself would excuse its own failure."""
        for name in on_circles({name: one.builds_on for name, one in found.items()}):
            message = f"{name!r} builds on itself through others"
            expected = "no cycle in 'builds_on'"
            self._shapes.notes.add(message, found[name].place, expected=expected)

    def _requirement(self, name: str, key: ScalarNode, node: Node) -> Requirement | None:
        what = f"the requirement {name!r}"
        record = self._shapes.record(node, what, keys_of("requirement"), required=("text",))
        if record is None:
            return None
        given = [pattern for pattern in PATTERNS if record.get(pattern) is not None]
        if len(given) != 1:
            message = f"{what} has {'more than one pattern' if given else 'no pattern'}"
            self._shapes.notes.add(message, key.place, expected=f"one of {', '.join(PATTERNS)}")
            return None
        note_misfits(self._shapes, keys_of("requirement"), record, given[0])
        text = self._shapes.scalar(record.entries["text"], "text", "the requirement in words")
        sentence = text.text if text else ""
        if text is not None and OWN_NUMBER in self._phrases.parameters:
            sentence = self._phrases.braces_filled(text)
        return self._of_pattern(name, key.place, given[0], record, sentence)

    def _within(self, record: MappingNode) -> Duration | None:
        given = record.get("within")
        scalar = self._shapes.scalar(given, "a time", "a duration such as 50 ms") if given else None
        return self._phrases.interval([scalar]) if scalar is not None else None

    def _of_pattern(
        self, name: str, place: Place, pattern: str, record: MappingNode, sentence: str
    ) -> Requirement | None:
        node = record.entries[pattern]
        if pattern == "exactly_once":
            reader = ExchangeReader(self._shapes, self._phrases, self._scope)
            exchange = reader.read(node, record)
            if exchange is None:
                return None
            return Requirement(name, sentence, pattern, None, "", (), place, exchange=exchange)
        without: tuple[str, ...] = ()
        if pattern == "recoverable" and isinstance(node, MappingNode):
            inner = self._shapes.record(node, "recoverable", ("to", "without"), required=("to",))
            if inner is None:
                return None
            node = inner.entries["to"]
            without = names_in(
                self._shapes, inner.get("without"), "event", self._events, phrases=self._phrases
            )
        scope = self._scope if pattern in SPANNED else self._states
        term, text = self._condition(node, scope)
        partners = keys_of("requirement")[pattern].beside
        partner = record.get(partners[0]) if partners else None
        response, response_text = self._condition(partner, self._scope)
        span = self._span(record.get("scope"))
        if term is None or span is None or (partners and response is None):
            return None
        return Requirement(
            name,
            sentence,
            pattern,
            term,
            text,
            without,
            place,
            response,
            response_text,
            span,
            within=self._within(record) if pattern == "whenever" else None,
        )

    def _condition(self, node: Node | None, scope: Scope) -> tuple[Term | None, str]:
        """A condition and its text as written."""
        term = condition(self._shapes, self._phrases, scope, node)
        return term, self._phrases.shown(node) if term is not None else ""

    def _span(self, node: Node | None) -> Span | None:
        """`globally`, or a mapping with before, after, between, or after and until."""
        if node is None or (isinstance(node, ScalarNode) and node.is_null):
            return Span()
        if isinstance(node, ScalarNode):
            self._shapes.choice(node, "a scope", ("globally",), "globally")
            return Span()
        record = self._shapes.record(node, "a scope", SPAN_KEYS)
        if record is None:
            return None
        keys = tuple(key for key in SPAN_KEYS if record.get(key) is not None)
        if keys == ("between",):
            return self._between(record.entries["between"])
        kinds = {("before",): "before", ("after",): "after", ("after", "until"): "after_until"}
        if set(record.entries) - set(SPAN_KEYS):
            return None  # an unknown key has already been noted
        if keys not in kinds:
            expected = "'before', 'after', 'after' and 'until', or 'between'"
            message = f"a scope with {' and '.join(map(repr, keys)) or 'no keys'}"
            self._shapes.notes.add(message, node.place, expected=expected)
            return None
        closing = record.get("before") if "before" in keys else record.get("until")
        return self._spanned(kinds[keys], record.get("after"), closing)

    def _between(self, node: Node) -> Span | None:
        if isinstance(node, SequenceNode) and len(node.items) == 2:
            return self._spanned("between", *node.items)
        given = len(node.items) if isinstance(node, SequenceNode) else 0
        message = (
            f"a list of {given} cannot be used as 'between'"
            if given
            else f"{kind_of(node)} cannot be used as 'between'"
        )
        expected = "[opening condition, closing condition]"
        self._shapes.notes.add(message, node.place, expected=expected)
        return None

    def _spanned(self, kind: str, opening: Node | None, closing: Node | None) -> Span | None:
        opens, opens_text = self._condition(opening, self._scope)
        closes, closes_text = self._condition(closing, self._scope)
        if (opening is not None and opens is None) or (closing is not None and closes is None):
            return None
        words = {
            "before": f"before {closes_text}",
            "after": f"after {opens_text}",
            "between": f"between {opens_text} and {closes_text}",
            "after_until": f"after {opens_text} until {closes_text}",
        }
        return Span(kind, opens, closes, words[kind])


def on_circles(below: dict[str, tuple[str, ...]]) -> list[str]:
    """The names that lie on a cycle."""
    found = []
    for name in below:
        reached = list(below[name])
        for one in reached:
            reached += [other for other in below.get(one, ()) if other not in reached]
        if name in reached:
            found.append(name)
    return found
