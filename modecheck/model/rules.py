"""Resolve the rules of a chip: events, conditions, assignments, sends, targets.

This needs the outlines of all chips, the links and the signals of the whole device.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from collections.abc import Mapping as MappingType
from dataclasses import dataclass, replace
from functools import partial

from modecheck.model.choices import ChoiceDraft
from modecheck.model.conditions import condition
from modecheck.model.copies import copy_number, numbered
from modecheck.model.key_readers import KeyReader
from modecheck.model.keys import keys_of
from modecheck.model.links import CORRUPTED
from modecheck.model.meaning import understand
from modecheck.model.parts import Branch, Event, Link, Rule
from modecheck.model.phrases import Phrases
from modecheck.model.rule_drafts import EVENT, WAITING, RuleDraft, SignalDraft
from modecheck.model.rule_effects import Assignment, GivenSignal, Send, Target
from modecheck.model.scopes import ChipOutline, MeaningError, Scope, Unknowable
from modecheck.model.shapes import Shapes
from modecheck.model.syntax import (
    AssignmentText,
    Name,
    SendText,
    Tree,
    parse_assignment,
    parse_send,
    parse_signal,
)
from modecheck.model.terms import Term
from modecheck.model.times import Duration
from modecheck.model.values import ValueType
from modecheck.model.yaml_nodes import MappingNode, ScalarNode, SequenceNode, shortened


@dataclass(frozen=True, slots=True)
class ChipWiring:
    """What a chip is connected to: all links, and every signal of the device."""

    links: MappingType[str, Link]
    signals: frozenset[str]


class RuleReader:
    """The second pass: resolves the names in one chip's rules."""

    def __init__(
        self, shapes: Shapes, phrases: Phrases, scope: Scope, own: ChipOutline, wiring: ChipWiring
    ) -> None:
        self._shapes = shapes
        self._notes = shapes.notes
        self._phrases = phrases
        self._own = own
        self._scope = replace(scope, own=own, parameters=phrases.parameters, copies=phrases.copies)
        self._wiring = wiring
        self._outgoing = {n: k for n, k in wiring.links.items() if k.sender == own.name}
        self._incoming = {n: k for n, k in wiring.links.items() if k.receiver == own.name}

    def rule(self, draft: RuleDraft) -> Rule:
        """The rule of a draft; parts with errors are left out of it."""
        node = draft.node
        trigger = self._trigger(node)
        scope = replace(self._scope, in_event=bool(trigger), payload=self._payload(trigger))
        waiting = self._waiting(node, trigger)
        return Rule(
            title=draft.title,
            chip=self._own.name,
            sources=draft.sources,
            trigger=trigger,
            after=self._after(node, waiting),
            assignments=self._assignments(node, scope),
            sends=self._sends(node, scope),
            signalled=tuple(self._signals(draft, scope)),
            mentions=self._mentions(node, draft.choice),
            branch=self._branch(draft.choice, scope),
            place=node.place,
            periodic=waiting == "period",
            **KeyReader(self._shapes, self._phrases, scope).values(keys_of("rule"), node),
        )

    def _trigger(self, node: MappingNode) -> tuple[Event, ...]:
        scalars = self._shapes.scalars(node.get("on"), "an event", "the name of an event")
        events = (self.event(scalar) for scalar in scalars)
        return tuple(event for event in events if event is not None)

    def event(self, scalar: ScalarNode) -> Event | None:
        """A message that some link carries to this chip, or a signal of the device."""
        filled = self._phrases.fill(scalar)
        match = EVENT.fullmatch(filled.text.strip())
        if match is None:
            message = f"{shortened(filled.text)!r} is not an event"
            self._notes.add(
                message, scalar.place, expected="a name, optionally with 'via' and a link"
            )
            return None
        name, via = match[1], match[2]
        if via is not None:
            return self._event_via(filled, name, self._phrases.link_of(via))
        messages = {name for link in self._incoming.values() for name in link.carries}
        known = messages | self._wiring.signals
        if name in known:
            return Event(name)
        if self._scope.broken:
            return None
        self._notes.add(f"unknown event {name!r}", scalar.place, word=name, choices=known)
        return None

    def _event_via(self, scalar: ScalarNode, name: str, via: str) -> Event | None:
        called = {link.called: link for link in self._incoming.values()}
        link = called.get(via)
        if via in self._scope.broken:
            return None
        carriers = _carriers(name, called)
        if link is None:
            message = f"{via!r} is not a link to {self._own.name}"
            expected = "" if self._incoming else "a link to this chip (there is none)"
            choices = carriers or called
            self._notes.add(message, scalar.place, word=via, choices=choices, expected=expected)
        elif name not in link.carries:
            message = f"{via!r} does not carry {name!r}"
            expected = _over_others(name, carriers)
            self._notes.add(
                message, scalar.place, word=name, choices=link.carries, expected=expected
            )
        else:
            return Event(name, link.name)
        return None

    def _payload(self, trigger: tuple[Event, ...]) -> ValueType | None:
        """The type of `value`: the union over all messages and signals that can trigger the rule;
        None unless they all carry values of one type.
        """
        types = [
            link.carries[event.name].type
            for event in trigger
            for link in self._incoming.values()
            if event.link in (None, link.name) and event.name in link.carries
        ]
        types += [
            self._scope.shared.signal_type(event.name)
            for event in trigger
            if event.link is None and event.name in self._wiring.signals
        ]
        known = [type_ for type_ in types if type_ is not None]
        if not known or len(known) < len(types):
            return None
        first = known[0]
        if any(type_.kind != first.kind or type_.words != first.words for type_ in known):
            return None
        low, high = min(t.low for t in known), max(t.high for t in known)
        return replace(first, low=low, high=high)

    def _waiting(self, node: MappingNode, trigger: tuple[Event, ...]) -> str:
        """The key by which the rule waits for time, if any; it waits for one thing only."""
        given = [key for key in WAITING if node.get(key) is not None]
        if trigger and given:
            message = "a rule cannot wait for both an event and time"
            expected = f"'on' or {given[0]!r}"
            self._notes.add(message, node.keys[given[0]].place, expected=expected)
        elif len(given) > 1:
            message = f"a rule cannot have both {given[0]!r} and {given[1]!r}"
            self._notes.add(message, node.keys[given[1]].place, expected="one of them")
        return given[0] if given else ""

    def _after(self, node: MappingNode, waiting: str) -> Duration | None:
        if waiting not in ("after", "period"):
            return None
        given = node.get(waiting)
        scalars = self._shapes.scalars(given, "a duration", "a duration such as 20 ms")
        duration = self._phrases.interval(scalars) if scalars else None
        if duration is not None and waiting == "period" and not duration.low:
            self._notes.add("a period of zero length", duration.places[0], expected="more than 0")
        return duration

    def _branch(self, choice: ChoiceDraft | None, scope: Scope) -> Branch | None:
        if choice is None:
            return None
        given, *before = (
            condition(self._shapes, self._phrases, scope, node)
            for node in (choice.given, *choice.before)
        )
        known = tuple(term for term in before if term is not None)
        text = self._phrases.shown(choice.given)
        return Branch(choice.of, choice.number, given, text, known)

    def _mentions(self, node: MappingNode, choice: ChoiceDraft | None) -> frozenset[str]:
        """The options that the rule's texts mention."""
        nodes = [node.get(key) for key in ("if", "do", "send")]
        nodes += [choice.given, *choice.before] if choice is not None else []
        lists = [found.items if isinstance(found, SequenceNode) else [found] for found in nodes]
        scalars = [item for items in lists for item in items if isinstance(item, ScalarNode)]
        words = {word for scalar in scalars for word in re.findall(r"\w+", scalar.text)}
        return frozenset(words & set(self._scope.options))

    def _assignments(self, node: MappingNode, scope: Scope) -> tuple[Assignment, ...]:
        entries = self._shapes.scalars(
            node.get("do"), "an assignment", "an assignment such as x = 1"
        )
        found = (self._assignment(scalar, scope) for scalar in entries)
        return tuple(assignment for assignment in found if assignment is not None)

    def _assignment(self, scalar: ScalarNode, scope: Scope) -> Assignment | None:
        text = self._phrases.parse(scalar, parse_assignment)
        if text is None:
            return None
        return self._phrases.attempt(scalar, lambda: self._understood(text, scalar, scope))

    def _understood(self, text: AssignmentText, scalar: ScalarNode, scope: Scope) -> Assignment:
        targets, values = [], []
        for name, value in zip(text.targets, text.values, strict=True):
            target, type_ = self._assigned(name, scope)
            typed = understand(value, scope, type_)
            fits = typed.type.kind == type_.kind and typed.type.words == type_.words
            numeric = {typed.type.kind, type_.kind} <= {"number", "bond"}
            if not fits and not numeric:
                message = f"this is {typed.type}"
                raise MeaningError(message, value.offset, value.width, str(type_))
            targets.append(target)
            values.append(typed.term)
        shown = self._phrases.shown(scalar)
        return Assignment(tuple(targets), tuple(values), shown, scalar.place)

    def _assigned(self, name: Name, scope: Scope) -> tuple[Target, ValueType]:
        word = self._phrases.parameters.get(name.parts[0], name.parts[0])
        variables = self._own.variables
        if len(name.parts) > 1:
            message = f"a chip can write only its own variables, not {name.text!r}"
            raise MeaningError(message, name.offset, name.width, "a variable of this chip")
        if word in self._own.broken:
            raise Unknowable
        if word not in variables:
            message = f"this chip has no variable {word!r}"
            raise MeaningError(message, name.offset, name.width, "", word, variables)
        understand(replace(name, parts=(word,)), scope)
        index = understand(name.index, scope).term if name.index is not None else None
        return Target(word, index), variables[word].type

    def _sends(self, node: MappingNode, scope: Scope) -> tuple[Send, ...]:
        entries = self._shapes.scalars(
            node.get("send"), "a send", "a message such as hello via front_up"
        )
        found = (self._send(scalar, scope) for scalar in entries)
        return tuple(send for sends in found for send in sends)

    def _send(self, scalar: ScalarNode, scope: Scope) -> tuple[Send, ...]:
        """One send, or one for each receiver of a broadcast; none after noting an error."""
        text = self._phrases.parse(scalar, parse_send)
        if text is None:
            return ()
        understood = partial(self._understood_send, text, scalar, scope)
        return self._phrases.attempt(scalar, understood) or ()

    def _understood_send(
        self, text: SendText, scalar: ScalarNode, scope: Scope
    ) -> tuple[Send, ...]:
        parameters = self._phrases.parameters
        message = parameters.get(text.message.text, text.message.text)
        links = self._links_of(text, message)
        declared = links[0].carries[message].type
        value = _carried(replace(text.message, parts=(message,)), text.value, declared, scope)
        shown = f"{message}{self._shown_value(scalar)} via {links[0].called}"
        return tuple(Send(message, value, link.name, shown, scalar.place) for link in links)

    def _signals(self, draft: RuleDraft, scope: Scope) -> Iterator[GivenSignal]:
        """What a rule signals, without what has an error."""
        for one in draft.signalled:
            understood = partial(self._understood_signal, one, scope)
            given = self._phrases.attempt(one.written, understood)
            if given is not None:
                yield given

    def _understood_signal(self, draft: SignalDraft, scope: Scope) -> GivenSignal:
        written, name = draft.written, draft.signal
        text = self._phrases.parse(written, parse_signal)
        if text is None or scope.shared.is_unclear(name):
            raise Unknowable
        called = replace(text.signal, parts=(name,))
        value = _carried(called, text.value, scope.shared.signal_type(name), scope)
        shown = f"{name}{self._shown_value(written)}"
        return GivenSignal(name, value, shown, written.place)

    def _shown_value(self, scalar: ScalarNode) -> str:
        match = re.search(r"\(.*\)", self._phrases.shown(scalar))
        return match[0] if match else ""

    def _links_of(self, text: SendText, message: str) -> list[Link]:
        """The link that a message is sent over; of a broadcast, that to each receiver."""
        if message == CORRUPTED and any(link.corrupts for link in self._outgoing.values()):
            told = "no rule sends 'corrupted': a link delivers it when it has corrupted a message"
            raise _wrong(text.message, told, "a message that the link carries")
        if text.link is None:
            return self._only_link(text.message, message)
        name = self._named_link(text.link)
        links = [link for link in self._wiring.links.values() if link.called == name]
        if name in self._scope.broken:
            raise Unknowable
        outgoing = {link.called: link for link in self._outgoing.values()}
        carriers = _carriers(message, outgoing)
        choices = carriers or list(outgoing)
        link = links[0] if links else None
        if link is None:
            raise _wrong(text.link, f"unknown link {name!r}", "", name, choices)
        if link.sender != self._own.name:
            told = f"{name!r} is a link from {link.sender}, not from {self._own.name}"
            raise _wrong(text.link, told, "", name, choices)
        if message not in link.carries:
            told, expected = f"{name!r} does not carry {message!r}", _over_others(message, carriers)
            raise _wrong(text.message, told, expected, message, list(link.carries))
        return links

    def _named_link(self, name: Name) -> str:
        """The link that a send names, which is this copy's own unless a number says which."""
        if name.index is None:
            return self._phrases.link_of(name.text)
        copies, parameters = self._phrases.copies, self._phrases.parameters
        common = parameters.get(name.text, name.text)
        count = copies.counts.get(common)
        if count is None:
            raise _wrong(name, f"{common!r} has no copies", repr(common))
        return numbered(common, copy_number(name.index, common, count, parameters))

    def _only_link(self, name: Name, message: str) -> list[Link]:
        if self._scope.broken:
            raise Unknowable
        carrying = [link for link in self._outgoing.values() if message in link.carries]
        called = dict.fromkeys(link.called for link in carrying)
        if len(called) == 1:
            return carrying
        if carrying:
            links = ", ".join(called)
            raise _wrong(name, f"several links carry {message!r}", f"'via' and one of {links}")
        known = [message for link in self._outgoing.values() for message in link.carries]
        text = f"no link from {self._own.name} carries {message!r}"
        raise _wrong(name, text, "", message, known)


def _carried(name: Name, value: Tree | None, type_: ValueType | None, scope: Scope) -> Term | None:
    """The value that a message or a signal carries, if it carries one."""
    if value is None and type_ is not None:
        raise _wrong(name, f"{name.text!r} carries a value", f"{name.text}(value)")
    if value is None:
        return None
    if type_ is None:
        raise _wrong(name, f"{name.text!r} carries no value", "no parentheses")
    typed = understand(value, scope, type_)
    if typed.type.kind != type_.kind and type_.kind != "number":
        raise MeaningError(f"this is {typed.type}", value.offset, value.width, str(type_))
    return typed.term


def _carriers(message: str, links: MappingType[str, Link]) -> list[str]:
    """The links among these that carry the message."""
    return [name for name, link in links.items() if message in link.carries]


def _over_others(message: str, carriers: list[str]) -> str:
    """What is expected if a link does not carry a message that others do."""
    return " or ".join(f"'{message} via {name}'" for name in carriers)


def _wrong(
    name: Name, message: str, expected: str, word: str = "", choices: list[str] | None = None
) -> MeaningError:
    return MeaningError(message, name.offset, name.width, expected, word, choices or ())
