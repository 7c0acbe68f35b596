"""A device as its named parts, each with what the model declares about it.

The facets of a part are called like the keys of a model. A facet has a form, by which it is
compared, and the words in which it was written. Facets in `WORDING` are for people only.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from modecheck.compare.forms import Form, PartName, Together
from modecheck.compare.terms_as_forms import TermForms
from modecheck.model.clocks import spelled
from modecheck.model.parts import (
    Chip,
    Device,
    Duration,
    Link,
    Pairing,
    Reply,
    Requirement,
    Rule,
    State,
)
from modecheck.model.places import Place

WORDING = frozenset({"about", "text"})
"""Facets on which no step depends."""
DURATIONS = frozenset({"tick", "after", "period", "time", "delay"})
"""Facets that determine how long something takes."""


@dataclass(frozen=True, slots=True)
class Facet:
    """`words` are for people; only `form` is compared."""

    form: Form
    words: str


@dataclass(frozen=True, slots=True)
class DescribedPart:
    """A part with a name, and its place in the files."""

    name: PartName
    facets: dict[str, Facet]
    place: Place | None


def parts_of_device(device: Device) -> dict[PartName, DescribedPart]:
    """All parts by name, outer before inner, in document order."""
    describing = _Describing(device)
    return {part.name: part for part in describing.parts()}


class _Describing:
    def __init__(self, device: Device) -> None:
        self._device = device
        self._forms = TermForms(device)
        chips, links = device.chips.values(), device.links.values()
        inside = (name for chip in chips for name in (*chip.states, *chip.variables))
        carried = (name for link in links for name in link.carries)
        self._named = frozenset([*device.chips, *device.links, *inside, *carried])

    def parts(self) -> Iterator[DescribedPart]:
        device = self._device
        clock = device.clock
        facets = {
            "device": _word(device.name),
            "about": _word(device.about),
            "tick": _word(spelled(clock.tick) if clock is not None else ""),
            "at_once": _words(clock.at_once if clock is not None else ()),
        }
        yield DescribedPart(PartName("device", "device"), facets, device.place)
        for option in device.options.values():
            choices = Facet(option.choices, ", ".join(option.choices))
            yield DescribedPart(PartName("option", option.name), {"choices": choices}, option.place)
        for chip in device.chips.values():
            yield from self._chip(chip)
        for link in device.links.values():
            yield from self._link(link)
        for signal in device.signals:
            yield DescribedPart(PartName("signal", signal), {}, self._signalled_at(signal))
        for mode in device.modes.values():
            when = self._term_facet(mode.when, mode.text)
            yield DescribedPart(PartName("mode", mode.name), {"when": when}, mode.place)
        for pairing in device.pairings.values():
            yield self._pairing(pairing)
        yield from self._faults()
        for requirement in device.requirements.values():
            yield self._requirement(requirement)
        for one in device.accepted:
            facets = {"reason": _word(one.reason), "until": _word(str(one.until or ""))}
            yield DescribedPart(PartName("acceptance", one.finding), facets, one.place)

    def _signalled_at(self, signal: str) -> Place | None:
        rules = (rule for chip in self._device.chips.values() for rule in chip.rules)
        return next((rule.place for rule in rules if signal in rule.signals), None)

    def _chip(self, chip: Chip) -> Iterator[DescribedPart]:
        facets = {
            "kind": _word("actor" if chip.actor else "chip"),
            "about": _word(chip.about),
            "initial": self._state_facet(chip, chip.initial),
            "fair": _word(chip.fair),
            "concerns": _words(chip.concerns),
            "battery": _amount(chip.battery),
            **self._replies(chip, chip.replies.get("", ())),
        }
        yield DescribedPart(PartName("chip", chip.name), facets, chip.place)
        for state in chip.states.values():
            yield self._state(chip, state)
        for variable in chip.variables.values():
            starts = ", ".join(variable.type.spell(value) for value in variable.start)
            facets = {
                "type": Facet(_type_form(variable.type), str(variable.type)),
                "start": Facet(variable.start, starts),
                "list": Facet(variable.length, str(variable.length)),
                "persistent": _truth(variable.persistent),
            }
            yield DescribedPart(
                PartName("variable", variable.name, chip.name), facets, variable.place
            )
        for timer in chip.timers.values():
            facets = {"time": _time(timer.duration)}
            yield DescribedPart(PartName("timer", timer.name, chip.name), facets, timer.place)
        for rule in chip.rules:
            yield self._rule(chip, rule)

    def _state(self, chip: Chip, state: State) -> DescribedPart:
        facets = {
            "inside": self._state_facet(chip, state.parent),
            "initial": self._state_facet(chip, state.initial),
            "rest": _truth(state.rest),
            "about": _word(state.about),
            "concerns": _words(state.concerns),
            "current": _amount(state.current),
            **self._replies(chip, chip.replies.get(state.name, ())),
        }
        return DescribedPart(PartName("state", state.name, chip.name), facets, state.place)

    def _state_facet(self, chip: Chip, state: str | None) -> Facet:
        return Facet(PartName("state", state, chip.name) if state else "", state or "")

    def _replies(self, chip: Chip, replies: Iterable[Reply]) -> dict[str, Facet]:
        facets = {}
        for key, manner in (("discards", "discard"), ("defers", "defer")):
            events = [reply.event for reply in replies if reply.manner == manner]
            form = Together(tuple(self._forms.event(chip.name, event) for event in events))
            facets[key] = Facet(form, ", ".join(map(str, events)))
        return facets

    def _rule(self, chip: Chip, rule: Rule) -> DescribedPart:
        forms = self._forms
        sources = Together(tuple(PartName("state", one, chip.name) for one in rule.sources))
        triggers = tuple(forms.event(chip.name, event) for event in rule.trigger)
        do = tuple(forms.assignment(chip.name, one) for one in rule.assignments)
        send = tuple(forms.send(one) for one in rule.sends)
        signalled = tuple(PartName("signal", one) for one in rule.signals)
        texts = {
            "if": rule.guard_text,
            "do": "; ".join(one.text for one in rule.assignments),
            "send": "; ".join(one.text for one in rule.sends),
        }
        written = {key: self._with_options(text) for key, text in texts.items()}
        waits = _time(rule.after)
        facets = {
            "in": Facet(sources, ", ".join(rule.sources)),
            "on": Facet(Together(triggers), ", ".join(map(str, rule.trigger))),
            "after": waits if not rule.periodic else _time(None),
            "period": waits if rule.periodic else _time(None),
            "expires": self._timers(chip, [rule.expires] if rule.expires else []),
            "if": Facet((forms.term(rule.guard), written["if"]), texts["if"]),
            "do": Facet((do, written["do"]), texts["do"]),
            "send": Facet((send, written["send"]), texts["send"]),
            "signal": Facet(signalled, ", ".join(rule.signals)),
            "start": self._timers(chip, rule.starts),
            "stop": self._timers(chip, rule.stops),
            "to": self._state_facet(chip, rule.target),
            "steps": _word("separate" if rule.separate else ""),
            "text": _word(rule.phrase),
            "fair": _word(rule.fair),
            "concerns": _words(rule.concerns),
            "weight": _amount(rule.weight),
        }
        return DescribedPart(PartName("rule", rule.title, chip.name), facets, rule.place)

    def _timers(self, chip: Chip, names: Iterable[str]) -> Facet:
        known = tuple(names)
        return Facet(
            Together(tuple(PartName("timer", name, chip.name) for name in known)), ", ".join(known)
        )

    def _link(self, link: Link) -> Iterator[DescribedPart]:
        faults = {"lose": link.loses, "duplicate": link.duplicates}
        facets = {
            "from": Facet(PartName("chip", link.sender), link.sender),
            "to": Facet(PartName("chip", link.receiver), link.receiver),
            "medium": _word(link.medium),
            "capacity": Facet(link.capacity, str(link.capacity)),
            "can": _words(fault for fault, can in faults.items() if can),
            "up_when": self._term_facet(link.up_when, link.up_text),
            "when_down": _word(link.when_down),
            "when_full": _word(link.when_full),
            "delay": _time(link.delay),
            "fair": _word(link.fair),
            "concerns": _words(link.concerns),
            "loses": _amount(link.loss),
        }
        yield DescribedPart(PartName("link", link.name), facets, link.place)
        for message in link.carries.values():
            facets = {
                "kind": Facet((message.kind, int(message.payload)), message.kind),
                "type": Facet(_type_form(message.type), str(message.type or "no value")),
            }
            yield DescribedPart(PartName("message", message.name, link.name), facets, message.place)

    def _term_facet(self, term: object, text: str) -> Facet:
        return Facet((self._forms.term(term), self._with_options(text)), text)

    def _with_options(self, text: str) -> Form:
        """What a text says about options, which a term replaces by their values: all its words
        except the names of other parts. Empty if it names no option.
        """
        words = re.findall(r"\w+|[^\w\s]+", text)
        if not set(words) & set(self._device.options):
            return ()
        return tuple(word for word in words if word not in self._named)

    def _pairing(self, pairing: Pairing) -> DescribedPart:
        ends = tuple(PartName("variable", end.variable, end.chip) for end in pairing.ends)
        events = [self._forms.event("", event) for event in pairing.forgotten_by]
        facets = {
            "ends": Facet(ends, ", ".join(map(str, pairing.ends))),
            "forgotten_by": Facet(Together(tuple(events)), ", ".join(pairing.forgotten_by)),
            "session": Facet(self._forms.term(pairing.session), ""),
            "selected": Facet(self._forms.term(pairing.selected), ""),
            "recovers_without": Facet(
                Together(tuple(PartName("chip", one) for one in pairing.recovers_without)),
                ", ".join(pairing.recovers_without),
            ),
        }
        return DescribedPart(PartName("pairing", pairing.name), facets, pairing.place)

    def _faults(self) -> Iterator[DescribedPart]:
        """Faults have no name: they are numbered within their kind."""
        counts: dict[str, int] = {}
        for fault in self._device.faults:
            counts[fault.kind] = count = counts.get(fault.kind, 0) + 1
            kind = "chip" if fault.kind in ("power_cut", "reset") else "link"
            at_most = "any number" if fault.at_most is None else str(fault.at_most)
            targets = Together(tuple(PartName(kind, target) for target in fault.targets))
            facets = {"of": Facet(targets, ", ".join(fault.targets)), "at_most": _word(at_most)}
            name = fault.kind if count == 1 else f"{fault.kind}#{count}"
            yield DescribedPart(PartName("fault", name), facets, fault.place)

    def _requirement(self, need: Requirement) -> DescribedPart:
        forms = self._forms
        exchange = need.exchange
        span = need.span
        facets = {
            "pattern": _word(need.pattern),
            "condition": self._term_facet(need.condition, need.text),
            "then": self._term_facet(need.response, need.response_text),
            "within": _time(need.within),
            "scope": Facet((span.kind, forms.term(span.opens), forms.term(span.closes)), span.text),
            "without": Facet(
                Together(tuple(forms.event("", event) for event in need.without)),
                ", ".join(need.without),
            ),
            "builds_on": Facet(
                Together(tuple(PartName("requirement", one) for one in need.builds_on)),
                ", ".join(need.builds_on),
            ),
            "text": _word(need.sentence),
        }
        if exchange is not None:
            sent = tuple(forms.message("sent", *one) for one in exchange.sent)
            received = tuple(forms.message("delivered", *one) for one in exchange.received)
            losing = (forms.term(exchange.may_lose), str(exchange.under_way))
            facets["exactly_once"] = Facet((sent, received, losing), exchange.may_lose_text)
        return DescribedPart(PartName("requirement", need.name), facets, need.place)


def _word(text: str) -> Facet:
    return Facet(text, text)


def _words(words: Iterable[str]) -> Facet:
    known = tuple(sorted(words))
    return Facet(known, ", ".join(known))


def _time(duration: Duration | None) -> Facet:
    if duration is None:
        return Facet((), "")
    return Facet((str(duration.low), str(duration.high)), duration.text)


def _amount(amount: Fraction | None) -> Facet:
    return _word("" if amount is None else str(amount))


def _truth(value: bool) -> Facet:
    return Facet(int(value), "true" if value else "false")


def _type_form(type_: object) -> Form:
    return repr(type_)
