"""Puts a state of the tool's product and a world of the second reading side by side."""

from __future__ import annotations

from modecheck.engine.plain import State
from modecheck.product.form import Product
from tests.second_reading.worlds import Waiting, World


def world_of(product: Product, state: State) -> World:
    """The world that a state stands for."""
    device, values = product.device, dict(zip(product.fields, state, strict=True))
    named = {field.name: value for field, value in values.items()}
    holds = {}
    for chip in device.chips.values():
        for variable in chip.variables.values():
            name = f"{chip.name}.{variable.name}"
            parts = [f"{name}[{n}]" for n in range(variable.length)] or [name]
            holds[chip.name, variable.name] = tuple(named[part] for part in parts)
    return World(
        at={chip.name: chip.leaves[state[chip.state_field]] for chip in product.chips},
        holds=holds,
        waits={queue.name: _waiting(product, state, n) for n, queue in enumerate(product.queues)},
        left=_left(product, state),
    )


def _waiting(product: Product, state: State, number: int) -> tuple[Waiting, ...]:
    queue = product.queues[number]
    full = [slot for slot in queue.slots if state[slot.code]]
    assert full == list(queue.slots[: len(full)]), "full slots stand together at the front"
    for slot in queue.slots[len(full) :]:
        rest = [state[where] for where in (slot.value, slot.late) if where >= 0]
        assert not any(rest), "an empty slot holds nothing"
    return tuple(
        Waiting(
            queue.messages[state[slot.code] - 1].name,
            state[slot.value] if slot.value >= 0 else 0,
            bool(state[slot.late]) if slot.late >= 0 else False,
        )
        for slot in full
    )


def _left(product: Product, state: State) -> dict[int, int]:
    """Budgets stand last, in the order of their groups."""
    groups = [n for n, group in enumerate(product.device.faults) if group.at_most is not None]
    budgets = state[len(state) - len(groups) :]
    return dict(zip(groups, budgets, strict=True))
