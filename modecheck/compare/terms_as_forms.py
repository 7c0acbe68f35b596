"""Expressions, events, assignments and sends of a model as forms.

A rule that waits for `hush` waits for every message of that name that a link brings to its chip,
and for the signal of that name: an event's form names each of them.
"""

from __future__ import annotations

from collections.abc import Iterable

from modecheck.compare.forms import Form, PartName, Together
from modecheck.model.event_calls import links_of
from modecheck.model.parts import Device, Event, Link
from modecheck.model.rule_effects import Assignment, GivenSignal, Send
from modecheck.model.terms import (
    Constant,
    Happens,
    InState,
    IsLate,
    Operation,
    Payload,
    ReadVariable,
)


class TermForms:
    """Converts the terms of one device to forms."""

    def __init__(self, device: Device) -> None:
        self._links = device.links
        self._signals = frozenset(device.signals)
        self._branches: dict[tuple[str, str], list[str]] = {}
        for chip in device.chips.values():
            for rule in chip.rules:
                if rule.branch is not None:
                    self._branches.setdefault((chip.name, rule.whole), []).append(rule.title)

    def term(self, term: object) -> Form:
        """An expression; None stands for a missing one."""
        match term:
            case None:
                return ()
            case Constant(value):
                return ("constant", value)
            case ReadVariable(chip, variable, index):
                return ("read", PartName("variable", variable, chip), self.term(index))
            case InState(chip, leaves):
                states = tuple(PartName("state", leaf, chip) for leaf in sorted(leaves))
                return ("in", PartName("chip", chip), Together(states))
            case Payload():
                return ("value",)
            case IsLate():
                return ("late",)
            case Happens(kind, owner, name):
                return (kind, self._happening(kind, owner, name))
            case Operation(operator, arguments):
                return (operator, *(self.term(argument) for argument in arguments))
        raise TypeError(f"{term!r} is not a term")

    def _happening(self, kind: str, owner: str, name: str) -> Form:
        if kind == "signalled":
            return PartName("signal", name)
        if kind == "taken":
            titles = self._branches.get((owner, name), [name])
            rules = tuple(PartName("rule", title, owner) for title in titles)
            return Together(rules) if len(rules) > 1 else rules[0]
        return self.message(kind, owner, name)

    def message(self, kind: str, owner: str, name: str) -> Form:
        """A message of a chip or of a link, as `sent`, `delivered` and the like understand it."""
        links = links_of(kind, owner, self._links)
        whose = PartName("link" if owner in self._links else "chip", owner)
        return (whose, self._carried(links, name))

    def event(self, chip: str, event: Event | str) -> Form:
        """What a rule of a chip waits for; without a chip, any message or signal of that name."""
        name, via = (event, None) if isinstance(event, str) else (event.name, event.link)
        links = [
            link
            for link in self._links.values()
            if (not chip or link.receiver == chip) and via in (None, link.name)
        ]
        found = self._carried(links, name)
        if via is None and name in self._signals:
            found = Together((*found.items, PartName("signal", name)))
        return found

    def _carried(self, links: Iterable[Link], name: str) -> Together:
        carrying = (link for link in links if name in link.carries)
        return Together(tuple(PartName("message", name, link.name) for link in carrying))

    def assignment(self, chip: str, one: Assignment) -> Form:
        """Targets with their values."""
        targets = tuple(
            (PartName("variable", target.variable, chip), self.term(target.index))
            for target in one.targets
        )
        return (targets, tuple(self.term(value) for value in one.values))

    def send(self, one: Send) -> Form:
        """A message with its value; the link is the message's scope."""
        return (PartName("message", one.message, one.link), self.term(one.value))

    def signal(self, one: GivenSignal) -> Form:
        """A signal with its value."""
        return (PartName("signal", one.signal), self.term(one.value))
