"""The names that a log can use: chips, their states, and the events that trigger their rules."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from modecheck.bench.log_lines import LogLine
from modecheck.model.errors import InputError, InvalidInput, nearest_name
from modecheck.model.parts import Chip
from modecheck.model.values import ValueType
from modecheck.product.ir import Product

ANY_TIMER = "timer"
"""What a line may give as its event for any timer of its chip."""


@dataclass(frozen=True, slots=True)
class ColumnError:
    """What is wrong with one column of a line."""

    column: str
    message: str
    word: str = ""
    choices: tuple[str, ...] = ()
    expected: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """The words of a line, verbatim; empty for what it leaves out."""

    chip: str
    event: str
    state: str = ""
    value: str = ""


class Vocabulary:
    """Understands lines of a log by the names of one product.

    `recorded` are the chips that may occur in a log, or None for all.
    """

    def __init__(self, product: Product, recorded: Collection[str] | None = None) -> None:
        self._product = product
        self._numbers = {chip.name: number for number, chip in enumerate(product.chips)}
        self._recorded = self._numbers if recorded is None else recorded
        self._events = [_Events(product, chip) for chip in product.device.chips.values()]

    def line(self, written: Written) -> LogLine | ColumnError:
        """The line that these words mean, or the error of the first one that is unknown."""
        wrong = self._wrong_chip(written.chip)
        if wrong is not None:
            return wrong
        number = self._numbers[written.chip]
        events = self._events[number]
        heard = events.understood(written.event)
        if isinstance(heard, ColumnError):
            return heard
        names, link = heard
        leaves = self._leaves(number, written.state)
        if isinstance(leaves, ColumnError):
            return leaves
        values = events.values(names, link, written.value)
        if isinstance(values, ColumnError):
            return values
        return LogLine(number, names, link, values, leaves, _said(written))

    def _wrong_chip(self, name: str) -> ColumnError | None:
        if name not in self._numbers:
            return ColumnError("chip", f"there is no chip {name!r}", name, tuple(self._numbers))
        if name not in self._recorded:
            message = f"{name!r} is not among the recorded chips"
            return ColumnError("chip", message, name, tuple(self._recorded))
        return None

    def _leaves(self, chip: int, state: str) -> frozenset[int] | ColumnError | None:
        if not state:
            return None
        form = self._product.chips[chip]
        states = self._product.device.chips[form.name].states
        if state not in states:
            message = f"{form.name} has no state {state!r}"
            return ColumnError("state", message, state, tuple(states))
        return frozenset(form.leaves.index(leaf) for leaf in states[state].leaves)


class _Events:
    """What can set off a rule of one chip: messages by link, signals, timers."""

    def __init__(self, product: Product, chip: Chip) -> None:
        self._chip = chip.name
        self._carried: dict[str, dict[str, ValueType | None]] = {}
        for queue in product.queues:
            if product.chips[queue.receiver].name == chip.name:
                for message in queue.messages:
                    self._carried.setdefault(message.name, {})[queue.name] = message.type
        self._signals = dict(zip(product.signals, product.signal_types, strict=True))
        timers = [rule.after.text for rule in chip.rules if rule.after is not None]
        self._timers = tuple(dict.fromkeys(timers))

    def understood(self, text: str) -> tuple[tuple[str, ...], str] | ColumnError:
        """The events that a text names, and the link if it names one."""
        plain = text in self._carried or text in self._signals or text in self._timers
        if text == ANY_TIMER and self._timers:
            return tuple(dict.fromkeys([*self._timers, *([text] if plain else [])])), ""
        if plain:
            return (text,), ""
        name, via, link = text.partition(" via ")
        if via and link in self._carried.get(name, {}):
            return (name,), link
        return ColumnError("event", f"{self._chip} has no event {text!r}", text, self._choices())

    def _choices(self) -> tuple[str, ...]:
        over = (f"{name} via {link}" for name, links in self._carried.items() for link in links)
        timers = (*self._timers, ANY_TIMER) if self._timers else ()
        return (*self._carried, *self._signals, *timers, *over)

    def values(
        self, names: tuple[str, ...], link: str, text: str
    ) -> frozenset[str] | ColumnError | None:
        """The value in a text, as the model spells it; None for no text."""
        if not text:
            return None
        carried = self._carried.get(names[0], {})
        types = [type_ for via, type_ in carried.items() if link in ("", via)]
        types += [] if link else [self._signals.get(names[0])]
        known = [type_ for type_ in types if type_ is not None]
        if not known:
            return ColumnError("value", f"{names[0]} carries no value", expected="nothing")
        spelled = frozenset(filter(None, (_spelled(type_, text) for type_ in known)))
        if spelled:
            return spelled
        words = tuple(word for type_ in known for word in type_.words)
        message = f"{names[0]} cannot carry {text!r}"
        return ColumnError("value", message, text, words, expected=_either(known))


def _either(types: list[ValueType]) -> str:
    return " or ".join(dict.fromkeys(map(str, types)))


def _spelled(type_: ValueType, text: str) -> str:
    """The value that a text gives, as the model spells it; nothing where it gives none."""
    value = type_.value_of(text)
    if value is None and re.fullmatch(r"-?[0-9]{1,18}", text):
        value = int(text)
    return "" if value is None or not type_.holds(value) else type_.spell(value)


def _said(written: Written) -> str:
    value = f"({written.value})" if written.value else ""
    state = f" → {written.state}" if written.state else ""
    return f"{written.chip}: {written.event}{value}{state}"


def recorded_chips(product: Product, text: str) -> tuple[str, ...]:
    """The chips in a comma-separated list. Raises `InvalidInput` for names that no chip has."""
    known = sorted(chip.name for chip in product.chips)
    names = tuple(dict.fromkeys(name for name in map(str.strip, text.split(",")) if name))
    errors = [
        InputError(f"there is no chip {name!r}", None, f"one of {', '.join(known)}", nearest)
        for name in names
        if name not in known
        for nearest in [nearest_name(name, known)]
    ]
    if not names:
        errors = [InputError("no recorded chip is given", None, f"one of {', '.join(known)}")]
    if errors:
        raise InvalidInput(errors)
    return names
