"""Write the rules of a chip as a table with a row for each, which `table_reading` reads back.

Lines above the table say what else is known of the chip. What a table has no words for is told
with its place.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from modecheck.exchange.constant_values import ConstantValues, own_constants
from modecheck.exchange.quantity_words import ampere_hours_text, amperes_text
from modecheck.exchange.scxml_chart import ReadingRemark
from modecheck.exchange.table_words import (
    COLUMNS,
    DEFERRED,
    DISCARDED,
    MORE_COLUMNS,
    duration_text,
    holds_text,
)
from modecheck.model.parts import Chip, Device, Event, Reply, Rule, State
from modecheck.model.rule_effects import Send
from modecheck.model.shapes import IDENTIFIER
from modecheck.model.shared_values import NamedConstant
from modecheck.model.starts import need_one_start
from modecheck.model.values import ValueType

NO_CONSTANTS = ConstantValues({})
WORDS = {"discard": DISCARDED, "defer": DEFERRED}


@dataclass(frozen=True, slots=True)
class WrittenTable:
    """The rows of a chip, and what they do not say of it."""

    rows: tuple[tuple[str, ...], ...]
    unsaid: tuple[ReadingRemark, ...]


def table_of(device: Device, chip: Chip) -> WrittenTable:
    """Everything that the model knows of a chip."""
    constants, unclear = own_constants(device, chip)
    rules = [RuleWriter(device, rule, constants).cells() for rule in chip.rules]
    used = [name for name in MORE_COLUMNS if any(one.get(name) for one in rules)]
    columns = [*COLUMNS, *used]
    replies = list(_replies(device, chip))
    rows = [[one.get(name, "") for name in columns] for one in (*rules, *replies)]
    head = [tuple(one) for one in head_of(device, chip)]
    unsaid = (*_unsaid(chip), *map(_unclear, unclear))
    return WrittenTable((*head, tuple(columns), *map(tuple, rows)), unsaid)


def head_of(device: Device, chip: Chip) -> Iterator[Sequence[str]]:
    """The lines above the table. Raises `InvalidInput` if the chip may start in several ways."""
    need_one_start(device, "a table has one initial state and one first value", [chip.name])
    yield "actor" if chip.actor else "chip", _identifier(chip.name)
    texts = {
        "about": chip.about,
        "fair": chip.fair,
        "concerns": " ".join(chip.concerns),
        "runs_on": chip.runs_on,
        "priority": str(chip.priority or ""),
        "battery": ampere_hours_text(chip.battery),
    }
    yield from ((key, " ".join(text.split())) for key, text in texts.items() if text)
    for one in chip.variables.values():
        start = " ".join(_spelled(one.type, value) for value in one.start)
        kept = ["persistent"] if one.persistent else []
        yield "variable", one.name, holds_text(one.type, one.length), start, *kept
    for timer in chip.timers.values():
        yield "timer", timer.name, duration_text(timer.duration)
    yield "states", *(name for name, state in chip.states.items() if state.parent is None)
    for state in chip.states.values():
        if state.children:
            yield "inside", state.name, *state.children
    yield from _of_states(chip)
    for word, manner in (("discards", "discard"), ("defers", "defer")):
        found = [one for one in chip.replies.get("", ()) if one.manner == manner]
        if found:
            yield word, *dict.fromkeys(event_text(device, one.event) for one in found)


def _identifier(name: str) -> str:
    """The name of a copy is that of its file without a number."""
    return name.partition("[")[0]


def _spelled(type_: ValueType, value: int) -> str:
    if type_.kind == "truth":
        return "true" if value else "false"
    return type_.spell(value) if type_.kind == "word" else str(value)


def _of_states(chip: Chip) -> Iterator[Sequence[str]]:
    begun = [
        one.initial
        for one in chip.states.values()
        if one.initial is not None and one.initial != one.children[0]
    ]
    if chip.initial != next(iter(chip.states)):
        begun.insert(0, chip.initial)
    if begun:
        yield "initial", *begun
    for word, rests in (("rest", True), ("awake", False)):
        names = [s.name for s in chip.states.values() if s.rest is rests and not _inherits(chip, s)]
        if names:
            yield word, *names
    for state in chip.states.values():
        around = chip.states[state.parent].current if state.parent else None
        texts = {
            "about": " ".join(state.about.split()),
            "concerns": " ".join(state.concerns),
            "masks": " ".join(state.masks),
            "current": "" if state.current == around else amperes_text(state.current),
        }
        yield from ((word, state.name, text) for word, text in texts.items() if text)


def _inherits(chip: Chip, state: State) -> bool:
    return state.rest == (chip.states[state.parent].rest if state.parent else False)


def event_text(device: Device, event: Event) -> str:
    """An event as a rule names it: a broadcast by the name that all its links share."""
    link = device.links.get(event.link) if event.link else None
    return f"{event.name} via {link.called}" if link is not None else event.name


def _replies(device: Device, chip: Chip) -> Iterator[dict[str, str]]:
    """Rows for what states do with events that no rule takes."""
    for state, replies in chip.replies.items():
        if state:
            for one in _distinct(device, replies):
                yield {"state": state, **one}


def _distinct(device: Device, replies: Iterable[Reply]) -> list[dict[str, str]]:
    rows = [{"event": event_text(device, one.event), "next": WORDS[one.manner]} for one in replies]
    return [row for number, row in enumerate(rows) if row not in rows[:number]]


@dataclass(frozen=True, slots=True)
class RuleWriter:
    """A rule as the cells of a table."""

    device: Device
    rule: Rule
    constants: ConstantValues = NO_CONSTANTS

    def cells(self) -> dict[str, str]:
        """The cells of a rule by their columns. Branches of one rule have titles with a point."""
        rule = self.rule
        title = rule.title if rule.branch is not None or ":" not in rule.title else ""
        title = called(rule.whole) + title.removeprefix(rule.whole) if title else ""
        return {
            "rule": title,
            "state": ", ".join(rule.sources),
            "event": self.event(),
            "condition": self.condition(),
            "action": "; ".join(self.actions()),
            "next": rule.target or "",
            "priority": str(rule.priority or ""),
            "text": " ".join(rule.phrase.split()),
            "fair": rule.fair,
            "weight": str(rule.weight) if rule.weight is not None else "",
            "concerns": " ".join(rule.concerns),
            "steps": "separate" if rule.separate else "",
        }

    def event(self) -> str:
        rule = self.rule
        if rule.expires:
            return f"expires {rule.expires}"
        if rule.after is not None:
            return f"{'period' if rule.periodic else 'after'} {duration_text(rule.after)}"
        return ", ".join(dict.fromkeys(event_text(self.device, one) for one in rule.trigger))

    def condition(self) -> str:
        """What has to hold besides that no branch before this one can be taken."""
        branch = self.rule.branch
        own = self.constants.condition(" ".join(self.rule.guard_text.split()))
        given = self.constants.condition(" ".join(branch.given_text.split())) if branch else ""
        return f"({given}) and ({own})" if given and own else given or own

    def actions(self) -> Iterator[str]:
        rule = self.rule
        assigned = (" ".join(one.text.split()) for one in rule.assignments)
        yield from map(self.constants.assignment, assigned)
        yield from dict.fromkeys(f"send {self._send(one)}" for one in rule.sends)
        signalled = (self.constants.signal(" ".join(one.text.split())) for one in rule.signalled)
        yield from (f"signal {one}" for one in signalled)
        yield from (f"start {one}" for one in rule.starts)
        yield from (f"stop {one}" for one in rule.stops)

    def _send(self, send: Send) -> str:
        return self.constants.send(" ".join(send.text.split()))


def _unsaid(chip: Chip) -> Iterator[ReadingRemark]:
    for rule in chip.rules:
        name = rule.whole
        if name != called(name):
            told = f"the rule {name!r} is called {called(name)!r}: a rule in a file cannot be"
            yield ReadingRemark(rule.place, f"{told} called as one that is written for each copy")


def _unclear(constant: NamedConstant) -> ReadingRemark:
    told = f"the constant {constant.name!r} of the chip is called as a value of a variable"
    return ReadingRemark(constant.place, f"{told}, and is written by its name")


def called(name: str) -> str:
    """The name of a rule in a table; of a rule without a name, its title."""
    if ":" in name or IDENTIFIER.fullmatch(name):
        return name
    return re.sub(r"\W+", "_", name).strip("_")
