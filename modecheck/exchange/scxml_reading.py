"""Read an SCXML document as a drafted chip.

Every error is noted at its place in the document. What is left out, or read as something that is
not quite the same, is a remark.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace

from modecheck.exchange.chip_draft import DraftedChip, DraftedRule, DraftedState, DraftedVariable
from modecheck.exchange.scxml_chart import (
    Chart,
    ChartState,
    ReadingRemark,
    name_of_id,
    read_chart,
)
from modecheck.exchange.scxml_delays import Delays, find_delays
from modecheck.exchange.scxml_effects import EffectsReader
from modecheck.exchange.scxml_events import EventIndex, event_name
from modecheck.exchange.scxml_expressions import ChartExpressions
from modecheck.exchange.scxml_grammar import check_grammar
from modecheck.exchange.scxml_rules import RulesOfChart
from modecheck.exchange.scxml_variables import ChartVariable, note_data_model, read_variables
from modecheck.exchange.scxml_words import OURS
from modecheck.exchange.xml_reading import XmlNode, read_xml
from modecheck.model.errors import Notebook


@dataclass(frozen=True, slots=True)
class ReadChart:
    """A chip, and what its document says that the chip does not."""

    chip: DraftedChip
    remarks: tuple[ReadingRemark, ...]


def read_scxml(path: str) -> ReadChart:
    """The chip in a file. Raises `InvalidInput` with every error in it."""
    notes, remarks = Notebook(), list[ReadingRemark]()
    root = read_xml(path, notes)
    notes.raise_if_any()
    assert root is not None, "else there is an error"
    for node in check_grammar(root, notes):
        told = f"<{node.tag}> of the namespace {node.space!r} is left out"
        remarks.append(ReadingRemark(node.place, told))
    notes.raise_if_any()
    chart = read_chart(root, notes, remarks)
    notes.raise_if_any()
    chip = _Reading(chart, notes, remarks).chip(path)
    notes.raise_if_any()
    kept = dict.fromkeys(remarks)
    ordered = tuple(sorted(kept, key=lambda one: (one.place.line, one.place.column)))
    return ReadChart(_remarked(chip, ordered), ordered)


def _remarked(chip: DraftedChip, remarks: tuple[ReadingRemark, ...]) -> DraftedChip:
    """What was read differently stands in the file as well."""
    lines = [f"Line {one.place.line} there: {one.text}." for one in remarks]
    return replace(chip, comments=(*chip.comments, *lines))


class _Reading:
    def __init__(self, chart: Chart, notes: Notebook, remarks: list[ReadingRemark]) -> None:
        self._chart = chart
        self._notes = notes
        self._remarks = remarks
        self._index = EventIndex(chart.root)

    def chip(self, path: str) -> DraftedChip:
        chart, root = self._chart, self._chart.root
        note_data_model(chart, self._notes)
        delays = find_delays(chart, self._index, self._notes)
        variables = read_variables(chart, _assigned(root), self._notes)
        rules, drafted = self._rules(delays, variables)
        words = {name: root.words(name, OURS) for name in ("about", "fair", "battery", "runs_on")}
        heard = dict.fromkeys(event for rule in rules for event in rule.on)
        initial = chart.top.initial
        first = chart.top.children[0]
        return DraftedChip(
            name=name_of_id(root.words("name") or os.path.basename(path).partition(".")[0]),
            states=tuple(self._state(one) for one in chart.top.children),
            rules=rules,
            variables=drafted,
            timers=delays.timers,
            initial=initial.name if initial is not None and initial is not first else "",
            actor=root.words("actor", OURS) == "true",
            concerns=tuple(root.words("concerns", OURS).split()),
            priority=int(root.words("priority", OURS) or 0),
            discards=self._events(root, "discards") if chart.own else tuple(heard),
            defers=self._events(root, "defers"),
            comments=self._head(path),
            **words,
        )

    def _head(self, path: str) -> tuple[str, ...]:
        lines = [f"Read from {os.path.basename(path)} by modecheck."]
        if not self._chart.own:
            lines.append("As in SCXML, an event is discarded in states without a rule for it.")
            lines.append("SCXML does not say where the chip may stay for ever: add `rest: true`.")
        return tuple(lines)

    def _rules(
        self, delays: Delays, variables: Mapping[str, ChartVariable]
    ) -> tuple[tuple[DraftedRule, ...], tuple[DraftedVariable, ...]]:
        chart = self._chart
        expressions = ChartExpressions(chart, variables, self._notes)
        index = self._index
        effects = EffectsReader(chart, expressions, delays, self._notes, self._remarks, index)
        reader = RulesOfChart(
            chart, expressions, effects, delays, index, self._notes, self._remarks
        )
        rules = reader.rules()
        own = {
            one.id: one.drafted
            for one in variables.values()
            if one.drafted is not None and not one.reads
        }
        return rules, tuple(self._started(own, reader).values())

    def _started(
        self, variables: dict[str, DraftedVariable], reader: RulesOfChart
    ) -> dict[str, DraftedVariable]:
        """The variables as they are when the first states have been entered."""
        found = dict(variables)
        top = self._chart.top
        for state in top.entered:
            for node in reader.pending(state, "onentry"):
                drafted = found.get(node.words("location"))
                started = _starting(drafted, node) if drafted is not None else None
                if started is not None:
                    found[node.words("location")] = started
                    told = f"{node.words('location')!r} starts with this value"
                    self._remarks.append(ReadingRemark(node.place, told))
                elif node.tag != "log":
                    message = f"<{node.tag}> when the chart starts"
                    expected = "a chip does nothing when it starts: the first values of variables"
                    self._notes.add(message, node.place, expected=expected)
        return found

    def _events(self, node: XmlNode, attribute: str) -> tuple[str, ...]:
        words = node.words(attribute, OURS).split()
        return tuple(event_name(one, own=self._chart.own) for one in words)

    def _state(self, state: ChartState) -> DraftedState:
        node = state.node
        rest = {"true": True, "false": False}.get(node.words("rest", OURS))
        if node.tag == "final" and rest is None:
            rest = True
            told = f"{state.id!r} is final: here it is a state that may last"
            self._remarks.append(ReadingRemark(node.place, told))
        first = state.children[0] if state.children else None
        initial = state.initial if state.initial is not first else None
        return DraftedState(
            name=state.name,
            states=tuple(self._state(one) for one in state.children),
            initial=initial.name if initial is not None else "",
            rest=rest,
            about=node.words("about", OURS),
            concerns=tuple(node.words("concerns", OURS).split()),
            masks=tuple(node.words("masks", OURS).split()),
            current=node.words("current", OURS),
            discards=self._events(node, "discards"),
            defers=self._events(node, "defers"),
        )


def _starting(variable: DraftedVariable, node: XmlNode) -> DraftedVariable | None:
    """The variable with a literal as its first value, if that is what is assigned."""
    text = node.words("expr").strip("'\"")
    value = variable.type.value_of(text)
    if value is None and variable.type.kind in ("number", "bond") and text.lstrip("-").isdecimal():
        value = int(text)
    fits = node.tag == "assign" and value is not None and variable.type.holds(value)
    if not fits or value is None or variable.length:
        return None
    return replace(variable, start=(value,))


def _assigned(node: XmlNode) -> dict[str, list[str]]:
    """The expressions that are assigned to each variable, as text, anywhere in a document."""
    found: dict[str, list[str]] = {}
    for child in node.children:
        if child.tag == "assign":
            name = child.words("location").split("[")[0].strip()
            found.setdefault(name, []).append(child.words("expr"))
        for name, texts in _assigned(child).items():
            found.setdefault(name, []).extend(texts)
    return found
