"""Read the section `chances`: the questions that `modecheck chances` answers in numbers."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from modecheck.model.claims import Chance
from modecheck.model.conditions import condition
from modecheck.model.key_readers import note_misfits
from modecheck.model.keys import keys_of
from modecheck.model.phrases import Phrases
from modecheck.model.scopes import Scope
from modecheck.model.shapes import Shapes
from modecheck.model.terms import Happens, Term
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode

KINDS = ("reach", "count", "latency")


class ChanceReader:
    """Reads questions; events are named as in requirements, `sent(hub.hello)`."""

    def __init__(self, shapes: Shapes, phrases: Phrases, scope: Scope) -> None:
        self._shapes = shapes
        self._phrases = phrases
        self._scope = scope
        self._states = replace(scope, steps=None)

    def read(self, node: Node | None) -> dict[str, Chance]:
        """Every valid question, by its name."""
        found = {}
        for name, key, child in self._shapes.named(node, "chances"):
            record = self._shapes.record(child, f"the question {name!r}", keys_of("chance"))
            chance = self._chance(name, key, record) if record is not None else None
            if chance is not None:
                found[name] = chance
        return found

    def _chance(self, name: str, key: ScalarNode, record: MappingNode) -> Chance | None:
        given = [kind for kind in KINDS if record.get(kind) is not None]
        if len(given) != 1:
            message = f"the question {name!r} has {'more than one kind' if given else 'no kind'}"
            self._shapes.notes.add(message, key.place, expected=f"one of {', '.join(KINDS)}")
            return None
        kind = given[0]
        note_misfits(self._shapes, keys_of("chance"), record, kind)
        until = self._state(record.get("reach" if kind == "reach" else "until"))
        event = self._event(record.get(kind)) if kind != "reach" else None
        answer = self._event(record.get("answer"))
        wanted = {"reach": (until,), "count": (until, event), "latency": (event, answer)}[kind]
        if None in wanted:
            return None
        sentence = record.get("text")
        said = sentence.text if isinstance(sentence, ScalarNode) else ""
        shown, within = self._shown(kind, record), self._within(record)
        return Chance(name, said, kind, until, event, answer, shown, key.place, within)

    def _within(self, record: MappingNode) -> Fraction | None:
        node = record.get("within")
        if node is None:
            return None
        scalar = self._shapes.scalar(node, "within", "a duration such as 20 ms")
        return self._phrases.duration(scalar) if scalar is not None else None

    def _state(self, node: Node | None) -> Term | None:
        return condition(self._shapes, self._phrases, self._states, node)

    def _event(self, node: Node | None) -> Happens | None:
        term = condition(self._shapes, self._phrases, self._scope, node)
        if term is None or isinstance(term, Happens):
            return term
        assert node is not None
        expected = "one event, such as sent(hub.hello) or signalled(step)"
        self._shapes.notes.add(
            "a condition where an event is needed", node.place, expected=expected
        )
        return None

    def _shown(self, kind: str, record: MappingNode) -> str:
        texts = [
            f"{key} {' '.join(node.text.split())}"
            for key in (kind, *keys_of("chance")[kind].beside)
            if isinstance(node := record.get(key), ScalarNode)
        ]
        return " ".join(texts)
