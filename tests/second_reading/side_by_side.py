"""Puts a state of the tool's product and a world of the second reading side by side."""

from __future__ import annotations

from modecheck.engine.reference.plain import State
from modecheck.product.fields import plan_fields
from modecheck.product.ir import Product
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
        in_a_row={key: state[at] for key, at in plan_fields(device).rows.items()},
        waited=_waited(product, state),
        runs=_runs(product, state),
    )


def _waited(product: Product, state: State) -> dict[tuple[str, str, str], int]:
    """For how long each rule has waited: what the fields tell, as far as it matters to the rule."""
    clock, plan = product.device.clock, plan_fields(product.device)
    found: dict[tuple[str, str, str], int] = {}
    if clock is None:
        return found
    for form, chip in zip(product.chips, product.device.chips.values(), strict=True):
        timers = plan.timers[chip.name]
        leaf = form.leaves[state[form.state_field]]
        for rule in chip.rules:
            for source in rule.sources or ("",):
                if rule.after is not None and source in chip.ancestry(leaf):
                    alone = rule.periodic or rule.target is None or rule.branch is not None
                    title = rule.whole if alone else ""
                    count = next(c for c in timers.counts[source] if c.rule == title)
                    last = clock.ticks(rule.after.low)
                    if rule.after.high is not None:
                        last = clock.ticks(rule.after.high) + (not rule.periodic)
                    found[chip.name, rule.title, source] = min(state[count.field], last)
    return found


def _runs(product: Product, state: State) -> dict[tuple[str, str], int | None]:
    plan = plan_fields(product.device)
    return {
        (chip, name): state[field] - 1 if state[field] else None
        for chip, timers in plan.timers.items()
        for name, field in timers.named.items()
    }


def _waiting(product: Product, state: State, number: int) -> tuple[Waiting, ...]:
    queue = product.queues[number]
    full = [slot for slot in queue.slots if state[slot.code]]
    assert full == list(queue.slots[: len(full)]), "full slots stand together at the front"
    for slot in queue.slots[len(full) :]:
        rest = [state[where] for where in slot.fields]
        assert not any(rest), "an empty slot holds nothing"
    return tuple(
        Waiting(
            queue.messages[state[slot.code] - 1].name,
            state[slot.value] if slot.value >= 0 else 0,
            bool(state[slot.late]) if slot.late >= 0 else False,
            state[slot.age] if slot.age >= 0 else 0,
        )
        for slot in full
    )


def _left(product: Product, state: State) -> dict[int, int]:
    budgets = enumerate(plan_fields(product.device).budgets)
    return {number: state[field] for number, field in budgets if field >= 0}
