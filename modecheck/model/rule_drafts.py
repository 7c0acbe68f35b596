"""The first pass over the rules of a chip: the state in which each applies, its title and
its signals.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.model.choices import BranchDraft, ChoiceDraft, branches_of
from modecheck.model.copies import is_each, numbered, unnumbered
from modecheck.model.each import each
from modecheck.model.keys import keys_of
from modecheck.model.outlines import StateReading, is_nothing
from modecheck.model.phrases import Phrases
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import (
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    kind_of,
    shortened,
)

WAITING = ("after", "period", "expires")
"""Keys of a rule that waits for time."""
EFFECTS = ("to", "do", "send", "signal", "start", "stop")
"""What a rule may do; one with `choose` does it in its branches."""
CONSUMING = ("on", *WAITING)
"""Keys of a rule that consumes something: a message, a signal, the expiry of a timer."""
WORD = r"[^\W\d]\w*(?:\[\d+\])?"
EVENT = re.compile(rf"({WORD})(?:\s+via\s+({WORD}))?")


@dataclass(frozen=True, slots=True)
class SignalDraft:
    """A signal by its name, and where it is written, perhaps with a value."""

    signal: str
    written: ScalarNode


@dataclass(frozen=True, slots=True)
class RuleDraft:
    """A rule whose names have not been resolved yet; `sources` is empty for the whole chip.

    `phrases` are those of its chip, or of one copy of others that the rule is written for. A branch
    of a rule is one, too, which knows its place in the `choice`.
    """

    title: str
    node: MappingNode
    sources: tuple[str, ...]
    signalled: tuple[SignalDraft, ...]
    phrases: Phrases
    choice: ChoiceDraft | None = None

    @property
    def signals(self) -> tuple[str, ...]:
        """The names of what it signals."""
        return tuple(draft.signal for draft in self.signalled)


@dataclass(frozen=True, slots=True)
class _ForEach:
    """Rules that are written once for each copy of a chip."""

    key: ScalarNode
    node: Node


def name_of_signal(text: str) -> str:
    """The signal in a text such as `level(count + 1)`."""
    return text.partition("(")[0].rstrip()


def has_effect(node: MappingNode) -> bool:
    """Whether a rule changes, sends or signals anything."""
    return any(not is_nothing(node.get(key)) for key in EFFECTS)


class RuleDrafts:
    """The first pass over the rules of one chip: where each applies and what it signals."""

    def __init__(self, shapes: Shapes, phrases: Phrases, reading: StateReading) -> None:
        self._shapes = shapes
        self._phrases = phrases
        self._reading = reading

    def read(self, body: MappingNode) -> list[RuleDraft]:
        """All rules, in document order, each with a title that is unique in the chip."""
        drafts: list[RuleDraft] = []
        for key in body.entries:
            if key == "rules":
                drafts += self._rules(body.get("rules"), None)
            elif key == "states":
                for state, inner in self._reading.bodies.items():
                    drafts += self._rules(inner.get("rules"), state)
        unique = _with_unique_titles(drafts)
        return [one for draft in unique for one in self._with(draft.phrases)._branches(draft)]

    def _with(self, phrases: Phrases) -> RuleDrafts:
        return RuleDrafts(self._shapes, phrases, self._reading)

    def _rules(self, node: Node | None, state: str | None) -> Iterator[RuleDraft]:
        for name, rule in self._entries(node):
            if isinstance(rule, _ForEach):
                yield from self._for_each(rule, state)
                continue
            what = f"the rule {name.text!r}" if name else "a rule"
            record = self._shapes.record(rule, what, keys_of("rule"))
            if record is not None:
                yield self._draft(name, record, state)

    def _for_each(self, rules: _ForEach, state: str | None) -> Iterator[RuleDraft]:
        """The rules under `each tile`, once for each of them."""
        for number, phrases in each(self._shapes, self._phrases, rules.key):
            for draft in self._with(phrases)._rules(rules.node, state):
                yield replace(draft, title=numbered(draft.title, number))

    def _entries(self, node: Node | None) -> Iterator[tuple[ScalarNode | None, Node | _ForEach]]:
        if isinstance(node, SequenceNode):
            for item in node.items:
                if isinstance(item, ScalarNode) and item.is_null:
                    self._shapes.notes.add(
                        "an empty value cannot be used as a rule", item.place, expected="a mapping"
                    )
                else:
                    yield None, _for_each(item) or item
        elif isinstance(node, MappingNode):
            yield from self._named_entries(node)
        elif node is not None:
            expected = "a list of rules, or a mapping of named rules"
            self._shapes.notes.add(
                f"{kind_of(node)} cannot be used as rules", node.place, expected=expected
            )

    def _named_entries(
        self, node: MappingNode
    ) -> Iterator[tuple[ScalarNode | None, Node | _ForEach]]:
        for name, child in node.entries.items():
            key = node.keys[name]
            if is_each(name):
                yield None, _ForEach(key, child)
            elif isinstance(child, ScalarNode) and child.is_null:
                message = f"there is no rule {shortened(name)!r} to remove"
                self._shapes.notes.add(message, key.place, expected="a rule")
            elif self._shapes.identifier(key, "the name of a rule"):
                yield key, child

    def _draft(self, key: ScalarNode | None, node: MappingNode, state: str | None) -> RuleDraft:
        self._note_empty_lists(node)
        self._note_no_effect(key, node)
        sources = self._sources(node, state)
        title = self._title(key, node, sources)
        return RuleDraft(title, node, sources, self._signals(node), self._phrases)

    def _signals(self, node: MappingNode) -> tuple[SignalDraft, ...]:
        written = self._shapes.scalars(node.get("signal"), "a signal", "the name of a signal")
        named = [(self._signal(scalar), scalar) for scalar in written]
        return tuple(SignalDraft(name, scalar) for name, scalar in named if name)

    def _branches(self, draft: RuleDraft) -> Iterator[RuleDraft]:
        """The branches of a rule with `choose`; any other rule itself."""
        if draft.node.get("choose") is None:
            yield draft
            return
        for effect in EFFECTS:
            if draft.node.get(effect) is not None:
                message = f"a rule with 'choose' cannot have {effect!r}"
                expected = f"{effect!r} in each branch that does it"
                self._shapes.notes.add(message, draft.node.keys[effect].place, expected=expected)
        for branch in branches_of(self._shapes, draft.node, draft.title):
            self._note_idle(draft.node, branch)
            signals = self._signals(branch.written)
            yield RuleDraft(
                branch.title, branch.alone, draft.sources, signals, self._phrases, branch.choice
            )

    def _note_idle(self, rule: MappingNode, branch: BranchDraft) -> None:
        """A branch may do nothing where the rule consumes an event."""
        consumes = any(rule.get(key) is not None for key in CONSUMING)
        if consumes or has_effect(branch.written):
            return
        message = f"the branch {branch.title!r} does nothing"
        place, expected = branch.written.place, f"one of {', '.join(EFFECTS)}"
        self._shapes.notes.add(message, place, expected=expected)

    def _signal(self, scalar: ScalarNode) -> str | None:
        """The name of a signal, perhaps with the number of the copy that it is for."""
        filled = self._phrases.fill(replace(scalar, text=name_of_signal(scalar.text)))
        common = replace(filled, text=unnumbered(filled.text))
        known = self._shapes.identifier(common, "the name of a signal")
        return filled.text if known else None

    def _note_empty_lists(self, node: MappingNode) -> None:
        """An empty list is ambiguous: it could mean never, or at any time."""
        for key in ("in", "on", "after", "period"):
            given = node.get(key)
            if isinstance(given, SequenceNode) and not given.items:
                message = f"an empty list cannot be used as {key!r}"
                self._shapes.notes.add(message, given.place, expected=f"a word, or no {key!r}")

    def _note_no_effect(self, key: ScalarNode | None, node: MappingNode) -> None:
        """A rule without effect would only hide that the chip is stuck."""
        consumes = any(node.get(key) is not None for key in CONSUMING)
        does = has_effect(node) or node.get("choose") is not None
        if does or consumes or not set(node.entries) <= keys_of("rule").keys():
            return
        message = f"the rule {key.text!r} does nothing" if key else "this rule does nothing"
        place = key.place if key else node.place
        expected = (
            f"one of {', '.join(EFFECTS)} or choose; "
            f"or one of {', '.join(CONSUMING)}, to consume an event"
        )
        self._shapes.notes.add(message, place, expected=expected)

    def _sources(self, node: MappingNode, state: str | None) -> tuple[str, ...]:
        given = node.get("in")
        if given is None:
            return (state,) if state is not None else ()
        if state is not None:
            message = f"this rule is inside {state!r}, so it cannot have 'in'"
            self._shapes.notes.add(message, node.keys["in"].place, expected="no 'in' here")
            return (state,)
        scalars = self._shapes.scalars(given, "a state", "the name of a state")
        names = (self._state(scalar) for scalar in scalars)
        return tuple(dict.fromkeys(name for name in names if name))

    def _state(self, scalar: ScalarNode) -> str | None:
        return self._shapes.known(self._phrases.fill(scalar), "state", self._reading.states)

    def _title(self, key: ScalarNode | None, node: MappingNode, sources: tuple[str, ...]) -> str:
        named = node.get("name")
        scalar = self._shapes.scalar(named, "name", "the name of a rule") if named else None
        own = self._shapes.identifier(scalar, "the name of a rule") if scalar else None
        if key is not None or own is not None:
            return key.text if key is not None else str(own)
        on = self._shapes.scalars(node.get("on"), "an event", "the name of an event")
        kind = next((key for key in WAITING if node.get(key) is not None), "step")
        what = EVENT.match(self._phrases.fill(on[0]).text) if on else None
        return f"{sources[0] if sources else 'any'}:{what[1] if what else kind}"


def _for_each(item: Node) -> _ForEach | None:
    """In a list of rules: `each tile: [rules]`."""
    if not (isinstance(item, MappingNode) and len(item.keys) == 1 and is_each(*item.keys)):
        return None
    (key,) = item.keys.values()
    return _ForEach(key, item.entries[key.text])


def _with_unique_titles(drafts: list[RuleDraft]) -> list[RuleDraft]:
    """Equal titles are numbered, `searching:hello`, `searching:hello#2`."""
    seen: dict[str, int] = {}
    unique = []
    for draft in drafts:
        seen[draft.title] = count = seen.get(draft.title, 0) + 1
        unique.append(draft if count == 1 else replace(draft, title=f"{draft.title}#{count}"))
    return unique
