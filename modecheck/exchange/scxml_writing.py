"""Write a chip as SCXML 1.0.

States and rules become states and transitions in the order in which the model tries them, which is
that of W3C SCXML (section 3.13: the innermost state first, then document order); both leave states
as external transitions do. What a chip sends goes to the session that invoked it, which stands for
the rest of the device. What is not quite the same is a `Difference`, and a comment where it stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.exchange.ecmascript_terms import EcmaTerms
from modecheck.exchange.outside_values import outside_values, read_by
from modecheck.exchange.quantity_words import ampere_hours_text, amperes_text
from modecheck.exchange.scxml_actions import ActionWriter
from modecheck.exchange.scxml_data import free_id, literal, variable_ids, words_of_type
from modecheck.exchange.scxml_differences import Difference
from modecheck.exchange.scxml_replies import ReplyTable
from modecheck.exchange.scxml_timers import WHOLE_CHIP, send_later, timed_by_state, timed_rules
from modecheck.exchange.scxml_transitions import TransitionWriter, rules_by_source
from modecheck.exchange.scxml_words import (
    DATA_MODEL,
    KEYWORDS,
    NAMING,
    OURS,
    SCXML,
    EventNames,
    xml_name,
)
from modecheck.exchange.xml_elements import XmlElement, xml_text
from modecheck.model.parts import Chip, Device, Event, Reply, State
from modecheck.model.starts import need_one_start


@dataclass(frozen=True, slots=True)
class ScxmlDocument:
    """The text of a chip, and where it differs from the model."""

    text: str
    differences: tuple[Difference, ...]


def scxml_of(device: Device, chip: str, head: Sequence[str] = ()) -> ScxmlDocument:
    """A chip of a device in SCXML; `head` are comments at its top."""
    need_one_start(device, "a chart has one initial state", [chip])
    writer = _ChipWriter(device, device.chips[chip])
    root = writer.root()
    root.comments = [*head, *root.comments]
    return ScxmlDocument(xml_text(root), tuple(dict.fromkeys(writer.differences)))


class _ChipWriter:
    def __init__(self, device: Device, chip: Chip) -> None:
        self.device = device
        self.chip = chip
        self.differences: list[Difference] = []
        self.names = EventNames(device, chip)
        self.ids = variable_ids(chip)
        taken = {*self.ids.values(), *chip.states, *KEYWORDS}
        self.outside = outside_values(device, chip, taken)
        terms = EcmaTerms(device, chip, self.ids.__getitem__, self._outside_id)
        self.actions = ActionWriter(device, chip, self.names, terms)
        timed = timed_rules(chip, self.names)
        rules = rules_by_source(chip)
        self.transitions = TransitionWriter(
            device, chip, self.names, terms, self.actions, timed, rules
        )
        self.timed = timed_by_state(timed.values())
        self.replies = ReplyTable(device, chip, rules)

    def _outside_id(self, chip: str, member: str) -> str:
        return self.outside[chip, member].id

    def _differ(self, element: XmlElement, *differences: Difference) -> None:
        self.differences += differences
        element.comments += [one.comment for one in differences]

    def root(self) -> XmlElement:
        """The whole chip. Rules of the whole chip need a state around all of its states."""
        chip = self.chip
        whole = any(not rule.sources for rule in chip.rules) or bool(self.outside)
        root = XmlElement("scxml")
        root.attributes = {
            "xmlns": SCXML,
            "xmlns:chip": OURS,
            "version": "1.0",
            "name": xml_name(chip.name),
            "datamodel": DATA_MODEL,
            "initial": self._whole_id() if whole else chip.initial,
            "chip:events": NAMING,
        }
        root.attributes |= self._about_chip(root)
        self._data(root)
        inside = root
        if whole:
            inside = root.add("state", id_=self._whole_id(), initial=chip.initial)
            inside.attributes["chip:whole"] = "true"
            self._rules(inside, WHOLE_CHIP)
            self._updates(inside)
        for state in chip.states.values():
            if state.parent is None:
                self._state(inside, state)
        return root

    def _about_chip(self, root: XmlElement) -> dict[str, str]:
        """What SCXML has no word for."""
        chip = self.chip
        if chip.runs_on:
            self._differ(root, Difference("activity", repr(chip.name), chip.place))
        started = {name for rule in chip.rules for name in rule.starts}
        for timer in chip.timers.values():
            if timer.name not in started:
                self._differ(root, Difference("idle", repr(timer.name), timer.place))
        return {
            "chip:actor": "true" if chip.actor else "",
            "chip:about": chip.about,
            "chip:fair": chip.fair,
            "chip:concerns": " ".join(chip.concerns),
            "chip:battery": ampere_hours_text(chip.battery),
            "chip:runs_on": chip.runs_on,
            "chip:priority": str(chip.priority or ""),
            **self._replies(chip.replies.get(WHOLE_CHIP, ())),
        }

    def _replies(self, replies: tuple[Reply, ...]) -> dict[str, str]:
        words = {"discard": "chip:discards", "defer": "chip:defers"}
        return {
            key: " ".join(self.names.of(one.event) for one in replies if one.manner == manner)
            for manner, key in words.items()
        }

    def _whole_id(self) -> str:
        outside = (one.id for one in self.outside.values())
        taken = {*self.chip.states, *self.ids.values(), *outside, *self.actions.scratch}
        return free_id(xml_name(self.chip.name), taken)

    def _data(self, root: XmlElement) -> None:
        chip = self.chip
        if not (chip.variables or self.outside or self.actions.scratch):
            return
        model = root.add("datamodel")
        for variable in chip.variables.values():
            name, own = self.ids[variable.name], variable.name
            data = model.add(
                "data",
                id_=name,
                expr=literal(variable.start, variable.type, variable.length),
                chip_holds=words_of_type(variable.type),
                chip_persistent="true" if variable.persistent else "",
                chip_variable="" if name == own else own,
            )
            if name != own:
                self._differ(data, Difference("renamed", repr(own), variable.place))
            if variable.persistent:
                self._differ(data, Difference("kept", repr(own), variable.place))
        for one in self.outside.values():
            start = literal(one.start, one.type, one.length)
            holds = words_of_type(one.type)
            model.add("data", id_=one.id, expr=start, chip_holds=holds, chip_reads=one.text)
        for name in self.actions.scratch:
            model.add("data", id_=name, expr="0", chip_scratch="true")

    def _updates(self, inside: XmlElement) -> None:
        """A transition for each value that the outside keeps up to date."""
        for one in self.outside.values():
            event = f"{self.names.seen}.{one.id}"
            update = inside.add("transition", event=event, chip_seen="true")
            update.add("assign", location=one.id, expr="_event.data.value")
            rules = self.chip.rules
            reader = next(rule for rule in rules if one.key in read_by(self.device, rule))
            self._differ(update, Difference("seen", one.text, reader.place))

    def _state(self, around: XmlElement, state: State) -> None:
        parent = self.chip.states[state.parent] if state.parent else None
        inherited = parent.rest if parent is not None else False
        drawn = parent.current if parent is not None else None
        element = around.add("state", id_=state.name)
        element.attributes |= {
            "initial": state.initial or "",
            "chip:rest": "" if state.rest == inherited else str(state.rest).lower(),
            "chip:about": state.about,
            "chip:concerns": " ".join(state.concerns),
            "chip:current": "" if state.current == drawn else amperes_text(state.current),
            "chip:masks": " ".join(state.masks),
            **self._replies(self.chip.replies.get(state.name, ())),
        }
        if state.masks:
            self._differ(element, Difference("activity", repr(state.name), state.place))
        if not state.children:
            self._messages(element, state)
        self._rules(element, state.name)
        for name in state.children:
            self._state(element, self.chip.states[name])

    def _messages(self, element: XmlElement, state: State) -> None:
        """Messages that SCXML discards here, and the model does not."""
        answers: dict[str, dict[str, set[str]]] = {"unanswered": {}, "deferred": {}}
        for event in self.replies.events:
            assert event.link is not None, "messages of links"
            if kind := self.replies.differs(state.name, event):
                answers[kind].setdefault(event.name, set()).add(event.link)
        for kind, messages in answers.items():
            if messages:
                names = (name for one in messages.items() for name in self._named(*one))
                told = f"{', '.join(names)} in {state.name!r}"
                self._differ(element, Difference(kind, told, state.place))

    def _named(self, message: str, links: set[str]) -> list[str]:
        """A message of these links; of all that carry it, its name alone."""
        if links == self.replies.links[message]:
            return [message]
        return [self.names.of(Event(message, link)) for link in sorted(links)]

    def _rules(self, element: XmlElement, source: str) -> None:
        """The rules of a state, in the order in which they are tried, and their timers."""
        timed = self.timed.get(source, ())
        if timed:
            entry, leaving = element.add("onentry"), element.add("onexit")
            for one in timed:
                send_later(entry, one.event, one.duration)
                leaving.add("cancel", sendid=one.event)
        self.differences += self.transitions.write(element, source)
