"""Executable content of SCXML as what a rule does, with a branch for each way through its `<if>`.

SCXML does one thing after the other; a rule judges its conditions first, then assigns, then sends.
Content for which the order makes a difference is an error.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from modecheck.exchange.chip_draft import DraftedBranch, DraftedEffects
from modecheck.exchange.scxml_chart import Chart, ReadingRemark, name_of_id
from modecheck.exchange.scxml_delays import Delays, is_delayed
from modecheck.exchange.scxml_events import EventIndex, event_name
from modecheck.exchange.scxml_expressions import ChartExpression, ChartExpressions, EventData
from modecheck.exchange.scxml_words import DEVICE, OURS, SCXML
from modecheck.exchange.xml_reading import XmlNode
from modecheck.model.errors import Notebook
from modecheck.model.places import Place

MOST_WAYS = 16
"""Ways through one transition; a rule with more branches is not one that a person reads."""

SESSION_TYPES = ("", "scxml", "http://www.w3.org/TR/scxml/#SCXMLEventProcessor")


@dataclass(frozen=True, slots=True)
class Way:
    """A way through the content: its conditions, what it does, and what it has assigned."""

    conditions: tuple[str, ...] = ()
    do: tuple[str, ...] = ()
    send: tuple[str, ...] = ()
    signal: tuple[str, ...] = ()
    start: tuple[str, ...] = ()
    stop: tuple[str, ...] = ()
    assigned: frozenset[str] = frozenset()
    sent_reads: frozenset[str] = frozenset()

    def effects(self, to: str) -> DraftedEffects:
        stop = tuple(one for one in self.stop if one not in self.start)
        return DraftedEffects(self.do, self.send, self.signal, self.start, stop, to)

    def branch(self, to: str) -> DraftedBranch:
        conditions = [f"({one})" if len(self.conditions) > 1 else one for one in self.conditions]
        return DraftedBranch(" and ".join(conditions), self.effects(to))


@dataclass(slots=True)
class EffectsReader:
    """Reads the content of transitions; `index` finds those that wait for an event."""

    chart: Chart
    expressions: ChartExpressions
    delays: Delays
    notes: Notebook
    remarks: list[ReadingRemark]
    index: EventIndex
    _scratch: dict[str, ChartExpression] = field(default_factory=dict)

    def ways(self, nodes: Sequence[XmlNode], data: EventData, given: str = "") -> list[Way]:
        """All ways through the content where the condition `given` holds, in the order in which
        they are tried.
        """
        self._scratch = {}
        return self._through([Way((given,) if given else ())], nodes, data)

    def _through(self, ways: list[Way], nodes: Sequence[XmlNode], data: EventData) -> list[Way]:
        position = 0
        while position < len(nodes):
            node = nodes[position]
            together = self._together(nodes[position:])
            if node.tag == "if" and node.space == SCXML:
                ways = [one for way in ways for one in self._branching(way, node, data)]
                if len(ways) > MOST_WAYS:
                    message = f"more than {MOST_WAYS} ways through one transition"
                    self.notes.add(message, node.place, expected="transitions with conditions")
                    return ways[:MOST_WAYS]
            elif together:
                ways = self._assign_together(ways, together, data)
                position += len(together) - 1
            elif node.space == SCXML and id(node) not in self.delays.done:
                ways = self._simple(ways, node, data)
            position += 1
        return ways

    def _branching(self, way: Way, node: XmlNode, data: EventData) -> Iterator[Way]:
        """The ways on from an `<if>`; without an `<else>` there is one that does nothing."""
        parts: list[tuple[XmlNode, list[XmlNode]]] = [(node, [])]
        for child in node.children:
            if child.tag in ("elseif", "else"):
                parts.append((child, []))
            else:
                parts[-1][1].append(child)
        for head, content in parts:
            begun = way
            attribute = head.get("cond")
            if attribute is not None:
                found = self.expressions.condition(attribute, data)
                if found is None:
                    continue
                self._need_unassigned(found, way.assigned, attribute.whole)
                begun = replace(way, conditions=(*way.conditions, found.text))
            yield from self._through([begun], content, data)
        if parts[-1][0].tag != "else":
            yield way

    def _need_unassigned(
        self, found: ChartExpression, assigned: frozenset[str], place: Place
    ) -> None:
        late = sorted(found.reads & assigned)
        if late:
            message = f"{late[0]!r} is assigned before this condition asks for it"
            expected = "the condition first: a rule judges its conditions before it assigns"
            self.notes.add(message, place, expected=expected)

    def _simple(self, ways: list[Way], node: XmlNode, data: EventData) -> list[Way]:
        match node.tag:
            case "assign":
                return self._assign(ways, node, data)
            case "send":
                return self._send(ways, node, data)
            case "cancel":
                delayed = self.delays.ids.get(node.words("sendid"))
                name = (delayed.name,) if delayed is not None else ()
                return [replace(way, stop=(*way.stop, *name)) for way in ways]
            case "raise":
                self._raise(node)
            case "log":
                self.remarks.append(ReadingRemark(node.place, "a <log> is left out"))
        return ways

    def _raise(self, node: XmlNode) -> None:
        event = node.words("event")
        if self.index.waiting_for(event):
            message = f"the chart raises {event!r} for itself"
            expected = "the effects in place of <raise>: a chip does not hear its own signals"
            self.notes.add(message, node.place, expected=expected)
            return
        told = f"nothing in the chart reacts to {event!r}, which it raises: left out"
        self.remarks.append(ReadingRemark(node.place, told))

    # Assignments

    def _assignment(self, node: XmlNode, data: EventData) -> tuple[str, ChartExpression] | None:
        """The variable, and the assignment as text with what it reads."""
        location, expr = node.get("location"), node.get("expr")
        assert location is not None, "the grammar requires it"
        if expr is None:
            expected = 'expr="…"'
            self.notes.add("an <assign> without an expression", node.place, expected=expected)
            return None
        target = self.expressions.location(location, data)
        self._need_no_scratch(node)
        identity = location.text.split("[")[0].strip()
        variable = self.expressions.variables.get(identity)
        if target is None or variable is None:
            return None
        want = variable.drafted.type if variable.drafted is not None else None
        held = self._scratch.get(expr.text.strip())
        value = held or self.expressions.value(expr, data, want)
        if value is None:
            return None
        reads = value.reads | (target.reads - {identity})
        return identity, ChartExpression(f"{target.text} = {value.text}", reads)

    def _need_no_scratch(self, node: XmlNode) -> None:
        variable = self.expressions.variables.get(node.words("location"))
        if variable is not None and variable.scratch:
            message = f"{variable.id!r} holds values only between assignments that belong together"
            self.notes.add(message, node.place, expected='chip:together="…" with all of them')

    def _assign(self, ways: list[Way], node: XmlNode, data: EventData) -> list[Way]:
        found = self._assignment(node, data)
        return ways if found is None else self._assigned(ways, node, [found])

    def _assigned(
        self, ways: list[Way], node: XmlNode, found: list[tuple[str, ChartExpression]]
    ) -> list[Way]:
        """Ways on, after assignments that are made together."""
        pairs = [one.text.split(" = ", 1) for _, one in found]
        targets, values = (", ".join(part) for part in zip(*pairs, strict=True))
        text, names = f"{targets} = {values}", frozenset(name for name, _ in found)
        for way in ways:
            late = sorted(way.sent_reads & names)
            if late:
                message = f"{late[0]!r} is assigned after a value with it was sent"
                expected = "the <assign> first: a rule assigns before it sends"
                self.notes.add(message, node.place, expected=expected)
        return [replace(way, do=(*way.do, text), assigned=way.assigned | names) for way in ways]

    def _together(self, nodes: Sequence[XmlNode]) -> list[XmlNode]:
        """The assignments at the beginning that an export made of one, over scratch variables or
        not; none if there are no such.
        """
        words = nodes[0].words("together", OURS)
        count = int(words) if words.isdecimal() and len(words) < 3 else 0
        variables = self.expressions.variables
        first = variables.get(nodes[0].words("location"))
        if first is not None and first.scratch:
            count *= 2
        found = list(nodes[:count])
        fits = len(found) == count and all(one.tag == "assign" for one in found)
        return found if fits else []

    def _assign_together(self, ways: list[Way], nodes: list[XmlNode], data: EventData) -> list[Way]:
        found = []
        for node in nodes:
            location, expr = node.get("location"), node.get("expr")
            variable = self.expressions.variables.get(node.words("location"))
            if variable is not None and variable.scratch and expr is not None:
                value = self.expressions.value(expr, data, None)
                if value is not None and location is not None:
                    self._scratch[location.text.strip()] = value
                continue
            one = self._assignment(node, data)
            if one is not None:
                found.append(one)
        return self._assigned(ways, nodes[0], found) if found else ways

    # Sends

    def _send(self, ways: list[Way], node: XmlNode, data: EventData) -> list[Way]:
        event = node.get("event")
        if event is None:
            computed = node.get("eventexpr") is not None
            message = f"a <send> {'whose event is computed' if computed else 'without an event'}"
            self.notes.add(message, node.place, expected='event="…"')
            return ways
        delayed = self.delays.events.get(event.text)
        if is_delayed(node):
            timers = (delayed.name,) if delayed is not None else ()
            return [replace(way, start=(*way.start, *timers)) for way in ways]
        link = self._link(node)
        if link is None:
            return ways
        name, value = event_name(event.text, own=self.chart.own), self._carried(node, data)
        own = self.chart.own and not link
        carried = f"({value.text})" if value is not None else ""
        reads = value.reads if value is not None else frozenset()
        if own and " via " not in name:
            return [
                replace(
                    way, signal=(*way.signal, f"{name}{carried}"), sent_reads=way.sent_reads | reads
                )
                for way in ways
            ]
        message, _, via = name.partition(" via ")
        text = f"{message}{carried}" + (f" via {via or link}" if via or link else "")
        return [
            replace(way, send=(*way.send, text), sent_reads=way.sent_reads | reads) for way in ways
        ]

    def _link(self, node: XmlNode) -> str | None:
        """The link that a target stands for, nothing for the session that invoked this one, None
        after noting that there is none.
        """
        kind, target = node.words("type"), node.get("target")
        if kind not in SESSION_TYPES:
            attribute = node.get("type")
            assert attribute is not None
            expected = "a <send> to other sessions of SCXML"
            self.notes.add(f"the type {kind!r}", attribute.whole, expected=expected)
            return None
        if target is None or node.get("targetexpr") is not None:
            message = "a chart that sends an event to itself"
            if node.get("targetexpr") is not None:
                message = "a target that is computed"
            expected = f'target="{DEVICE}", or target="#_LINK" for a message over a link'
            self.notes.add(message, node.place, expected=expected)
            return None
        if target.text == DEVICE:
            return ""
        name = target.text.removeprefix("#_")
        if name == "internal" or name.startswith("scxml_") or name_of_id(name) != name:
            expected = f"{DEVICE}, or #_LINK for a message over a link"
            self.notes.add(f"the target {target.text!r}", target.whole, expected=expected)
            return None
        return name

    def _carried(self, node: XmlNode, data: EventData) -> ChartExpression | None:
        """The one value that a message carries."""
        found = [one.get("expr") or one.get("location") for one in node.of("param")]
        found += [one.get("expr") for one in node.of("content")]
        listed = node.get("namelist")
        found += [listed] if listed is not None else []
        if len(found) > 1 or (listed is not None and len(listed.text.split()) > 1):
            expected = "one value: a message of a model carries one at most"
            self.notes.add(
                "an event that brings several values along", node.place, expected=expected
            )
            return None
        attribute = found[0] if found else None
        if found and attribute is None:
            self.notes.add("a value without an expression", node.place, expected='expr="…"')
        return self.expressions.value(attribute, data, None) if attribute is not None else None
