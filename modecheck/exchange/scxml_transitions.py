"""The rules of a state as transitions, in the order in which they are tried."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from modecheck.exchange.ecmascript_terms import EcmaTerms
from modecheck.exchange.scxml_actions import ActionWriter
from modecheck.exchange.scxml_differences import Difference
from modecheck.exchange.scxml_timers import WHOLE_CHIP, TimedRule, send_later
from modecheck.exchange.scxml_words import EventNames
from modecheck.exchange.xml_elements import XmlElement
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.terms import Operation, Term


@dataclass(frozen=True, slots=True)
class TransitionWriter:
    """Writes the rules of one chip; `timed` are those that wait for a time, by rule and state,
    `by_source` all in the order in which they are tried.
    """

    device: Device
    chip: Chip
    names: EventNames
    terms: EcmaTerms
    actions: ActionWriter
    timed: Mapping[tuple[str, str], TimedRule]
    by_source: Mapping[str, Sequence[Rule]]

    def write(self, inside: XmlElement, source: str) -> list[Difference]:
        """A transition for each rule of the state `source`, "" being the whole chip."""
        own = self.by_source.get(source, ())
        differences = []
        for rule in own:
            element = self._transition(inside, rule, source)
            found = [Difference(kind, repr(rule.title), rule.place) for kind in self._kinds(rule)]
            element.comments += [one.comment for one in found]
            differences += found
        for one in self._restarting(own, source):
            passed = inside.add("transition", event=one.event, chip_restarts="true")
            send_later(passed, one.event, one.duration)
        return differences

    def _transition(self, inside: XmlElement, rule: Rule, source: str) -> XmlElement:
        condition, payload = condition_of_transition(rule), self.actions.payload(rule)
        element = inside.add("transition", event=self._event(rule, source))
        element.attributes |= {
            "cond": self.terms.condition(condition, payload) if condition is not None else "",
            "target": rule.target or "",
            "chip:rule": rule.title,
            "chip:free": "true" if rule.kind == "internal" else "",
            "chip:text": rule.phrase,
            "chip:fair": rule.fair,
            "chip:concerns": " ".join(rule.concerns),
            "chip:weight": str(rule.weight) if rule.weight is not None else "",
            "chip:steps": "separate" if rule.separate else "",
            "chip:period": "true" if rule.periodic else "",
        }
        self.actions.write(element, rule, source, self.timed.get((rule.whole, source)))
        return element

    def _event(self, rule: Rule, source: str) -> str:
        if rule.trigger:
            return " ".join(dict.fromkeys(map(self.names.of, rule.trigger)))
        if rule.after is not None:
            return self.timed[rule.whole, source].event
        if rule.expires:
            return f"{self.names.timer}.{rule.expires}"
        return f"{self.names.free}.{self.names.token(rule.whole)}"

    def _restarting(self, rules: Sequence[Rule], source: str) -> Iterator[TimedRule]:
        """Periods that begin anew even where no condition holds."""
        waiting: dict[str, list[Term | None]] = {}
        for rule in rules:
            if rule.periodic:
                waiting.setdefault(rule.whole, []).append(condition_of_transition(rule))
        for title, conditions in waiting.items():
            if None not in conditions:
                yield self.timed[title, source]

    def _kinds(self, rule: Rule) -> Iterator[str]:
        """The ways in which a rule is not quite the same."""
        time = rule.after
        if rule.expires:
            time = self.chip.timers[rule.expires].duration
        conditional = condition_of_transition(rule) is not None
        around = {outer for one in rule.sources for outer in self.chip.ancestry(one)[1:]}
        found = {
            "free": rule.kind == "internal",
            "interval": time is not None and time.low != time.high,
            "missed": time is not None and not rule.periodic and conditional,
            "nested": rule.after is not None and not around.isdisjoint(rule.sources),
            "waiting": any(self.device.links[one.link].when_full == "wait" for one in rule.sends),
            "judged": self.actions.judged(rule),
            "kept": rule.separate,
            "priority": bool(rule.priority),
        }
        return (kind for kind, so in found.items() if so)


def rules_by_source(chip: Chip) -> dict[str, list[Rule]]:
    """The rules of each state, "" being the whole chip, in the order in which they are tried."""
    found: dict[str, list[Rule]] = {}
    for rule in sorted(chip.rules, key=lambda rule: -rule.priority):
        for source in dict.fromkeys(rule.sources) or (WHOLE_CHIP,):
            found.setdefault(source, []).append(rule)
    return found


def condition_of_transition(rule: Rule) -> Term | None:
    """What has to hold for a rule, besides that no transition before it is enabled; None if
    nothing has to.
    """
    given = rule.branch.given if rule.branch is not None else None
    parts = [one for one in (given, rule.guard) if one is not None]
    return Operation("and", tuple(parts)) if len(parts) > 1 else next(iter(parts), None)
