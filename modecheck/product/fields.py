"""The fields of a product: states, variables, queues, budgets; each with its range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product

from modecheck.model.parts import Device, FaultGroup, Link, Rule
from modecheck.model.terms import IsLate, Term, parts_of
from modecheck.product.ir import Field, MessageIR, Slot
from modecheck.product.rule_order import condition_of
from modecheck.product.timing import ChipTimers, TickInterval, moments, plan_timers


@dataclass(slots=True)
class FieldPlan:
    """All fields in order, and which of them belong to which part of the model.

    `budgets` has one entry for each fault group of the device: its field, or -1. `rows` holds the
    fields that count faults in a row, by the number of the group and the link; `in_all` is the one
    that counts all faults, or -1.
    """

    fields: list[Field] = field(default_factory=list)
    states: dict[str, int] = field(default_factory=dict)
    variables: dict[tuple[str, str], int] = field(default_factory=dict)
    slots: dict[str, tuple[Slot, ...]] = field(default_factory=dict)
    budgets: list[int] = field(default_factory=list)
    in_all: int = -1
    rows: dict[tuple[int, str], int] = field(default_factory=dict)
    timers: dict[str, ChipTimers] = field(default_factory=dict)

    def add(self, new: Field) -> int:
        self.fields.append(new)
        return len(self.fields) - 1


def plan_fields(device: Device) -> FieldPlan:
    """Fields in document order: each chip's state, variables and timers; queues; budgets."""
    plan = FieldPlan()
    written = _written(device)
    for number, chip in enumerate(device.chips.values()):
        leaves = chip.leaves
        first, *others = map(leaves.index, chip.initial_leaves)
        starts = (first, *others) if others else ()
        plan.states[chip.name] = plan.add(
            Field(f"{chip.name}.state", 0, len(leaves) - 1, first, number, starts=starts)
        )
        for variable in chip.variables.values():
            plan.variables[chip.name, variable.name] = len(plan.fields)
            for item, starts in enumerate(variable.starts):
                # What no rule writes keeps its start, and takes no bits if there is only one.
                fixed = (chip.name, variable.name) not in written
                low = min(starts) if fixed else variable.type.low
                high = max(starts) if fixed else variable.type.high
                index = f"[{item}]" if variable.length else ""
                name = f"{chip.name}.{variable.name}{index}"
                several = starts if len(starts) > 1 else ()
                plan.add(Field(name, low, high, starts[0], number, variable.type, several))
        plan.timers[chip.name] = plan_timers(chip, device.clock, number, plan.fields)
    for link in device.links.values():
        plan.slots[link.name] = _slots(plan, device, link)
    plan.budgets = [_budget(plan, group) for group in device.faults]
    for number, group in enumerate(device.faults):
        most = group.at_most_in_a_row
        for target in group.targets if most is not None else ():
            name = f"{group.kind}({target}) left in a row"
            plan.rows[number, target] = plan.add(Field(name, 0, most or 0, most or 0))
    if (most := device.faults_in_all) is not None:
        plan.in_all = plan.add(Field("faults left in all", 0, most, most))
    return plan


def starts_of(fields: Sequence[Field]) -> tuple[tuple[int, ...], ...]:
    """All combinations of the values with which some fields may start, that of the first first."""
    return tuple(product(*(field.starts or (field.start,) for field in fields)))


def _written(device: Device) -> set[tuple[str, str]]:
    """The variables that some rule assigns, with their chips."""
    return {
        (chip.name, target.variable)
        for chip in device.chips.values()
        for rule in chip.rules
        for assignment in rule.assignments
        for target in assignment.targets
    }


def _slots(plan: FieldPlan, device: Device, link: Link) -> tuple[Slot, ...]:
    forms, sessions = message_forms(link), _asks_for_sessions(device, link)
    oldest = _oldest(delay_of(device, link)) if _has_delay(device, link) else -1
    low = min((form.low for form in forms if form.type), default=0)
    high = max((form.high for form in forms if form.type), default=0)
    slots = []
    for place in range(link.capacity):
        name = f"{link.name}[{place}]"
        code = plan.add(Field(name, 0, len(forms), 0))
        value = late = age = -1
        if low or high:
            value = plan.add(Field(f"{name}.value", min(low, 0), max(high, 0), 0))
        if sessions:
            late = plan.add(Field(f"{name}.late", 0, 1, 0))
        if oldest >= 0:
            age = plan.add(Field(f"{name}.age", 0, oldest, 0))
        slots.append(Slot(code, value, late, age))
    return tuple(slots)


def _oldest(delay: TickInterval) -> int:
    """The age beyond which nothing changes: what is overdue, its link being down, stays due."""
    return delay.low if delay.high is None else delay.high


def _has_delay(device: Device, link: Link) -> bool:
    return device.clock is not None and link.delay is not None


def delay_of(device: Device, link: Link) -> TickInterval:
    """The least and greatest age at which a message is delivered; any age without a clock."""
    if device.clock is None or link.delay is None:
        return TickInterval(0, None)
    return moments(device.clock, link.delay)


def message_forms(link: Link) -> tuple[MessageIR, ...]:
    return tuple(
        MessageIR(
            message.name,
            message.kind,
            message.type.low if message.type else 0,
            message.type.high if message.type else 0,
            message.type,
        )
        for message in link.carries.values()
    )


def _asks_for_sessions(device: Device, link: Link) -> bool:
    """Whether a rule of the receiver asks if a message is late; else sessions need no bit."""
    rules = device.chips[link.receiver].rules
    return any(isinstance(part, IsLate) for rule in rules for part in _all_parts(rule))


def _all_parts(rule: Rule) -> list[Term]:
    roots = [
        *([condition] if (condition := condition_of(rule)) is not None else []),
        *(value for assignment in rule.assignments for value in assignment.values),
        *(t.index for each in rule.assignments for t in each.targets if t.index is not None),
        *(send.value for send in rule.sends if send.value is not None),
        *(given.value for given in rule.signalled if given.value is not None),
    ]
    return [part for root in roots for part in parts_of(root)]


def _budget(plan: FieldPlan, group: FaultGroup) -> int:
    if group.at_most is None:
        return -1
    return plan.add(Field(f"{group.name} left", 0, group.at_most, group.at_most))
