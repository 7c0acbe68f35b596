"""Activities that share a controller: when each of them may step.

A chip with `runs_on` is an activity: a task or an interrupt service routine. It *may step* unless a
state of another activity of its controller masks it, and unless a more urgent one that is not
masked *can* step. What an activity can do is what it could do by itself at once:

- take a rule without an event whose condition holds, with room in the links that it waits for;
- take a timer's rule at its latest moment: before that nobody knows that it has expired, and
  without a clock never does;
- take, or discard, a message that another activity of the controller has sent: one from elsewhere
  is on its way until it is delivered.

An activity with a condition that fails (an index out of range) can step: into a failing step. A
step is atomic, so nothing is interrupted within one. What hears a signal moves in the step of who
gave it, whatever its priority: that is the hardware that notes an interrupt. A tick is no step of
an activity; where an activity is held back and a timer of it has come to its latest moment, its
timers stand still until it may step.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from modecheck.model.parts import Chip, Device, Rule
from modecheck.product.expression_ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    IsLateIR,
    PayloadIR,
    Read,
    ReadItem,
)
from modecheck.product.ir import ChipIR, Otherwise, Queue, Reaction, Reception, Slot
from modecheck.product.lowering import FALSE, TRUE, folded

Latest = Callable[[Rule], Expression]
"""Whether the time of a timer's rule is at its latest moment."""


class Turns:
    """When each chip of a device may step; `latest` is given for a device with a clock."""

    def __init__(
        self,
        device: Device,
        chips: Sequence[ChipIR],
        queues: Sequence[Queue],
        rules: Sequence[Rule],
        latest: Latest | None,
    ) -> None:
        self._models = [device.chips[chip.name] for chip in chips]
        self._chips = chips
        self._queues = queues
        self._rules = rules
        self._latest = latest

    def of(self, number: int) -> Expression | None:
        """When a chip may step; None for one that always may."""
        own = self._models[number]
        if not own.runs_on:
            return None
        masked = self._masked(number)
        parts = [folded("not", (masked,))]
        others = [n for n in self._neighbours(own) if self._models[n].priority > own.priority]
        for other in sorted(others, key=lambda n: -self._models[n].priority):
            held = folded("not", (self._can_step(other),))
            parts.append(folded("or", (self._masked(other), held)))
        turn = folded("and", tuple(parts))
        return None if turn == TRUE else turn

    def _neighbours(self, own: Chip) -> list[int]:
        """All activities of the same controller."""
        models = enumerate(self._models)
        return [number for number, model in models if model.runs_on == own.runs_on]

    def _masked(self, number: int) -> Expression:
        """Whether some activity is in a state that masks a chip."""
        name = self._models[number].name
        return folded(
            "or",
            tuple(
                _in(self._chips[other], leaf)
                for other in self._neighbours(self._models[number])
                for leaf, leaf_name in enumerate(self._chips[other].leaves)
                if name in masked_in(self._models[other], leaf_name)
            ),
        )

    def _can_step(self, number: int) -> Expression:
        """Whether an activity can step by itself at once."""
        chip = self._chips[number]
        return folded(
            "or",
            tuple(
                folded("and", (_in(chip, leaf), folded("or", tuple(self._ways(number, leaf)))))
                for leaf in range(len(chip.leaves))
            ),
        )

    def _ways(self, number: int, leaf: int) -> Iterator[Expression]:
        chip = self._chips[number]
        for reaction in chip.steps[leaf]:
            yield folded("and", (self._moment(reaction), _enabled(reaction)))
        for (queue, code), reception in chip.receptions[leaf].items():
            form = self._queues[queue]
            sender = self._models[form.sender]
            if sender.runs_on == self._models[number].runs_on:
                for slot in form.heads:
                    yield _takes(form, slot, code, reception)

    def _moment(self, reaction: Reaction) -> Expression:
        """Whether it is certain that it is time for a rule."""
        rule = self._rules[reaction.rule]
        if rule.kind != "timer":
            return TRUE
        return FALSE if self._latest is None else self._latest(rule)


def masked_in(chip: Chip, leaf: str) -> tuple[str, ...]:
    """The activities that are masked while a chip is in a leaf: by it, or by states around it."""
    return tuple(name for state in chip.ancestry(leaf)[:-1] for name in chip.states[state].masks)


def _in(chip: ChipIR, leaf: int) -> Expression:
    if len(chip.leaves) == 1:
        return TRUE
    return ApplyIR("==", (Read(chip.state_field), ConstantIR(leaf)))


def _enabled(reaction: Reaction) -> Expression:
    return TRUE if reaction.guard is None else reaction.guard


def _takes(queue: Queue, slot: Slot, code: int, reception: Reception) -> Expression:
    """Whether a message in a place of a queue is there, and is taken or discarded."""
    there = [ApplyIR("==", (Read(slot.code), ConstantIR(code)))]
    if slot.age >= 0:
        there.append(ApplyIR(">=", (Read(slot.age), ConstantIR(queue.earliest))))
    up = TRUE if queue.up is None else queue.up
    taken = folded("or", tuple(_enabled(one) for one in reception.reactions))
    if reception.otherwise is not Otherwise.DEFER:
        waiting = tuple(
            TRUE if one.own_guard is None else one.own_guard
            for one in reception.reactions
            if one.rooms
        )
        taken = folded("or", (taken, folded("not", (folded("or", waiting),))))
    return folded("and", (*there, up, _at(taken, slot)))


def _at(expression: Expression, slot: Slot) -> Expression:
    """What a condition of the receiver of a message says while the message is in a place."""
    if isinstance(expression, PayloadIR | IsLateIR):
        field = slot.value if isinstance(expression, PayloadIR) else slot.late
        return Read(field) if field >= 0 else ConstantIR(0)
    if isinstance(expression, ApplyIR):
        arguments = tuple(_at(argument, slot) for argument in expression.arguments)
        return ApplyIR(expression.operator, arguments)
    if isinstance(expression, ReadItem):
        index = _at(expression.index, slot)
        return ReadItem(expression.first, expression.length, index, expression.failure)
    return expression
