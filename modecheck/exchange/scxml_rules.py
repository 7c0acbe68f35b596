"""The transitions of an SCXML document as rules of a chip.

What happens when a state is left or entered becomes a part of every rule that leaves or enters it.
A rule that an export wrote into several states is one rule again, and one with branches as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import takewhile

from modecheck.exchange.chip_draft import DraftedRule
from modecheck.exchange.scxml_chart import Chart, ChartState, ReadingRemark, name_of_id, target_of
from modecheck.exchange.scxml_delays import DelayedEvent, Delays
from modecheck.exchange.scxml_effects import EffectsReader, Way
from modecheck.exchange.scxml_events import EventIndex, descriptors, heard
from modecheck.exchange.scxml_expressions import ChartExpressions, EventData
from modecheck.exchange.scxml_words import OURS, SCXML
from modecheck.exchange.titled_rules import TitledRule, branches_together, in_one_order
from modecheck.exchange.xml_reading import XmlAttribute, XmlNode
from modecheck.model.errors import Notebook
from modecheck.model.shapes import IDENTIFIER


@dataclass(frozen=True)
class RulesOfChart:
    """Reads the transitions of one document; `index` finds the events that it names."""

    chart: Chart
    expressions: ChartExpressions
    effects: EffectsReader
    delays: Delays
    index: EventIndex
    notes: Notebook
    remarks: list[ReadingRemark]

    def rules(self) -> tuple[DraftedRule, ...]:
        """All rules, in an order that keeps the one of each state."""
        states = []
        for state in self.chart.all:
            found = [self._titled(state, node) for node in self._transitions(state)]
            states.append(branches_together([one for one in found if one is not None]))
        return in_one_order(states)

    def _transitions(self, state: ChartState) -> Iterator[XmlNode]:
        """Those that are rules: an export also writes some that are not."""
        for node in state.node.of("transition"):
            if "true" not in (node.words("seen", OURS), node.words("restarts", OURS)):
                yield node

    def _titled(self, state: ChartState, node: XmlNode) -> TitledRule | None:
        title = node.words("rule", OURS)
        attribute = node.get("event")
        data = EventData(carries=attribute is not None)
        target = node.get("target")
        to = target_of(target, self.chart.states, self.notes) if target is not None else None
        if to is not None and not to.name:
            expected = "a state inside"
            self.notes.add("the state around the whole chip", node.place, expected=expected)
        self._check_type(state, node, to)
        cond = node.get("cond")
        condition = self.expressions.condition(cond, data) if cond is not None else None
        ways = self._ways(state, node, to, data)
        rule = self._draft(state, node, title)
        rule = replace(rule, condition=condition.text if condition is not None else "")
        return TitledRule(title, self._with_ways(rule, ways, to, node))

    def _draft(self, state: ChartState, node: XmlNode, title: str) -> DraftedRule:
        """What a rule says besides its condition and its effects."""
        on, waits = self._trigger(state, node)
        return DraftedRule(
            name=self._name(title, node),
            sources=(state.name,) if state.name else (),
            on=on,
            waits=waits,
            separate=node.words("steps", OURS) == "separate",
            concerns=tuple(node.words("concerns", OURS).split()),
            text=node.words("text", OURS),
            fair=node.words("fair", OURS),
            weight=node.words("weight", OURS),
        )

    def _name(self, title: str, node: XmlNode) -> str:
        """The name of a rule: a title with a colon is one that a rule without a name gets."""
        whole = title.partition(".")[0]
        if not whole or ":" in whole or IDENTIFIER.fullmatch(whole):
            return "" if ":" in whole else whole
        name = name_of_id(whole).strip("_")
        told = f"the rule {whole!r} is called {name!r} in its file"
        self.remarks.append(ReadingRemark(node.place, told))
        return name

    def _trigger(
        self, state: ChartState, node: XmlNode
    ) -> tuple[tuple[str, ...], tuple[str, str] | None]:
        """The events that a rule waits for, or what else it waits for."""
        attribute = node.get("event")
        if attribute is None or node.words("free", OURS) == "true":
            if attribute is None:
                told = "a transition without an event: SCXML takes it at once, in document order, "
                told += "the model at any moment, and any of several"
                self.remarks.append(ReadingRemark(node.place, told))
            return (), None
        delayed = self._delayed(attribute)
        if delayed is None:
            return heard(attribute, self.index, self.notes, own=self.chart.own), None
        if delayed.state is None:
            return (), ("expires", delayed.name)
        assert delayed.state is state, "only rules of that state wait for it"
        key = "period" if node.words("period", OURS) == "true" else "after"
        return (), (key, delayed.duration)

    def _delayed(self, attribute: XmlAttribute) -> DelayedEvent | None:
        """The delayed event that a transition waits for, if it does."""
        events = self.delays.events
        if not events:
            return None
        matched = dict.fromkeys(
            event for word, _ in descriptors(attribute) for event in self.index.matched_by(word)
        )
        found = [one for one in matched if one in events]
        if not found:
            return None
        others = len(matched) > len(found)
        if len(found) > 1 or others:
            message = f"waits for {found[0]!r}, which is a timer, and for something else"
            self.notes.add(message, attribute.whole, expected="a transition for each")
            return None
        return events[found[0]]

    def _check_type(self, state: ChartState, node: XmlNode, to: ChartState | None) -> None:
        attribute = node.get("type")
        if attribute is None or attribute.text == "external":
            return
        if attribute.text != "internal":
            message = f"the type {attribute.text!r}"
            choices = ["internal", "external"]
            self.notes.add(message, attribute.whole, word=attribute.text, choices=choices)
            return
        inside = to is not None and to is not state and state in to.around
        if inside and state.node.of("onentry", "onexit"):
            message = f"an internal transition, which does not leave {state.id!r}"
            expected = "an external one: a chip leaves the state whose rule it takes"
            self.notes.add(message, attribute.whole, expected=expected)

    def _ways(
        self, state: ChartState, node: XmlNode, to: ChartState | None, data: EventData
    ) -> list[Way]:
        """All ways through a transition: its content, and what is done when states are left and
        entered. What is left depends on where in its state the chip is.
        """
        own = [one for one in node.children if one.space == SCXML]
        if to is None:
            return self.effects.ways(own, data)
        beyond = set(to.around) - {to}
        domain = next((one for one in list(state.around)[1:] if one in beyond), None)
        left = list(takewhile(lambda one: one is not domain, state.around))
        path = list(takewhile(lambda one: one is not domain, to.around))
        entered = [*reversed(path), *list(to.entered)[1:]]
        after = [one for each in entered for one in self.pending(each, "onentry")]
        after = [one for each in left for one in self.pending(each, "onexit")] + own + after
        groups = self._groups(state)
        ways: list[Way] = []
        for number, (inner, leaves) in enumerate(groups.items()):
            first = [one for each in inner for one in self.pending(each, "onexit")]
            test = "" if number == len(groups) - 1 else _is_in(leaves)
            ways += self.effects.ways([*first, *after], data, test)
        return ways

    @cached_property
    def _around_leaving(self) -> set[ChartState]:
        """The states inside of which there is one that does something when it is left."""
        leaving = [one for one in self.chart.all if self.pending(one, "onexit")]
        return {outer for one in leaving for outer in one.around if outer is not one}

    def _groups(self, state: ChartState) -> dict[tuple[ChartState, ...], list[ChartState]]:
        """The innermost states inside a state, by the states below it that do something when they
        are left, the innermost first.
        """
        groups: dict[tuple[ChartState, ...], list[ChartState]] = {}
        if state not in self._around_leaving:
            return {(): []}
        for leaf in state.inside:
            if not leaf.children:
                below = takewhile(lambda one: one is not state, leaf.around)
                key = tuple(one for one in below if self.pending(one, "onexit"))
                groups.setdefault(key, []).append(leaf)
        return groups

    def pending(self, state: ChartState, tag: str) -> list[XmlNode]:
        """What a state does when it is entered or left, apart from what `after` says."""
        return self._pending.get((state, tag), [])

    @cached_property
    def _pending(self) -> dict[tuple[ChartState, str], list[XmlNode]]:
        # Each rule asks for it, and a state can have thousands of them.
        found: dict[tuple[ChartState, str], list[XmlNode]] = {}
        for state in self.chart.all:
            for each in state.node.of("onentry", "onexit"):
                own = (one for one in each.children if one.space == SCXML)
                left = [one for one in own if id(one) not in self.delays.done]
                found.setdefault((state, each.tag), []).extend(left)
        return found

    def _with_ways(
        self, rule: DraftedRule, ways: list[Way], to: ChartState | None, node: XmlNode
    ) -> DraftedRule:
        target = to.name if to is not None else ""
        if len(ways) == 1 and not ways[0].conditions:
            effects = ways[0].effects(target)
            if not effects and node.get("event") is None:
                expected = "an event, a target, or something that it does"
                self.notes.add("a transition that does nothing", node.place, expected=expected)
            return replace(rule, effects=effects)
        return replace(rule, branches=tuple(one.branch(target) for one in ways))


def _is_in(states: Sequence[ChartState]) -> str:
    names = ", ".join(one.name for one in states)
    return f"state == {names}" if len(states) == 1 else f"state in [{names}]"
