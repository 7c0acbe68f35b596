"""What transitions send and signal, with the values: computed by the interpreter, since a message
that is dropped immediately leaves no trace in a state, and a signal never does.

What an action does depends only on the fields it reads (`product/read_write_sets.py`), so one
transition stands for all whose source states agree in them. Where messages may overtake each other,
that leaves open which one a delivery takes, and the state that it leads to tells.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from modecheck.compare.labelled import Array
from modecheck.compare.visible import Chosen
from modecheck.engine.contract.space import Space
from modecheck.engine.reference.happenings import Arrived, SignalEmitted
from modecheck.engine.reference.plain import Interpreter, Step
from modecheck.product.ir import Label
from modecheck.product.read_write_sets import DELIVERY, OWN, ActionKey, actions_of

Sending = tuple[tuple[Chosen, int], ...]
"""Every message that a step sends, in order, then every signal, with its value (0 if it has
none).
"""


class Sendings:
    """What the transitions of an explored space send; `column` returns a field in all states."""

    def __init__(self, space: Space, column: Callable[[int], Array]) -> None:
        self._space, self._column = space, column
        self._interpreter = Interpreter(space.product)
        self._reads = {action.key: action.reads for action in actions_of(space.product)}

    def of(self, label: int, sources: Array, targets: Array) -> tuple[list[Sending], Array]:
        """What transitions with this label send: the sendings, and the number of each one's."""
        found: dict[Sending, int] = {}
        steps, which = self._steps(label, sources, targets)
        numbers = [found.setdefault(_sent(step), len(found)) for step in steps]
        return list(found), np.array(numbers, np.int64)[which]

    def delivered(self, label: int, sources: Array, targets: Array) -> Array:
        """The value of what transitions with this label deliver; 0 where it has none."""
        steps, which = self._steps(label, sources, targets)
        values = [
            one.value for step in steps for one in step.happenings if isinstance(one, Arrived)
        ]
        return np.array(values, np.int64)[which]

    def _steps(self, label: int, sources: Array, targets: Array) -> tuple[list[Step], Array]:
        """Steps that stand for transitions with this label, and the number of each one's."""
        columns = [self._column(field)[sources] for field in self._read_by(label)]
        queue = self._space.product.labels[label].queue
        if queue >= 0 and self._space.product.queues[queue].any_order:
            columns.append(targets)
        rows = np.stack(columns, axis=1)
        _, first, which = np.unique(rows, axis=0, return_index=True, return_inverse=True)
        pairs = zip(sources[first].tolist(), targets[first].tolist(), strict=True)
        return [self._step(label, *pair) for pair in pairs], which.reshape(-1)

    def _read_by(self, label: int) -> Iterator[int]:
        """The fields that decide what is sent."""
        product = self._space.product
        action = _action(product.labels[label])
        every = range(len(product.initial))
        return (field for field in every if action is None or self._reads[action] >> field & 1)

    def _step(self, label: int, source: int, target: int) -> Step:
        state, after = self._space.state(source), self._space.state(target)
        step = self._interpreter.step_to(state, label, after)
        assert step is not None, "both engines take the same steps"
        return step


def _sent(step: Step) -> Sending:
    sent = [(("message", send.queue, send.message), value) for send, value in step.sent]
    signalled = [
        (("signal", one.signal, 0), one.value)
        for one in step.happenings
        if isinstance(one, SignalEmitted)
    ]
    return (*sent, *signalled)


def _action(label: Label) -> ActionKey | None:
    """The action that a label names; a rule that was cut may have been another's answer."""
    if label.kind == "rule":
        return OWN, label.chip, label.rule
    if label.kind == "deliver":
        return DELIVERY, label.queue, label.message
    return None
