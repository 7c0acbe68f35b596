"""Independent steps ordered once: in each state only a stubborn set of its steps is followed.

Stubborn sets by Valmari, Stubborn sets for reduced state space generation, Advances in Petri Nets
1990, LNCS 483, 1991; persistent sets by Godefroid, Partial-order methods for the verification of
concurrent systems, LNCS 1032, 1996. A set of actions is stubborn in a state when

1. with an action that is possible it holds every action that reads or writes what that one writes,
   or writes what that one reads;
2. with one that is not possible it holds all that could make it possible;
3. it holds an action of a chip or link that keeps the device going: its step is not in place (the
   key).

Let a path lead from here to a state in which no chip and no link keeps the device going. The key is
not possible there, or it would lead on from there as it does from here: by 1 nothing outside the
set can change what it reads, or what it writes before it does. So some action of the set is on the
path. By 1 and 2 the first of them can be taken at once, with the same path behind it. So every such
state is reached, by a path of the same length, and with it every deadlock and a shortest scenario.
In such a state all steps are followed.

Nothing else is claimed to be preserved: what happens on the paths that are left out is not seen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.engine.reference.system_actions import Drives
from modecheck.product.ir import Product
from modecheck.product.read_write_sets import (
    DELIVERY,
    FAULT,
    OWN,
    Action,
    ActionKey,
    actions_of,
    bits,
    conditions_read,
    conjuncts,
    reads_of,
    slots_of,
)

Actions = int
"""A set of actions, as bits."""


class StubbornSteps:
    """Chooses, for each state, the steps of a stubborn set of actions."""

    def __init__(self, product: Product) -> None:
        assert not product.observers, "observers look at every step"
        self._product = product
        self._interpreter = Interpreter(product)
        self._by_system = Drives(product)
        self._actions = actions_of(product)
        self._numbers = {action.key: n for n, action in enumerate(self._actions)}
        self._of_label = self._labelled()
        self._conflicts = [self._conflicting(action) for action in self._actions]
        self._writers: dict[int, Actions] = {}

    def _labelled(self) -> dict[int, ActionKey]:
        """The action of each label that begins a step."""
        keys: dict[int, ActionKey] = {}
        for number, label in enumerate(self._product.labels):
            if label.kind == "rule":
                keys[number] = (OWN, label.chip, label.rule)
            elif label.kind in ("deliver", "discard"):
                keys[number] = (DELIVERY, label.queue, label.message)
        return keys

    def _conflicting(self, action: Action) -> Actions:
        """All actions that do not leave this one, or its effect, alone; itself included."""
        found = 0
        for number, other in enumerate(self._actions):
            touched = action.writes & (other.reads | other.writes) | action.reads & other.writes
            found |= bool(touched) << number
        return found | 1 << self._numbers[action.key]

    def _writing(self, fields: int) -> Actions:
        """All actions that write one of these fields."""
        known = self._writers.get(fields)
        if known is None:
            known = 0
            for number, action in enumerate(self._actions):
                known |= bool(action.writes & fields) << number
            self._writers[fields] = known
        return known

    def narrowed(self, state: State, steps: list[Step]) -> list[Step]:
        """The steps that are to be followed; all of them where there is nothing to gain."""
        begun = self._begun(state, steps)
        possible = 0
        for number in begun:
            possible |= 1 << number
        best = steps
        going = [
            action
            for step, action in zip(steps, begun, strict=True)
            if self._by_system.keeps_going(step.label, state, step.after)
        ]
        for key in dict.fromkeys(going):
            chosen = self._closed(key, possible, state)
            kept = [step for step, action in zip(steps, begun, strict=True) if chosen >> action & 1]
            if len(kept) < len(best):
                best = kept
            if len(best) <= 1:
                break
        return best

    def _begun(self, state: State, steps: list[Step]) -> list[int]:
        """The action of each step. A cut in the middle of a rule stands behind the step it cuts."""
        begun: list[int] = []
        faults = self._striking(state, steps)
        for step in steps:
            key = self._of_label.get(step.label)
            if key is not None:
                begun.append(self._numbers[key])
            elif self._product.labels[step.label].kind == "cut_in_rule":
                begun.append(begun[-1])
            else:
                begun.append(self._numbers[FAULT, next(faults[step.label]), 0])
        return begun

    def _striking(self, state: State, steps: list[Step]) -> dict[int, Iterator[int]]:
        """The fault (number) of each step of a label. Two groups of faults may strike the same
        target by the same label, and then each does it to the same messages, one after the other.
        """
        of_label: dict[int, list[int]] = {}
        for number, fault in enumerate(self._product.faults):
            if all(state[left] > 0 for left in fault.counts):
                of_label.setdefault(fault.label, []).append(number)
        times = Counter(step.label for step in steps)
        return {
            label: iter([n for n in numbers for _ in range(times[label] // len(numbers))])
            for label, numbers in of_label.items()
        }

    def _closed(self, key: int, possible: Actions, state: State) -> Actions:
        """The least stubborn set with a key that this way of choosing makes."""
        chosen = pending = 1 << key
        while pending:
            number = (pending & -pending).bit_length() - 1
            pending &= pending - 1
            if possible >> number & 1:
                more = self._conflicts[number]
            else:
                more = self._writing(self._missing(self._actions[number], state))
            pending |= more & ~chosen
            chosen |= more
        return chosen

    def _missing(self, action: Action, state: State) -> int:
        """Fields of which one has to change before an action is possible."""
        kind, one, two = action.key
        if kind == OWN:
            return self._missing_guard(action, one, state)
        if kind == DELIVERY:
            return self._missing_message(one, two, state)
        return self._missing_fault(one, state)

    def _missing_guard(self, action: Action, chip: int, state: State) -> int:
        where = self._product.chips[chip].state_field
        if state[where] not in action.leaves:
            return 1 << where
        if self._interpreter.is_held_back(chip, state):
            return reads_of(self._product.chips[chip].turn)
        for part in conjuncts(action.guard):
            if not self._interpreter.condition(part, state):
                return reads_of(part)
        raise AssertionError("a rule is possible, and no step")

    def _missing_message(self, number: int, code: int, state: State) -> int:
        queue = self._product.queues[number]
        heads = bits(slot.code for slot in queue.heads)
        if all(state[slot.code] != code for slot in queue.heads):
            return heads
        if queue.up is not None and not self._interpreter.condition(queue.up, state):
            return reads_of(queue.up)
        # The message is deferred or waits for room: in another leaf, or by another guard or with
        # more room, it would not.
        receiver = self._product.chips[queue.receiver]
        if self._interpreter.is_held_back(queue.receiver, state):
            return reads_of(receiver.turn)
        reception = receiver.receptions[state[receiver.state_field]][number, code]
        fields = 1 << receiver.state_field | slots_of(queue)
        for reaction in reception.reactions:
            fields |= conditions_read(reaction)
        return fields

    def _missing_fault(self, number: int, state: State) -> int:
        fault = self._product.faults[number]
        if any(state[left] <= 0 for left in fault.counts if left != fault.row):
            return 0  # what is spent never comes back
        if fault.row >= 0 and state[fault.row] <= 0:
            return 1 << fault.row
        queue = self._product.queues[fault.target]
        if queue.up is not None and not self._interpreter.condition(queue.up, state):
            return reads_of(queue.up)
        return bits(slot.code for slot in (*queue.heads, queue.slots[-1]))
