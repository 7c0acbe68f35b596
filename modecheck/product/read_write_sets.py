"""Which fields the steps of a product may read and write, and what could make a step possible.

Steps are grouped into actions: a rule that a chip takes by itself, the delivery of one message of
one queue, a fault. What an action does, whether it is possible and whether it fails depends only on
the fields it reads. Both sets are over-approximations: every chip that hears a signal may react,
and a link whose condition is written may go down. Reductions rest on this: a set that is too large
costs states, one that is too small would cost soundness.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from modecheck.product.expression_ir import ApplyIR, Expression
from modecheck.product.ir import ChipIR, FaultIR, Product, Queue, Reaction
from modecheck.product.subexpressions import fields_read, fields_written

OWN, DELIVERY, FAULT = "own", "delivery", "fault"
Fields = int
"""A set of fields, as bits."""
ActionKey = tuple[str, int, int]
"""OWN, chip, rule; or DELIVERY, queue, code; or FAULT, number of the fault, 0."""


@dataclass(frozen=True, slots=True)
class Action:
    """Steps with a common trigger. `guard` and `leaves` are those of a chip's own rule."""

    key: ActionKey
    reads: Fields
    writes: Fields
    guard: Expression | None = None
    leaves: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Touch:
    """Fields read and written."""

    reads: Fields = 0
    writes: Fields = 0

    def __or__(self, other: Touch) -> Touch:
        return Touch(self.reads | other.reads, self.writes | other.writes)


def actions_of(product: Product) -> list[Action]:
    """Every action of a product without observers."""
    return list(_Influence(product).actions())


def bits(fields: Iterable[int]) -> Fields:
    """Fields as bits; negative numbers stand for none."""
    result = 0
    for field in fields:
        if field >= 0:
            result |= 1 << field
    return result


def reads_of(expression: Expression | None) -> Fields:
    """The fields that an expression reads."""
    return bits(fields_read(expression))


def conditions_read(reaction: Reaction) -> Fields:
    """The fields that decide whether a reaction is enabled, or would be if no link were full."""
    found = 0
    for condition in reaction.conditions:
        found |= reads_of(condition)
    return found


def slots_of(queue: Queue) -> Fields:
    """The fields of a queue."""
    return bits(field for slot in queue.slots for field in slot.fields)


def conjuncts(guard: Expression | None) -> tuple[Expression, ...]:
    """The conjuncts of a guard: all of them have to hold."""
    if guard is None:
        return ()
    if isinstance(guard, ApplyIR) and guard.operator == "and":
        return guard.arguments
    return (guard,)


class _Influence:
    def __init__(self, product: Product) -> None:
        self._product = product
        self._cuts = [fault for fault in product.faults if fault.of_chip]
        self._heard: dict[int, Touch] = {}

    def actions(self) -> Iterator[Action]:
        for number, chip in enumerate(self._product.chips):
            yield from self._own(number, chip)
        for number, queue in enumerate(self._product.queues):
            for code in range(1, len(queue.messages) + 1):
                touch = self._delivery(number, queue, code)
                yield self._action((DELIVERY, number, code), touch)
        for number, fault in enumerate(self._product.faults):
            yield self._action((FAULT, number, 0), self._fault(fault))

    def _own(self, number: int, chip: ChipIR) -> Iterator[Action]:
        leaves: dict[int, set[int]] = {}
        reactions: dict[int, Reaction] = {}
        for leaf, steps in enumerate(chip.steps):
            for reaction in steps:
                leaves.setdefault(reaction.rule, set()).add(leaf)
                reactions[reaction.rule] = reaction
        for rule, reaction in reactions.items():
            begins = Touch(1 << chip.state_field | reads_of(chip.turn))
            touch = begins | self._reaction(number, reaction)
            yield self._action(
                (OWN, number, rule),
                touch,
                guard=reaction.guard,
                leaves=frozenset(leaves[rule]),
            )

    def _action(
        self,
        key: ActionKey,
        touch: Touch,
        *,
        guard: Expression | None = None,
        leaves: frozenset[int] = frozenset(),
    ) -> Action:
        """An action, with the links that may go down by what it writes."""
        for queue in self._product.queues:
            up = reads_of(queue.up)
            if touch.writes & up:
                touch |= Touch(up | slots_of(queue), slots_of(queue))
        return Action(key, touch.reads, touch.writes, guard, leaves)

    def _reaction(self, chip: int, reaction: Reaction) -> Touch:
        """What a chip does by a rule, and everything that this sets off."""
        touch = Touch(conditions_read(reaction))
        for assign in reaction.assigns:
            for value in assign.values:
                touch |= Touch(reads_of(value))
            for target in assign.targets:
                fields = fields_written(target)
                # Of a list only one item is written: which, and what the others are, is read.
                others = bits(fields) * (len(fields) > 1)
                touch |= Touch(reads_of(target.index) | others, bits(fields))
        for send in reaction.sends:
            queue = self._product.queues[send.queue]
            slots = slots_of(queue)
            touch |= Touch(reads_of(send.value) | reads_of(queue.up) | slots, slots)
        if reaction.enters >= 0:
            touch |= Touch(0, 1 << self._product.chips[chip].state_field)
        for given in reaction.signalled:
            touch |= Touch(reads_of(given.value)) | self._hearing(given.signal)
        if reaction.cuts:
            for fault in self._cuts:
                if fault.target == chip:
                    touch |= self._strike(fault)
        return touch

    def _hearing(self, signal: int) -> Touch:
        """What all who hear a signal may do. Signals that lead to each other make no circle."""
        known = self._heard.get(signal)
        if known is None:
            known = Touch()
            for number, chip in enumerate(self._product.chips):
                reactions = [one for heard in chip.hearings for one in heard.get(signal, ())]
                if reactions:
                    known |= Touch(1 << chip.state_field)
                for reaction in {reaction.rule: reaction for reaction in reactions}.values():
                    known |= self._reaction(number, reaction)
            self._heard[signal] = known
        return known

    def _delivery(self, number: int, queue: Queue, code: int) -> Touch:
        receiver = self._product.chips[queue.receiver]
        slots = slots_of(queue)
        rows = bits(fault.row for fault in self._product.faults if fault.target == number)
        reads = slots | reads_of(queue.up) | 1 << receiver.state_field | reads_of(receiver.turn)
        touch = Touch(reads, slots | rows)
        reactions = {
            reaction.rule: reaction
            for receptions in receiver.receptions
            for reaction in receptions[number, code].reactions
        }
        for reaction in reactions.values():
            touch |= self._reaction(queue.receiver, reaction)
        return touch

    def _fault(self, fault: FaultIR) -> Touch:
        if fault.of_chip:
            return self._strike(fault)
        queue = self._product.queues[fault.target]
        slots, budget = slots_of(queue), bits(fault.counts)
        return Touch(slots | reads_of(queue.up) | budget, slots | budget)

    def _strike(self, fault: FaultIR) -> Touch:
        chip = self._product.chips[fault.target]
        budget = bits(fault.counts)
        queues = bits(())
        for number in (*chip.inputs, *chip.outputs):
            queues |= slots_of(self._product.queues[number])
        fresh = bits(field for field, _ in chip.restarts[0])
        return Touch(budget | queues, budget | queues | fresh)
