"""What can be seen of an explored device, read off its space."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from modecheck.compare.labelled import SILENT, Array, LabelledSystem
from modecheck.compare.sendings import Sending, Sendings
from modecheck.compare.told_systems import SeenStep, ToldSystem
from modecheck.compare.visible import OWN_NAMES, Called, Visible, VisibleEvent, in_order, seen_as
from modecheck.engine.contract.space import INITIAL, Space
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.search.explored_space import Exploration
from modecheck.model.errors import ModecheckError
from modecheck.product.ir import Product
from modecheck.scenario.replay import Move
from modecheck.scenario.traces import Trace


class NotExplored(ModecheckError):
    """Not all states and transitions are known, so equivalence cannot be decided."""

    def __init__(self, reason: str) -> None:
        super().__init__()
        self.reason = reason

    def __str__(self) -> str:
        return f"the comparison is incomplete: exploration was stopped by {self.reason}"


@dataclass(slots=True)
class _Steps:
    """All transitions; `kinds[i]` is the kind of transition `i`: a label of the product and the
    bits of what it reports. `failing` says for each state whether a step fails in it.
    """

    sources: Array
    targets: Array
    kinds: Array
    labels: list[int]
    events: list[int]
    failing: Array


class ObservedSpace:
    """A space whose product is `reporting` something, for any number of looks.

    With `begins` the device begins before its initial state, and then silently starts there: so do
    two devices of which one may start in several states. Raises `NotExplored`.
    """

    def __init__(
        self, space: Space, reported: Visible, called: Called = OWN_NAMES, *, begins: bool = False
    ) -> None:
        if not space.complete:
            raise NotExplored(space.stopped_by)
        self._space = space
        self._reported = reported
        self._called = called
        self._begins = begins or bool(space.product.starts)
        self._steps = _steps_of(space)

    @property
    def product(self) -> Product:
        return self._space.product

    @cached_property
    def told(self) -> ToldSystem:
        """The system with all that is reported, in all modes."""
        told = _Reading(self._space, self._steps, self._reported, self._called).told()
        return replace(told, system=_begun(told.system, self._space)) if self._begins else told

    def trace(self, system: LabelledSystem, run: Iterable[int]) -> Trace:
        """A run from the initial state, given by transition numbers of `told`, or of a
        look at it, but not of a reduced system.
        """
        moves = (self._move(system, number) for number in run)
        return Trace(self.product, tuple(move for move in moves if move is not None))

    def _move(self, system: LabelledSystem, number: int) -> Move | None:
        """The step of a transition; None for a start where there is only one."""
        steps = self._steps
        if system.sources[number] == self._space.state_count:
            state = self._space.state(int(system.targets[number]))
            return Move(self.product.start_label, state) if self.product.starts else None
        if number < steps.sources.size:
            label = steps.labels[int(steps.kinds[number])]
            return Move(label, self._space.state(int(steps.targets[number])))
        state = self._space.state(int(system.sources[number]))
        found = Interpreter(self.product).steps(state)
        return Move(next(step.label for step in found if step.after is None), None)


def _steps_of(space: Space) -> _Steps:
    if not isinstance(space, Exploration):
        raise TypeError("a reduced exploration does not show what is seen")
    graph = space.graph
    if graph.linked < space.state_count:
        raise NotExplored("lack of memory for the transitions")
    return _Steps(
        np.repeat(np.arange(graph.linked, dtype=np.int32), np.diff(graph.first)),
        np.asarray(graph.targets, np.int32),
        np.asarray(graph.notes),
        graph.arrays.listed(graph.labels),
        graph.arrays.listed(graph.events),
        np.asarray(graph.failing, np.uint8),
    )


def _begun(system: LabelledSystem, space: Space) -> LabelledSystem:
    """The system with a state before all others, from which it silently goes to where it starts."""
    starts = np.array(list(space.starts), np.int32)
    return replace(
        system,
        count=system.count + 1,
        initial=system.count,
        sources=np.append(system.sources, np.full(starts.size, system.count, np.int32)),
        labels=np.append(system.labels, np.full(starts.size, SILENT, np.int32)),
        targets=np.append(system.targets, starts),
    )


class _Reading:
    """Gives each transition its label."""

    def __init__(self, space: Space, steps: _Steps, visible: Visible, called: Called) -> None:
        self._space, self._steps, self._called = space, steps, called
        self._product = space.product
        self._visible = visible
        self._inside, self._places = self._whereabouts()
        self._reported = [seen_as(self._product, one, called) for one in in_order(visible)]
        self._numbers = {SeenStep(): 0}
        self._columns: dict[int, Array] = {}
        self._sendings = Sendings(space, self._column)

    def told(self) -> ToldSystem:
        steps = self._steps
        labels = np.zeros(steps.sources.size, np.int32)
        many = len(self._places)
        inside = self._inside[steps.sources] * many + self._inside[steps.targets]
        groups = steps.kinds.astype(np.int64) * many * many + inside
        order = np.argsort(groups, kind="stable")
        bounds = np.flatnonzero(np.diff(groups[order], prepend=-1, append=-1))
        for begin, end in pairwise(bounds.tolist()):
            self._tell(order[begin:end], int(groups[order[begin]]), labels)
        failing = np.flatnonzero(steps.failing).astype(np.int32)
        places, which = np.unique(self._inside[failing], return_inverse=True)
        numbers = [self._failing_in(place) for place in places.tolist()]
        fails = np.array(numbers, np.int32)[which.reshape(-1)]
        system = LabelledSystem(
            self._space.state_count,
            INITIAL,
            np.concatenate([steps.sources, failing]),
            np.concatenate([labels, fails]),
            np.concatenate([steps.targets, failing]),
            tuple(map(str, range(len(self._numbers)))),
        )
        return ToldSystem(system, tuple(self._numbers))

    def _whereabouts(self) -> tuple[Array, list[frozenset[str]]]:
        """For each state the number of the set of modes that it is in, and these sets."""
        modes = list(self._product.device.modes)
        bits = np.zeros(self._space.state_count, np.int64)
        for number, mode in enumerate(modes):
            inside = list(self._space.numbered(self._space.mark(f"mode:{mode}")))
            bits[inside] |= 1 << number
        found, which = np.unique(bits, return_inverse=True)
        names = [self._called("mode", mode) for mode in modes]
        places = [
            frozenset(name for number, name in enumerate(names) if place >> number & 1)
            for place in found.tolist()
        ]
        return which.reshape(-1).astype(np.int64), places

    def _failing_in(self, place: int) -> int:
        modes = self._places[place]
        return self._number(SeenStep((), modes, modes, fails=True))

    def _number(self, told: SeenStep) -> int:
        return self._numbers.setdefault(told, len(self._numbers))

    def _tell(self, these: Array, group: int, labels: Array) -> None:
        """Gives their labels to transitions of one kind that begin and end alike."""
        rest, ends = divmod(group, len(self._places))
        kind, begins = divmod(rest, len(self._places))
        before, after = self._places[begins], self._places[ends]
        seen = self._seen_in(kind)
        if not seen:
            if before != after:
                labels[these] = self._number(SeenStep((), before, after))
            return
        sendings, which = self._sent(seen, kind, these)
        label = self._steps.labels[kind]
        values = [self._delivered(one, label, these) if one.delivered else which for one in seen]
        rows, numbered = np.unique(np.stack(values, axis=1), axis=0, return_inverse=True)
        numbers = np.empty(len(rows), np.int32)
        for number, row in enumerate(rows.tolist()):
            items = tuple(
                (one.chosen, self._spelled(one, _values(one, value, sendings)))
                for one, value in zip(seen, row, strict=True)
            )
            numbers[number] = self._number(SeenStep(items, before, after))
        labels[these] = numbers[numbered.reshape(-1)]

    def _seen_in(self, kind: int) -> list[VisibleEvent]:
        events = self._steps.events[kind]
        seen = [one for bit, one in enumerate(self._reported) if events >> bit & 1]
        label = self._product.labels[self._steps.labels[kind]]
        message = (label.queue, label.message)
        if label.kind in ("deliver", "discard") and message in self._visible.messages:
            chosen = ("message", *message)
            seen.append(seen_as(self._product, chosen, self._called, "delivered"))
        return seen

    def _sent(
        self, seen: list[VisibleEvent], kind: int, these: Array
    ) -> tuple[list[Sending], Array]:
        """What is sent in some transitions of a kind, as `Sendings` tell it, if that is seen."""
        if not any(one.in_sendings for one in seen):
            return [()], np.zeros(these.size, np.int64)
        label, steps = self._steps.labels[kind], self._steps
        return self._sendings.of(label, steps.sources[these], steps.targets[these])

    def _delivered(self, one: VisibleEvent, label: int, these: Array) -> Array:
        """The value of what is delivered in each of some transitions; 0 where it has none."""
        assert one.message is not None
        queue, steps = self._product.queues[one.message[0]], self._steps
        if queue.slots[0].value < 0:
            return np.zeros(these.size, np.int64)
        if queue.any_order:
            return self._sendings.delivered(label, steps.sources[these], steps.targets[these])
        return self._column(queue.slots[0].value)[steps.sources[these]]

    def _spelled(self, one: VisibleEvent, values: tuple[int, ...]) -> str:
        """What is seen, with its value; with all of them where a step sends it more than once."""
        if one.type is not None:
            spelled = ", ".join(one.type.spell(value) for value in values)
            return f"{one.text} = {spelled}{one.after}"
        if one.message is None:
            return one.text
        times = f" {len(values)} times" if len(values) > 1 else ""
        return f"{one.text}{one.after}{times}"

    def _column(self, field: int) -> Array:
        """The values of a field in all states, in as few bytes as they need."""
        if field not in self._columns:
            values = np.array(self._space.column(field, self._space.state_count), np.int64)
            ends = (np.min_scalar_type(int(end)) for end in (values.min(), values.max()))
            self._columns[field] = values.astype(np.result_type(*ends))
        return self._columns[field]


def _values(one: VisibleEvent, told: int, sendings: list[Sending]) -> tuple[int, ...]:
    """The values of what is seen: `told` is that of a delivery, else the number of a sending."""
    if one.delivered:
        return (told,)
    return tuple(value for chosen, value in sendings[told] if chosen == one.chosen)
