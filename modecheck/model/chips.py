"""Read chips: the file or the body in place, its parameters, and its outline."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Mapping as MappingType
from dataclasses import dataclass, replace

from modecheck.model.copies import OWN_NUMBER
from modecheck.model.each import Entry
from modecheck.model.errors import Notebook
from modecheck.model.key_readers import KeyReader
from modecheck.model.keys import keys_of
from modecheck.model.laying import Laying
from modecheck.model.outlines import OutlineReader, StateReading
from modecheck.model.overlays import beside, overlay, read_document
from modecheck.model.parts import Chip, Reply, Rule, State
from modecheck.model.phrases import Phrases
from modecheck.model.places import Place
from modecheck.model.rule_drafts import RuleDraft, RuleDrafts
from modecheck.model.rules import ChipWiring, RuleReader
from modecheck.model.scopes import ChipOutline, Scope
from modecheck.model.shapes import Shapes
from modecheck.model.shared_readers import read_constants
from modecheck.model.shared_values import NOTHING_SHARED, SharedValues
from modecheck.model.variables import Variable
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, kind_of

MANNERS = {"discards": "discard", "defers": "defer"}


@dataclass(frozen=True, slots=True)
class ChipDraft:
    """A chip whose rules have not been resolved yet."""

    name: str
    actor: bool
    body: MappingNode
    phrases: Phrases
    reading: StateReading
    outline: ChipOutline
    initials: tuple[str, ...]
    rules: tuple[RuleDraft, ...]
    place: Place
    parameter_places: MappingType[str, Place]


def _behaviour(entry: MappingNode) -> MappingNode:
    """The keys of an entry that describe behaviour, without its file and parameters."""
    return MappingNode(
        {name: node for name, node in entry.entries.items() if name in keys_of("behaviour")},
        {name: key for name, key in entry.keys.items() if name in keys_of("behaviour")},
        entry.place,
    )


class ChipReader:
    """Reads the chips of one device. Each file is read from disk once."""

    def __init__(
        self, notes: Notebook, device_file: str, shared: SharedValues = NOTHING_SHARED
    ) -> None:
        self._shared = shared
        self._notes = notes
        self._shapes = Shapes(notes)
        self._device_file = device_file
        self._files: dict[str, MappingNode | None] = {}

    def draft(self, entry: Entry, *, actor: bool) -> ChipDraft | None:
        """The chip of an entry, or None if it cannot be read at all."""
        kind, name, key = "actor" if actor else "chip", entry.name, entry.key
        record = self._shapes.record(
            entry.node, f"the {kind} {name!r}", keys_of("entry", "behaviour")
        )
        if record is not None and not {"file", *keys_of("behaviour")} & set(record.entries):
            message = f"the {kind} {name!r} has no behaviour"
            self._notes.add(message, record.place, expected="'file' or 'states'")
            return None
        body = self._body(record, f"{kind} {name}") if record is not None else None
        if record is None or body is None:
            return None
        places: dict[str, Place] = {}
        parameters = self._parameters(body, record, places, entry)
        phrases = Phrases(self._notes, parameters, entry.phrases.copies)
        constants = read_constants(self._shapes, phrases, body.get("constants"))
        shared = replace(self._shared, constants={**self._shared.constants, **constants})
        reader = OutlineReader(self._shapes, phrases, shared)
        reading = reader.states(body)
        variables = reader.variables(body)
        self._note_clashes(phrases, variables, reading.states, places)
        for name in shared.constants.keys() & variables.keys():
            message, place = f"{name!r} is a constant and a variable", variables[name].place
            self._notes.add(message, place, expected="different names")
        tops = [state.name for state in reading.states.values() if state.parent is None]
        initials = reader.initial(body, tops, reading)
        rules = RuleDrafts(self._shapes, phrases, reading).read(body)
        if not initials:
            return None
        declared = body.get("variables")
        names = declared.entries if isinstance(declared, MappingNode) else ()
        unread = frozenset(names) - set(variables)
        timers = reader.timers(body)
        outline = ChipOutline(name, reading.states, variables, unread, timers, shared.constants)
        return ChipDraft(
            name, actor, body, phrases, reading, outline, initials, tuple(rules), key.place, places
        )

    def _note_clashes(
        self,
        phrases: Phrases,
        variables: MappingType[str, Variable],
        states: MappingType[str, State],
        places: MappingType[str, Place],
    ) -> None:
        for name in phrases.parameters:
            if name not in variables:
                continue
            message = f"{name!r} is a parameter and a variable"
            if name not in places:
                message = f"{name!r} is the number of the copy and a variable"
            self._notes.add(
                message, places.get(name, variables[name].place), expected="different names"
            )
        # A rule that leads to a state of this name would lead to one called `1`.
        if OWN_NUMBER in states and OWN_NUMBER in {*phrases.parameters} - {*places}:
            message = f"{OWN_NUMBER!r} is the number of the copy and a state"
            self._notes.add(message, states[OWN_NUMBER].place, expected="different names")

    def _body(self, record: MappingNode, what: str) -> MappingNode | None:
        """The chip's file with the entry laid over it, then each overlay of the entry in turn, so
        that each is checked against what lies beneath it.
        """
        layers = [_behaviour(layer) for layer in record.layers or (record,)]
        node = record.get("file")
        if node is None:
            body, *layers = layers
            named_in = body.place.file
        else:
            scalar = self._shapes.scalar(node, "file", "the name of a chip file")
            document = self._document(scalar, what) if scalar is not None else None
            if document is None:
                return None
            body, named_in = document, node.place.file
        for layer in layers:
            laying = Laying(self._notes, body, what, overlay=layer.place.file != named_in)
            body = overlay(body, layer, laying.observer())
        return body

    def _document(self, scalar: ScalarNode, what: str) -> MappingNode | None:
        path = beside(scalar, scalar.text)
        if path not in self._files:
            self._files[path] = self._read_file(path, scalar, what)
        return self._files[path]

    def _read_file(self, path: str, named_by: ScalarNode, what: str) -> MappingNode | None:
        document = read_document(
            path,
            self._notes,
            named_at=named_by.place,
            chain=(self._device_file,),
            watching=lambda base: Laying(self._notes, base, what).observer(),
        )
        if document is None:
            return None
        if "device" in document.entries:
            message = f"{path!r} is a device file"
            self._notes.add(message, named_by.place, expected="a chip file")
            return None
        record = self._shapes.record(document, "a chip file", keys_of("chip_file", "behaviour"))
        if record is not None and not {"chip", "actor"} & set(record.entries):
            message = "the file declares neither a chip nor an actor"
            expected = "the key 'chip' or 'actor' with a name"
            self._notes.add(message, record.place, expected=expected)
        for key in ("chip", "actor"):
            if record is not None and key in record.entries:
                self._shapes.scalar(
                    record.entries[key], key, "the name of the kind that the file describes"
                )
        return record

    def _parameters(
        self, body: MappingNode, record: MappingNode, places: dict[str, Place], entry: Entry
    ) -> dict[str, str]:
        """Every parameter's value as text: from `with`, else the default. A copy has its number as
        well.
        """
        phrases = entry.phrases
        values = {OWN_NUMBER: str(entry.number)} if entry.number else {}
        declared = self._shapes.mapping(body.get("parameters"), "parameters")
        for name, key, node in self._shapes.named(body.get("parameters"), "parameters"):
            places[name] = key.place
            if not isinstance(node, ScalarNode):
                expected = "a word, a number, or an empty value if the device must give one"
                self._notes.add(
                    f"{kind_of(node)} cannot be used as a parameter", node.place, expected=expected
                )
                values[name] = name
            elif not node.is_null:
                values[name] = phrases.value_of(node)
        given = self._shapes.named(record.get("with"), "with")
        for name, key, node in given:
            if declared is not None and name not in declared.entries:
                message = f"the chip has no parameter {name!r}"
                self._notes.add(message, key.place, word=name, choices=declared.entries)
            scalar = self._shapes.scalar(node, f"the parameter {name!r}", "a word or a number")
            if scalar is not None:
                values[name] = phrases.value_of(scalar)
                places.setdefault(name, key.place)
        for name in places:
            if name not in values:
                values[name] = name
                message = f"no value for the parameter {name!r}"
                self._notes.add(message, record.place, expected=f"with: {{{name}: …}}")
        return values

    def finish(self, draft: ChipDraft, scope: Scope, wiring: ChipWiring) -> Chip:
        """The chip with its rules and replies resolved."""
        readers = {
            id(phrases): RuleReader(self._shapes, phrases, scope, draft.outline, wiring)
            for phrases in (draft.phrases, *(rule.phrases for rule in draft.rules))
        }
        rules: list[Rule] = [readers[id(rule.phrases)].rule(rule) for rule in draft.rules]
        reader = readers[id(draft.phrases)]
        return Chip(
            name=draft.name,
            actor=draft.actor,
            states=dict(draft.reading.states),
            initial=draft.initials[0],
            initials=draft.initials if len(draft.initials) > 1 else (),
            variables=dict(draft.outline.variables),
            rules=tuple(rules),
            replies=self._replies(draft, reader),
            place=draft.place,
            timers=dict(draft.outline.timers),
            constants={
                name: one
                for name, one in draft.outline.constants.items()
                if self._shared.constants.get(name) is not one
            },
            **KeyReader(self._shapes, draft.phrases).values(keys_of("behaviour"), draft.body),
        )

    def _replies(self, draft: ChipDraft, reader: RuleReader) -> dict[str, tuple[Reply, ...]]:
        replies: dict[str, list[Reply]] = {}
        for key, manner in MANNERS.items():
            for state, node in self._reply_nodes(draft, key):
                for scalar in self._shapes.scalars(node, "an event", "the name of an event"):
                    event = reader.event(scalar)
                    if event is not None:
                        reply = Reply(event, manner, scalar.place)
                        replies.setdefault(state, []).append(reply)
        self._note_contradictions(replies)
        return {state: tuple(found) for state, found in replies.items()}

    def _reply_nodes(self, draft: ChipDraft, key: str) -> Iterator[tuple[str, Node | None]]:
        """The events of the whole chip ("") and of its states, each where it stands."""
        nodes: list[tuple[str | None, Node | None]] = [("", draft.body.get(key))]
        whole = draft.body.get(key)
        if isinstance(whole, MappingNode):
            known, fill = draft.reading.states, draft.phrases.fill
            nodes = [
                (self._shapes.known(fill(whole.keys[name]), "state", known), child)
                for name, child in whole.entries.items()
            ]
        nodes += [(state, body.get(key)) for state, body in draft.reading.bodies.items()]
        for state, node in nodes:
            if state is not None and isinstance(node, MappingNode):
                message = f"{kind_of(node)} cannot be used as events"
                self._notes.add(message, node.place, expected="a list of events")
            elif state is not None:
                yield state, node

    def _note_contradictions(self, replies: dict[str, list[Reply]]) -> None:
        for state, found in replies.items():
            manners: dict[str, str] = {}
            for reply in found:
                first = manners.setdefault(str(reply.event), reply.manner)
                if first != reply.manner:
                    where = f"in {state!r}" if state else "everywhere"
                    message = f"{str(reply.event)!r} is both discarded and deferred {where}"
                    self._notes.add(message, reply.place, expected="one of the two")
