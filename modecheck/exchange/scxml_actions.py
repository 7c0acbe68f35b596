"""What a rule does as the executable content of a transition: assign, send, cancel."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from typing import TypeAlias

from modecheck.exchange.ecmascript_terms import EcmaTerms
from modecheck.exchange.scxml_timers import TimedRule, send_later
from modecheck.exchange.scxml_words import DEVICE, EventNames, dotted
from modecheck.exchange.xml_elements import XmlElement
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.rule_effects import Assignment, Send, Target
from modecheck.model.terms import (
    Constant,
    InState,
    Operation,
    ReadVariable,
    Term,
    parts_of,
)
from modecheck.model.values import ValueType

_Written: TypeAlias = tuple[Target, Term]


class ActionWriter:
    """Writes what the rules of one chip do."""

    def __init__(self, device: Device, chip: Chip, names: EventNames, terms: EcmaTerms) -> None:
        self._device = device
        self._chip = chip
        self._names = names
        self._terms = terms

    @cached_property
    def scratch(self) -> tuple[str, ...]:
        """Variables that hold values which are assigned simultaneously, before they are."""
        sizes = [
            len(one.targets)
            for rule in self._chip.rules
            for one in rule.assignments
            if _in_order(_pairs(one)) is None
        ]
        taken = {self._terms.variable(name) for name in self._chip.variables}
        taken |= {*self._chip.states}
        names = (f"next_{n}" for n in range(1, 1000))
        free = (name for name in names if name not in taken)
        return tuple(next(free) for _ in range(max(sizes, default=0)))

    def payload(self, rule: Rule) -> ValueType | None:
        """The type of the value that the message or signal of a rule carries, if it carries one."""
        types = [
            link.carries[event.name].type
            for event in rule.trigger
            for link in self._device.links.values()
            if link.receiver == self._chip.name
            and event.link in (None, link.name)
            and event.name in link.carries
        ]
        types += [self._device.shared.signal_type(e.name) for e in rule.trigger if e.link is None]
        return next((one for one in types if one is not None), None)

    def write(self, inside: XmlElement, rule: Rule, source: str, timed: TimedRule | None) -> None:
        """All that a rule does, taken in its state `source`, "" being the whole chip."""
        payload = self.payload(rule)
        for assignment in rule.assignments:
            self._assign(inside, self._decided(assignment, rule, source), payload)
        for given in rule.signalled:
            value = given.value
            if value is not None and rule.target is not None:
                value = _in_source(value, self._chip, source)
            self._signal(inside, given.signal, value, payload)
        for send in self._broadcast_once(rule.sends):
            value = send.value
            if value is not None and rule.target is not None:
                value = _in_source(value, self._chip, source)
            self._send(inside, send, value, payload)
        for timer in rule.stops:
            if timer not in rule.starts:
                inside.add("cancel", sendid=f"{self._names.timer}.{timer}")
        for timer in rule.starts:
            event = f"{self._names.timer}.{timer}"
            inside.add("cancel", sendid=event)
            send_later(inside, event, self._chip.timers[timer].duration)
        if timed is not None and rule.target is None:
            send_later(inside, timed.event, timed.duration)

    def judged(self, rule: Rule) -> bool:
        """Whether what a rule assigns or sends depends on the chip's own state, which a transition
        with a target has left by then, and its source does not decide it.
        """
        sources = rule.sources or ("",)
        values = [value for one in rule.assignments for value in one.values]
        values += [send.value for send in rule.sends if send.value is not None]
        values += [given.value for given in rule.signalled if given.value is not None]
        return rule.target is not None and any(
            isinstance(part, InState) and part.chip == self._chip.name
            for source in sources
            for value in values
            for part in parts_of(_in_source(value, self._chip, source))
        )

    def _decided(self, assignment: Assignment, rule: Rule, source: str) -> Sequence[_Written]:
        """Targets and values; where the source decides in which state the chip is, it is known."""
        pairs = _pairs(assignment)
        if rule.target is None:
            return pairs
        return [(target, _in_source(value, self._chip, source)) for target, value in pairs]

    def _assign(
        self, inside: XmlElement, pairs: Sequence[_Written], payload: ValueType | None
    ) -> None:
        together = str(len(pairs)) if len(pairs) > 1 else ""
        ordered = _in_order(pairs)
        if ordered is None:
            for name, (target, value) in zip(self.scratch, pairs, strict=False):
                text = self._value(target, value, payload)
                inside.add("assign", location=name, expr=text, chip_together=together)
                together = ""
            for name, (target, _) in zip(self.scratch, pairs, strict=False):
                inside.add("assign", location=self._location(target, payload), expr=name)
            return
        for target, value in ordered:
            location = self._location(target, payload)
            text = self._value(target, value, payload)
            inside.add("assign", location=location, expr=text, chip_together=together)
            together = ""

    def _value(self, target: Target, value: Term, payload: ValueType | None) -> str:
        type_ = self._chip.variables[target.variable].type
        return self._terms.value(value, type_, payload)

    def _location(self, target: Target, payload: ValueType | None) -> str:
        read = ReadVariable(self._chip.name, target.variable, target.index)
        return self._terms.value(read, None, payload)

    def _send(
        self, inside: XmlElement, send: Send, value: Term | None, payload: ValueType | None
    ) -> None:
        type_ = self._device.links[send.link].carries[send.message].type
        self._given(inside, self._names.sent(send), value, type_, payload)

    def _signal(
        self, inside: XmlElement, signal: str, value: Term | None, payload: ValueType | None
    ) -> None:
        type_ = self._device.shared.signal_type(signal)
        self._given(inside, dotted(signal), value, type_, payload)

    def _given(
        self,
        inside: XmlElement,
        event: str,
        value: Term | None,
        type_: ValueType | None,
        payload: ValueType | None,
    ) -> None:
        element = inside.add("send", event=event, target=DEVICE)
        if value is not None:
            text = self._terms.value(value, type_, payload)
            element.add("param", name="value", expr=text)

    def _broadcast_once(self, sends: Iterable[Send]) -> Iterator[Send]:
        """A broadcast is one send, not one for each receiver."""
        seen = set()
        for send in sends:
            key = (send.place, send.text) if self._device.links[send.link].broadcast else send
            if key not in seen:
                seen.add(key)
                yield send


def _variables_read(pair: _Written) -> set[str]:
    """The names of all variables that a value and the index of its target read."""
    target, value = pair
    terms = (value, *((target.index,) if target.index is not None else ()))
    return {
        part.variable for term in terms for part in parts_of(term) if isinstance(part, ReadVariable)
    }


def _in_order(pairs: Sequence[_Written]) -> list[_Written] | None:
    """An order in which they can be assigned one by one: none is read after it was written."""
    left, ordered = list(pairs), []
    while left:
        for one in left:
            others = [other for other in left if other is not one]
            if not any(one[0].variable in _variables_read(other) for other in others):
                break
        else:
            return None
        left = others
        ordered.append(one)
    return ordered


def _pairs(assignment: Assignment) -> list[_Written]:
    return list(zip(assignment.targets, assignment.values, strict=True))


def _in_source(term: Term, chip: Chip, source: str) -> Term:
    """The term where the chip is in a state: tests for a state that it decides are known."""
    if isinstance(term, InState) and term.chip == chip.name:
        leaves = set(chip.states[source].leaves if source else chip.leaves)
        if leaves <= term.leaves:
            return Constant(1)
        return term if leaves & term.leaves else Constant(0)
    if isinstance(term, Operation):
        arguments = tuple(_in_source(one, chip, source) for one in term.arguments)
        return Operation(term.operator, arguments)
    return term
