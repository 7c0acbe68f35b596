"""Turns rules into reactions: a rule of a composite state becomes one in each leaf inside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.rule_effects import Assignment, GivenSignal
from modecheck.model.rule_effects import Send as SendOfRule
from modecheck.model.rule_effects import Target as TargetName
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Expression, Failure, Read
from modecheck.product.fields import FieldPlan
from modecheck.product.ir import Assign, Label, Queue, Reaction, Room, SendIR, SignalIR, TargetIR
from modecheck.product.lowering import FALSE, TRUE, Addresses, folded, lowered
from modecheck.product.rule_order import condition_of, rules_before
from modecheck.product.timing import TimerCode

BLOCKED = "blocked-reaction"
"""The finding of a signal that a chip would answer if its link were not full."""


class Labels:
    """Numbers the labels of steps, each once."""

    def __init__(self) -> None:
        self.all: dict[Label, int] = {}

    def number(self, label: Label) -> int:
        return self.all.setdefault(label, len(self.all))


class ReactionBuilder:
    """Builds the reactions of a product's rules."""

    def __init__(
        self,
        device: Device,
        plan: FieldPlan,
        addresses: Addresses,
        queues: Mapping[str, tuple[int, Queue]],
        labels: Labels,
    ) -> None:
        self._device = device
        self._plan = plan
        self._addresses = addresses
        self._queues = queues
        self._labels = labels
        self._signals = {name: number for number, name in enumerate(device.signals)}
        self._cut_chips = {
            name
            for group in device.faults
            if group.kind in ("power_cut", "reset")
            for name in group.targets
        }

    def reaction(
        self, rule: Rule, number: int, *, queue: int = -1, message: int = 0
    ) -> Reaction | None:
        """The rule as a reaction; None when its own guard can never hold in this variant.

        `queue` is the link whose `message` (a code) triggers it, or -1 for the chip's own step.
        """
        chip = self._device.chips[rule.chip]
        parts = self._own_guard(rule)
        if folded("and", parts) == FALSE:
            return None
        rooms = tuple(self._rooms(rule))
        return Reaction(
            rule=number,
            label=self._labels.number(self._label(rule, number, queue, message)),
            guard=_condition(*parts, *(room.free for room in rooms)),
            assigns=(
                *(self._assign(chip, assignment) for assignment in rule.assignments),
                *self._timing(rule).settings(rule),
            ),
            sends=tuple(self._send(send) for send in rule.sends),
            signalled=tuple(self._signalled(rule, given) for given in rule.signalled),
            enters=self._entered(chip, rule),
            cuts=self._cuts(chip, rule),
            own_guard=_condition(*parts),
            rooms=rooms,
        )

    def _label(self, rule: Rule, number: int, queue: int, message: int) -> Label:
        chip = list(self._device.chips).index(rule.chip)
        if queue < 0:
            return Label(f"{rule.chip} {rule.title}", "rule", number, -1, chip)
        link = list(self._device.links)[queue]
        text = f"{link} to {rule.chip} {rule.title}"
        return Label(text, "deliver", number, queue, chip, message)

    def _timing(self, rule: Rule) -> TimerCode:
        plan = self._plan
        return TimerCode(plan.timers[rule.chip], plan.states[rule.chip], plan.fields)

    def latest(self, rule: Rule) -> Expression:
        """Whether a timer's rule is at its latest moment, whatever its condition says."""
        return self._timing(rule).due(rule)

    def _own_guard(self, rule: Rule) -> tuple[Expression, ...]:
        """What has to hold together before the rule can be taken, except for room in its links.
        While a timer does not run, the guards of its rules are not evaluated: an index in them may
        be out of range.
        """
        ready = self._timing(rule).ready(rule)
        return (ready, *self._those_before(rule), self.condition_of(rule))

    def _those_before(self, rule: Rule) -> Iterator[Expression]:
        """Of several rules that wait for one timer, the first that is enabled goes."""
        inside = self._timing(rule).inside
        for one, leaves in rules_before(self._device.chips[rule.chip], rule).items():
            free = (room.free for room in self._rooms(one))
            enabled = folded("and", (inside(leaves), self.condition_of(one), *free))
            yield folded("not", (enabled,))

    def condition_of(self, rule: Rule) -> Expression:
        """What its `if` says, and for a branch of a rule those of the others."""
        condition = condition_of(rule)
        return TRUE if condition is None else lowered(condition, self._addresses, rule.place)

    def _rooms(self, rule: Rule) -> Iterator[Room]:
        """The links that make it wait when they are full."""
        for link in dict.fromkeys(send.link for send in rule.sends):
            if self._device.links[link].when_full == "wait":
                number, queue = self._queues[link]
                sends = [send for send in rule.sends if send.link == link]
                free = _room(queue, [self._code(queue, send.message) for send in sends])
                text = f"{rule.chip} cannot take {rule.title}: {link} is full"
                subject = f"{rule.chip}.{rule.title}"
                yield Room(number, free, Failure(BLOCKED, subject, text, sends[0].place))

    def _code(self, queue: Queue, message: str) -> int:
        return [form.name for form in queue.messages].index(message) + 1

    def _assign(self, chip: Chip, assignment: Assignment) -> Assign:
        targets = tuple(self._target(chip, target, assignment) for target in assignment.targets)
        values = tuple(
            lowered(value, self._addresses, assignment.place) for value in assignment.values
        )
        return Assign(targets, values)

    def _target(self, chip: Chip, target: TargetName, assignment: Assignment) -> TargetIR:
        variable = chip.variables[target.variable]
        first = self._addresses.variables[chip.name, target.variable]
        index = None
        if target.index is not None:
            index = lowered(target.index, self._addresses, assignment.place)
        if isinstance(index, ConstantIR) and 0 <= index.value < variable.length:
            first, index = first + index.value, None
        text = f"{assignment.text} leaves the range of {chip.name}.{variable.name}"
        subject = f"{chip.name}.{variable.name}"
        failure = Failure("out-of-range", subject, text, assignment.place)
        type_ = variable.type
        return TargetIR(first, variable.length, index, type_.low, type_.high, failure)

    def _send(self, send: SendOfRule) -> SendIR:
        queue, form = self._queues[send.link]
        value = None
        if send.value is not None:
            value = lowered(send.value, self._addresses, send.place)
        subject = f"{send.link}.{send.message}"
        text = f"{send.link} is full when {send.message} is sent"
        wrong = f"the value of {send.message} leaves its range"
        return SendIR(
            queue=queue,
            message=self._code(form, send.message),
            value=value,
            value_failure=Failure("out-of-range", subject, wrong, send.place),
            overflow=Failure("overflow", subject, text, send.place),
        )

    def _signalled(self, rule: Rule, given: GivenSignal) -> SignalIR:
        value = None
        if given.value is not None:
            value = lowered(given.value, self._addresses, given.place)
        wrong = f"the value of {given.signal}, signalled by {rule.chip}, leaves its range"
        failure = Failure("out-of-range", f"{rule.chip}.{given.signal}", wrong, given.place)
        return SignalIR(self._signals[given.signal], value, failure)

    def _entered(self, chip: Chip, rule: Rule) -> int:
        if rule.target is None:
            return -1
        return chip.leaves_in[chip.states[rule.target].initial_leaf][0]

    def _cuts(self, chip: Chip, rule: Rule) -> tuple[int, ...]:
        """After which assignments a power cut tells: between two writes to persistent variables."""
        if not rule.separate or chip.name not in self._cut_chips:
            return ()
        writing = [
            number + 1
            for number, assignment in enumerate(rule.assignments)
            if any(chip.variables[target.variable].persistent for target in assignment.targets)
        ]
        return tuple(writing[:-1])


def _condition(*parts: Expression) -> Expression | None:
    """All parts together; None where they always hold."""
    whole = folded("and", parts)
    return None if whole == TRUE else whole


def _room(queue: Queue, sent: list[int]) -> Expression:
    """Whether a queue can take all these messages (codes): a whole picture and an amount need no
    place of their own where one of their name waits, or was sent just before.
    """
    merging = list(dict.fromkeys(code for code in sent if queue.messages[code - 1].kind != "event"))
    edges = sum(queue.messages[code - 1].kind == "event" for code in sent)
    ways: list[Expression] = []
    for count in range(len(merging) + 1):
        for waiting in combinations(merging, count):
            needed = edges + len(merging) - count
            if needed <= len(queue.slots):
                tests = [_waits(queue, code) for code in waiting]
                tests += [_holds(queue.slots[-needed].code, 0)] if needed else []
                ways.append(folded("and", tuple(tests)))
    return folded("or", tuple(ways))


def _waits(queue: Queue, code: int) -> Expression:
    return folded("or", tuple(_holds(slot.code, code) for slot in queue.slots))


def _holds(field: int, value: int) -> Expression:
    return ApplyIR("==", (Read(field), ConstantIR(value)))
