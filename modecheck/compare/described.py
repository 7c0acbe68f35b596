"""A device as its named parts, each with what the model declares about it.

The facets of a part are called like the keys of a model, and follow from the kinds of its declared
keys (`SEEN`). A facet has a form, by which it is compared, and the words in which it was written.
Facets in `WORDING` are for people only.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from modecheck.compare.forms import Form, PartName, Together
from modecheck.compare.terms_as_forms import TermForms
from modecheck.model.clocks import spelled
from modecheck.model.keys import Key, keys_of
from modecheck.model.parts import Chip, Device, Requirement, Rule, State
from modecheck.model.places import Place
from modecheck.model.times import Duration

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
    return {part.name: part for part in _Describing(device).parts()}


@dataclass(frozen=True, slots=True)
class _Sight:
    """A key of a part of a device; `chip` is the one that the part belongs to, if any."""

    device: Device
    forms: TermForms
    part: Any
    key: Key
    chip: str

    @property
    def value(self) -> Any:
        return getattr(self.part, self.key.attribute)

    def name(self, kind: str) -> Facet:
        """The part of the chip, or of the device, that the key names, if any."""
        name = self.value
        return Facet(PartName(kind, name, self.chip) if name else "", name or "")

    def initial(self) -> Facet:
        """The state in which it begins, or all in which it may."""
        several = self.part.initials if isinstance(self.part, Chip) else ()
        return _names("state", several, self.chip) if several else self.name("state")

    def names(self, kind: str) -> Facet:
        """The parts that the key names."""
        return _names(
            kind, self.value if isinstance(self.value, tuple) else [self.value], self.chip
        )

    def events(self) -> Facet:
        return _events(self.forms, self.value, self.chip)

    def texts(self, form: Callable[[Any], Form]) -> Facet:
        """What a rule does, in order."""
        text = "; ".join(one.text for one in self.value)
        forms = tuple(form(one) for one in self.value)
        return Facet((forms, _with_options(self.device, text)), text)

    def condition(self) -> Facet:
        text = getattr(self.part, self.key.words) if self.key.words else ""
        return _condition(self.device, self.forms, self.value, text)

    def replies(self, manner: str) -> Facet:
        """What a state, or the whole chip, does with events that no rule takes."""
        state = self.part.name if isinstance(self.part, State) else ""
        replies = self.device.chips[self.chip].replies.get(state, ())
        events = [reply.event for reply in replies if reply.manner == manner]
        return _events(self.forms, events, self.chip)


def _word(text: str) -> Facet:
    return Facet(text, text)


def _words(words: Iterable[str]) -> Facet:
    known = tuple(sorted(words))
    return Facet(known, ", ".join(known))


def _time(duration: Duration | None) -> Facet:
    if duration is None:
        return Facet((), "")
    return Facet((str(duration.low), str(duration.high)), duration.text)


def _truth(value: bool) -> Facet:
    return Facet(int(value), "true" if value else "false")


def _names(kind: str, names: Iterable[str], scope: str = "") -> Facet:
    """Parts in no order."""
    known = [name for name in names if name]
    return Facet(Together(tuple(PartName(kind, name, scope) for name in known)), ", ".join(known))


def _events(forms: TermForms, events: Iterable[Any], chip: str = "") -> Facet:
    known = list(events)
    form = Together(tuple(forms.event(chip, event) for event in known))
    return Facet(form, ", ".join(map(str, known)))


def _condition(device: Device, forms: TermForms, term: object, text: str) -> Facet:
    return Facet((forms.term(term), _with_options(device, text)), text)


def _with_options(device: Device, text: str) -> Form:
    """What a text says about options, which a term replaces by their values: all its words
    except the names of other parts. Empty if it names no option.
    """
    words = re.findall(r"\w+|[^\w\s]+", text)
    if not set(words) & set(device.options):
        return ()
    named = {*device.chips, *device.links}
    named |= {name for chip in device.chips.values() for name in (*chip.states, *chip.variables)}
    named |= {name for link in device.links.values() for name in link.carries}
    return tuple(word for word in words if word not in named)


See = Callable[[_Sight], Facet]


def _said(sight: _Sight) -> Facet:
    return _word("" if sight.value is None else str(sight.value))


SEEN: dict[str, See] = {
    **dict.fromkeys(("about", "phrase", "fair", "choice", "word"), _said),
    **dict.fromkeys(("battery", "current", "share", "weight"), _said),
    "again": lambda sight: _time(sight.value if sight.part.periodic else None),
    "assignments": lambda sight: sight.texts(lambda one: sight.forms.assignment(sight.chip, one)),
    "chip": lambda sight: sight.name("chip"),
    "concerns": lambda sight: _words(sight.value),
    "condition": _Sight.condition,
    "defers": lambda sight: sight.replies("defer"),
    "discards": lambda sight: sight.replies("discard"),
    "ends": lambda sight: Facet(
        tuple((PartName("variable", end.variable, end.chip), end.item) for end in sight.value),
        ", ".join(map(str, sight.value)),
    ),
    "events": _Sight.events,
    "helpers": lambda sight: sight.names("chip"),
    "initial": _Sight.initial,
    "integer": lambda sight: Facet(sight.value, str(sight.value)),
    "interval": lambda sight: _time(sight.value),
    "link_faults": lambda sight: _words(sight.part.faults),
    "masks": lambda sight: sight.names("chip"),
    "name": lambda sight: _word(sight.value),
    "once": lambda sight: _time(None if sight.part.periodic else sight.value),
    "rest": lambda sight: _truth(sight.value),
    "sends": lambda sight: sight.texts(sight.forms.send),
    "signals": lambda sight: sight.texts(sight.forms.signal),
    "states": lambda sight: sight.names("state"),
    "steps": lambda sight: _word("separate" if sight.value else ""),
    "target": lambda sight: sight.name("state"),
    "timer": lambda sight: sight.names("timer"),
    "timers": lambda sight: sight.names("timer"),
}
"""What is seen of a key, by its kind; a key of any other kind is a part, or in the name of one."""


class _Describing:
    def __init__(self, device: Device) -> None:
        self._device = device
        self._forms = TermForms(device)

    def _declared(self, name: PartName, part: Any, keys: str = "", **first: Facet) -> DescribedPart:
        """A part as its declared keys say it; those of a kind are called like it."""
        chip = name.name if name.kind == "chip" else name.scope
        facets = {
            key.name: SEEN[key.kind](_Sight(self._device, self._forms, part, key, chip))
            for key in keys_of(keys or name.kind).values()
            if key.kind in SEEN
        }
        return DescribedPart(name, first | facets, part.place)

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
        for constant in device.shared.constants.values():
            facets = {"value": _word(constant.spelled())}
            yield DescribedPart(PartName("constant", constant.name), facets, constant.place)
        for chip in device.chips.values():
            yield from self._chip(chip)
        yield from self._links()
        for signal in device.signals:
            yield self._signal(signal)
        for mode in device.modes.values():
            when = _condition(device, self._forms, mode.when, mode.text)
            yield DescribedPart(PartName("mode", mode.name), {"when": when}, mode.place)
        for pairing in device.pairings.values():
            yield self._declared(PartName("pairing", pairing.name), pairing)
        yield from self._faults()
        for requirement in device.requirements.values():
            yield self._requirement(requirement)
        for one in device.accepted:
            facets = {"reason": _word(one.reason), "until": _word(str(one.until or ""))}
            yield DescribedPart(PartName("acceptance", one.finding), facets, one.place)

    def _signal(self, signal: str) -> DescribedPart:
        type_ = self._device.shared.signal_type(signal)
        facets = {"type": Facet(repr(type_), str(type_ or "no value"))}
        return DescribedPart(PartName("signal", signal), facets, self._signalled_at(signal))

    def _signalled_at(self, signal: str) -> Place | None:
        rules = (rule for chip in self._device.chips.values() for rule in chip.rules)
        return next((rule.place for rule in rules if signal in rule.signals), None)

    def _chip(self, chip: Chip) -> Iterator[DescribedPart]:
        kind = _word("actor" if chip.actor else "chip")
        yield self._declared(PartName("chip", chip.name), chip, "behaviour", kind=kind)
        for state in chip.states.values():
            inside = PartName("state", state.parent, chip.name) if state.parent else ""
            facet = Facet(inside, state.parent or "")
            yield self._declared(PartName("state", state.name, chip.name), state, inside=facet)
        for variable in chip.variables.values():
            many = tuple(tuple(sorted(values)) for values in variable.choices)
            facets = {
                "type": Facet(repr(variable.type), str(variable.type)),
                "start": Facet(many or variable.start, variable.start_text),
                "list": Facet(variable.length, str(variable.length)),
                "persistent": _truth(variable.persistent),
            }
            name = PartName("variable", variable.name, chip.name)
            yield DescribedPart(name, facets, variable.place)
        for constant in chip.constants.values():
            facets = {"value": _word(constant.spelled())}
            yield DescribedPart(
                PartName("constant", constant.name, chip.name), facets, constant.place
            )
        for timer in chip.timers.values():
            facets = {"time": _time(timer.duration)}
            yield DescribedPart(PartName("timer", timer.name, chip.name), facets, timer.place)
        for rule in chip.rules:
            name = PartName("rule", rule.title, chip.name)
            yield self._declared(name, rule, "rule", **self._branch(rule))

    def _branch(self, rule: Rule) -> dict[str, Facet]:
        """The place of a branch in its rule; nothing for a whole rule."""
        if rule.branch is None:
            return {}
        number, given = rule.branch.number, rule.branch.given
        choose = Facet((number, int(rule.guard is None)), f"branch {number}")
        return {
            "choose": choose,
            "given": _condition(self._device, self._forms, given, rule.branch.given_text),
        }

    def _links(self) -> Iterator[DescribedPart]:
        for link in self._device.links.values():
            yield self._declared(PartName("link", link.name), link)
            for message in link.carries.values():
                facets = {
                    "kind": Facet((message.kind, int(message.payload)), message.kind),
                    "type": Facet(repr(message.type), str(message.type or "no value")),
                }
                name = PartName("message", message.name, link.name)
                yield DescribedPart(name, facets, message.place)

    def _faults(self) -> Iterator[DescribedPart]:
        """Faults have no name: they are numbered within their kind."""
        counts: dict[str, int] = {}
        for fault in self._device.faults:
            counts[fault.kind] = count = counts.get(fault.kind, 0) + 1
            kind = "chip" if fault.kind in ("power_cut", "reset") else "link"
            at_most = "any number" if fault.at_most is None else str(fault.at_most)
            in_a_row = "any number" if fault.at_most_in_a_row is None else fault.at_most_in_a_row
            facets = {
                "of": _names(kind, fault.targets),
                "at_most": _word(at_most),
                "at_most_in_a_row": _word(str(in_a_row)),
            }
            name = fault.kind if count == 1 else f"{fault.kind}#{count}"
            yield DescribedPart(PartName("fault", name), facets, fault.place)

    def _requirement(self, need: Requirement) -> DescribedPart:
        forms = self._forms
        exchange = need.exchange
        span = need.span
        facets = {
            "pattern": _word(need.pattern),
            "condition": _condition(self._device, forms, need.condition, need.text),
            "then": _condition(self._device, forms, need.response, need.response_text),
            "within": _time(need.within),
            "scope": Facet((span.kind, forms.term(span.opens), forms.term(span.closes)), span.text),
            "without": _events(forms, need.without),
            "builds_on": _names("requirement", need.builds_on),
            "text": _word(need.sentence),
        }
        if exchange is not None:
            sent = tuple(forms.message("sent", *one) for one in exchange.sent)
            received = tuple(forms.message("delivered", *one) for one in exchange.received)
            losing = (forms.term(exchange.may_lose), str(exchange.under_way))
            facets["exactly_once"] = Facet((sent, received, losing), exchange.may_lose_text)
        return DescribedPart(PartName("requirement", need.name), facets, need.place)
