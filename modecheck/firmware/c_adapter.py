"""The C code of a chip as an implementation that `modecheck.testing` drives.

Teams with their own C for the same header use it as it is: `built` compiles any sources.
"""

from __future__ import annotations

import ctypes
import os
from collections.abc import Iterable, Sequence

from modecheck.firmware.c_bench import (
    FIRST_OCCASION,
    RESTART,
    SEE,
    SENT,
    SIGNALLED,
    START,
    Bench,
)
from modecheck.firmware.chip_plan import Occasion
from modecheck.firmware.compiler import compiled
from modecheck.firmware.foreign_reads import item_of
from modecheck.testing.adapter import (
    Delivery,
    Event,
    InternalStep,
    Output,
    Restart,
    Sent,
    Sight,
    Signal,
    Signalled,
    TimerExpired,
    plain_value,
)


def built(bench: Bench, sources: Sequence[str], folder: str) -> CAdapter:
    """Compile sources that implement the chip's header, with its bench, and load them.

    Raises `InvalidInput` when there is no compiler, or it refuses the code.
    """
    prefix = bench.code.words.prefix
    own, library = (os.path.join(folder, f"{prefix}_bench.{end}") for end in ("c", "so"))
    with open(own, "w", encoding="utf-8") as file:
        file.write(bench.text())
    debug = f"-D{bench.code.words.names.constant('debug')}"
    compiled([*sources, own], library, ("-shared", "-fPIC", "-O1", debug), folder=folder)
    return CAdapter(bench, library)


class CAdapter:
    """A chip's compiled code. Satisfies `modecheck.testing.StatefulAdapter`."""

    def __init__(self, bench: Bench, library: str) -> None:
        self._bench = bench
        self._plan = bench.code.plan
        self._give = getattr(ctypes.CDLL(library), bench.function)
        self._log = (ctypes.c_int32 * bench.longest_log)()
        self._outputs: list[Output] = []
        self._own: list[int] = []

    def reset(self) -> None:
        """Return to the factory state."""
        self._run([START])
        self._outputs.clear()

    def give(self, event: Event) -> None:
        """Let an event happen."""
        if isinstance(event, Sight):
            self._see(event)
        elif isinstance(event, Restart):
            self._run([RESTART])
        else:
            occasion, value, late = self._occasion(event)
            self._run([self._plan.occasions.index(occasion) + FIRST_OCCASION, value, late])

    def outputs(self) -> Iterable[Output]:
        """What was sent and signalled since the last call."""
        made, self._outputs = self._outputs, []
        return made

    def state(self) -> tuple[str, dict[str, object]]:
        """The chip's state and all its variables."""
        found: dict[str, object] = {}
        for (name, index), value in zip(self._bench.cells, self._own[1:], strict=False):
            told = plain_value(self._plan.chip.variables[name].type, value)
            before = found.get(name, ())
            assert isinstance(before, tuple) or index < 0
            found[name] = (*before, told) if index >= 0 else told  # type: ignore[misc]
        return self._plan.form.leaves[self._own[0]], found

    def _run(self, given: list[int]) -> None:
        size = self._give((ctypes.c_int32 * (len(given) + 3))(*given), self._log)
        log = list(self._log[:size])
        count = log[1]
        for n in range(count):
            kind, first, second, third = log[2 + 4 * n : 6 + 4 * n]
            if kind == SENT:
                queue = self._plan.product.queues[first]
                message = queue.messages[second - 1]
                value = plain_value(message.type, third)
                self._outputs.append(Sent(message.name, value, queue.name))
            elif kind == SIGNALLED:
                value = plain_value(self._plan.product.signal_types[first], third)
                self._outputs.append(Signalled(self._plan.product.signals[first], value))
        self._own = log[2 + 4 * count :]

    def _occasion(self, event: Event) -> tuple[Occasion, int, int]:
        product = self._plan.product
        if isinstance(event, Delivery):
            number = next(n for n, one in enumerate(product.queues) if one.name == event.link)
            names = [message.name for message in product.queues[number].messages]
            code = names.index(event.message) + 1
            value = _number(product.queues[number].messages[code - 1].type, event.value)
            return Occasion(queue=number, code=code), value, int(event.late)
        if isinstance(event, Signal):
            signal = product.signals.index(event.name)
            value = _number(product.signal_types[signal], event.value)
            return Occasion(signal=signal), value, 0
        assert isinstance(event, TimerExpired | InternalStep)
        number = next(n for n, rule in self._plan.rules.items() if rule.title == event.rule)
        if isinstance(event, InternalStep):
            return Occasion(rule=number), 0, 0
        leaf = self._plan.form.leaves.index(event.state)
        waits = self._plan.timers.waits_for
        rule = self._plan.rules[number]
        timer = next(n for n in range(len(self._plan.timers.all)) if waits(n, rule, leaf))
        return Occasion(timer=timer), 0, 0

    def _see(self, sight: Sight) -> None:
        """Write down what the chip can read of others; a link's messages one by one."""
        plan, expressions = self._plan, self._bench.code.expressions
        for field in plan.foreign:
            one = plan.product.fields[field]
            place = max(expressions.place_of(field), 0)
            if one.owner < 0 and sight.name == f"{item_of(one.name)[0]}.waiting":
                value = self._waiting(field, sight.value, place)
            elif one.name == sight.name:
                value = self._seen(field, sight.value)
            else:
                continue
            reader = self._bench.readers.index(expressions.reader(field))
            self._run([SEE, reader, place, value])

    def _waiting(self, field: int, names: object, place: int) -> int:
        assert isinstance(names, tuple)
        slots = ((q, s) for q in self._plan.product.queues for s in q.slots)
        queue = next(queue for queue, slot in slots if slot.code == field)
        known = [message.name for message in queue.messages]
        return known.index(names[place]) + 1 if place < len(names) else 0

    def _seen(self, field: int, value: object) -> int:
        one = self._plan.product.fields[field]
        owner = self._plan.product.chips[one.owner]
        if field == owner.state_field:
            return owner.leaves.index(str(value))
        return _number(one.type, value)


def _number(type_: object, value: object) -> int:
    """A value as the C code knows it."""
    from modecheck.model.values import ValueType

    if value is None:
        return 0
    if isinstance(type_, ValueType) and type_.kind == "word":
        found = type_.value_of(str(value))
        assert found is not None
        return found
    assert isinstance(value, int)
    return int(value)
