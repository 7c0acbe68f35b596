"""Delayed events of an SCXML document as timers of a chip.

An event that a state sends itself with a delay when it is entered, and cancels when it is left, is
what a rule with `after` waits for. Any other delayed event is a named timer, which rules start and
stop. Here is decided which is which.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from modecheck.exchange.scxml_chart import Chart, ChartState, name_of_id
from modecheck.exchange.scxml_events import EventIndex
from modecheck.exchange.scxml_words import OURS
from modecheck.exchange.xml_reading import XmlAttribute, XmlNode
from modecheck.model.clocks import spelled
from modecheck.model.errors import Notebook

DELAY = re.compile(r"(\d{1,12}(?:\.\d{1,12})?|\.\d{1,12})(ms|s)")
"""A time of CSS 2, as SCXML has it (section 6.2.4)."""

QUOTED = re.compile(r"'([^']*)'|\"([^\"]*)\"")


@dataclass(frozen=True, slots=True)
class DelayedEvent:
    """An event that comes after a `duration`, as the model writes it. With a `state` it is what
    rules of that state wait for, otherwise the timer `name`.
    """

    event: str
    duration: str
    name: str = ""
    state: ChartState | None = None


@dataclass(slots=True)
class Delays:
    """By event, and by the id under which an event was sent. `done` are elements that `after`
    stands for.
    """

    events: dict[str, DelayedEvent] = field(default_factory=dict)
    ids: dict[str, DelayedEvent] = field(default_factory=dict)
    done: set[int] = field(default_factory=set)

    @property
    def timers(self) -> dict[str, str]:
        """The named timers with their durations."""
        return {one.name: one.duration for one in self.events.values() if one.state is None}


@dataclass(frozen=True, slots=True)
class _Found:
    """A `<send>` or `<cancel>`: its state, where it stands there (onentry, onexit, transition), the
    transition, and whether it happens in any case, not only on a condition.
    """

    node: XmlNode
    state: ChartState
    where: str
    transition: XmlNode | None
    always: bool

    @property
    def id(self) -> str:
        return self.node.words("id") or self.node.words("sendid")


def find_delays(chart: Chart, index: EventIndex, notes: Notebook) -> Delays:
    """All delayed events of a chart; what is wrong with one is noted."""
    sends: dict[str, list[_Found]] = {}
    cancels: list[_Found] = []
    for one in _everything(chart):
        if one.node.tag == "cancel":
            cancels.append(one)
        elif is_delayed(one.node) and _is_own(one.node, notes):
            sends.setdefault(one.node.words("event"), []).append(one)
    delays = Delays()
    by_id: dict[str, list[_Found]] = {}
    for one in cancels:
        by_id.setdefault(one.id, []).append(one)
    for event, found in sends.items():
        _add(delays, chart, index, event, found, by_id, notes)
    for one in cancels:
        given = one.node.get("sendid")
        if given is not None and given.text not in delays.ids:
            message = f"no delayed <send> has the id {given.text!r}"
            notes.add(message, given.whole, word=given.text, choices=delays.ids)
        elif given is None:
            expected = 'sendid="…"'
            notes.add("a <cancel> whose id is computed", one.node.place, expected=expected)
    return delays


def is_delayed(node: XmlNode) -> bool:
    """Whether a `<send>` says when its event comes."""
    return node.get("delay") is not None or node.get("delayexpr") is not None


def _is_own(node: XmlNode, notes: Notebook) -> bool:
    """Whether a delayed event is one for the chart itself without a value, which is what a timer
    is; anything else is noted.
    """
    target = node.get("target") or node.get("targetexpr")
    values = [*node.of("param", "content"), *([node] if node.get("namelist") else [])]
    if target is not None:
        message = f"a delayed event for {target.text!r}"
        expected = "a delayed event of its own, without a target, and a <send> when that comes"
        notes.add(message, target.whole, expected=expected)
    elif values:
        expected = "a variable that keeps it: a timer brings no value along"
        notes.add("a delayed event that brings a value along", values[0].place, expected=expected)
    return target is None and not values


def _everything(chart: Chart) -> Iterator[_Found]:
    for state in chart.all:
        for child in state.node.of("onentry", "onexit", "transition"):
            transition = child if child.tag == "transition" else None
            direct = set(map(id, child.children))
            for node in _within(child):
                if node.tag in ("send", "cancel"):
                    yield _Found(node, state, child.tag, transition, id(node) in direct)


def _within(node: XmlNode) -> Iterator[XmlNode]:
    for child in node.children:
        yield child
        yield from _within(child)


def _add(
    delays: Delays,
    chart: Chart,
    index: EventIndex,
    event: str,
    found: list[_Found],
    cancels: dict[str, list[_Found]],
    notes: Notebook,
) -> None:
    durations = [_duration(one.node, notes) for one in found]
    ids = {one.id for one in found} - {""}
    for one, duration in zip(found, durations, strict=True):
        if duration and durations[0] and duration != durations[0]:
            message = f"{event!r} comes after {durations[0]} elsewhere, and after {duration} here"
            notes.add(message, one.node.place, expected="one time for each timer")
            return
    if not event or not all(durations):
        return
    ending = [one for known in sorted(ids) for one in cancels.get(known, ())]
    state = _waiting_state(index, event, found, ending)
    name = "" if state is not None else _timer_name(chart, event, ids)
    delayed = DelayedEvent(event, str(durations[0]), name, state)
    delays.events[event] = delayed
    delays.ids |= dict.fromkeys(ids, delayed)
    if state is not None:
        delays.done |= {id(one.node) for one in (*found, *ending)}


def _timer_name(chart: Chart, event: str, ids: set[str]) -> str:
    """What it is called: exports of ours put a word of their own before the name of a timer."""
    name = event.partition(".")[2] if chart.own else ""
    return name_of_id(name or min(ids, default=event))


def _waiting_state(
    index: EventIndex, event: str, sends: list[_Found], cancels: list[_Found]
) -> ChartState | None:
    """The state whose rules wait for the event since it was entered, or None: a named timer."""
    entering = [one for one in sends if one.where == "onentry"]
    if len(entering) != 1 or len(cancels) != 1 or cancels[0].where != "onexit":
        return None
    state = entering[0].state
    if cancels[0].state is not state or not all(one.always for one in (*sends, *cancels)):
        return None
    waiting = index.waiting_for(event)
    own = all(index.around[id(node)] is state.node for node in waiting)
    again = {id(one.transition) for one in sends if one.where == "transition"}
    staying = {id(node) for node in waiting if node.get("target") is None}
    return state if own and again == staying else None


def _duration(node: XmlNode, notes: Notebook) -> str | None:
    """The delay of a `<send>` as a model writes it."""
    low = _delay(node, notes)
    latest = node.words("latest", OURS)
    if low is None:
        return None
    return f"[{spelled(low)}, {latest}]" if latest else spelled(low) if low else "0 ms"


def _delay(node: XmlNode, notes: Notebook) -> Fraction | None:
    attribute = node.get("delay") or node.get("delayexpr")
    assert attribute is not None
    text = attribute.text.strip()
    if node.get("delay") is None:
        quoted = QUOTED.fullmatch(text)
        text = quoted[1] or quoted[2] or "" if quoted else text
    match = DELAY.fullmatch(text)
    if match is None:
        _note_delay(attribute, notes)
        return None
    return Fraction(match[1]) * (Fraction(1, 1000) if match[2] == "ms" else 1)


def _note_delay(attribute: XmlAttribute, notes: Notebook) -> None:
    expected = "a number with ms or s, such as 20ms or 1.5s"
    notes.add(f"{attribute.text!r} is not a delay", attribute.whole, expected=expected)
