"""What transitions send, with the values: computed by the interpreter, since a message that is
dropped immediately leaves no trace in a state.

What an action does depends only on the fields it reads (`product/read_write_sets.py`), so one
transition stands for all whose source states agree in them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from modecheck.compare.labelled import Array
from modecheck.engine.contract.space import Space
from modecheck.engine.reference.plain import Interpreter
from modecheck.product.ir import Label, MessageIn
from modecheck.product.read_write_sets import DELIVERY, OWN, ActionKey, actions_of

Sending = tuple[tuple[MessageIn, int], ...]
"""Every message that a step sends, in order, with its value (0 if it has none)."""


class Sendings:
    """What the transitions of an explored space send; `column` returns a field in all states."""

    def __init__(self, space: Space, column: Callable[[int], Array]) -> None:
        self._space, self._column = space, column
        self._interpreter = Interpreter(space.product)
        self._reads = {action.key: action.reads for action in actions_of(space.product)}

    def of(self, label: int, sources: Array, targets: Array) -> tuple[list[Sending], Array]:
        """What transitions with this label send: the sendings, and the number of each one's."""
        fields = list(self._read_by(label))
        rows = np.stack([self._column(field)[sources] for field in fields], axis=1)
        _, first, which = np.unique(rows, axis=0, return_index=True, return_inverse=True)
        found: dict[Sending, int] = {}
        numbers = [
            found.setdefault(self._sent(label, source, target), len(found))
            for source, target in zip(sources[first].tolist(), targets[first].tolist(), strict=True)
        ]
        return list(found), np.array(numbers, np.int64)[which.reshape(-1)]

    def _read_by(self, label: int) -> Iterator[int]:
        """The fields that decide what is sent."""
        product = self._space.product
        action = _action(product.labels[label])
        every = range(len(product.initial))
        return (field for field in every if action is None or self._reads[action] >> field & 1)

    def _sent(self, label: int, source: int, target: int) -> Sending:
        state, after = self._space.state(source), self._space.state(target)
        step = self._interpreter.step_to(state, label, after)
        assert step is not None, "both engines take the same steps"
        return tuple(((send.queue, send.message), value) for send, value in step.sent)


def _action(label: Label) -> ActionKey | None:
    """The action that a label names; a rule that was cut may have been another's answer."""
    if label.kind == "rule":
        return OWN, label.chip, label.rule
    if label.kind == "deliver":
        return DELIVERY, label.queue, label.message
    return None
