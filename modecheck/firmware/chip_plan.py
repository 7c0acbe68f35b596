"""What the C code of a chip consists of, before a line of C is written.

The reactions are those of the product of the device without its clock: conditions on counts of
ticks, which firmware does not have, are then none. A guard is judged in one leaf, so what it asks
of the chip's own state is known and folds away.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

from modecheck.firmware.chip_timers import TimersOfChip
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.starts import need_one_start
from modecheck.model.values import ValueType
from modecheck.product.composition import compose
from modecheck.product.expression_ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    IsLateIR,
    PayloadIR,
    Read,
    ReadItem,
)
from modecheck.product.ir import Assign, ChipIR, Otherwise, Product, Reaction, SendIR, SignalIR
from modecheck.product.lowering import FALSE, TRUE, folded
from modecheck.product.subexpressions import fields_read, subexpressions

ANSWERS = {
    Otherwise.DISCARD: "discarded",
    Otherwise.DEFER: "deferred",
    Otherwise.UNSPECIFIED: "unexpected",
}


@dataclass(frozen=True, slots=True)
class Body:
    """What a rule does: its writes in order, what it sends and signals, the leaf that it enters
    (-1: none), and the timers (numbers) that it stops and starts.
    """

    rule: int
    assigns: tuple[Assign, ...]
    sends: tuple[SendIR, ...]
    signalled: tuple[SignalIR, ...]
    enters: int
    stops: tuple[int, ...]
    starts: tuple[int, ...]

    @property
    def expressions(self) -> Iterator[Expression]:
        """Everything that it evaluates: values and places written, values sent and signalled."""
        for assign in self.assigns:
            yield from assign.values
            yield from (target.index for target in assign.targets if target.index is not None)
        yield from (send.value for send in self.sends if send.value is not None)
        yield from (given.value for given in self.signalled if given.value is not None)


@dataclass(frozen=True, slots=True)
class Alternative:
    """One of several alternatives: where the guard holds (None: always), a body, and the answer."""

    guard: Expression | None
    body: Body | None
    answer: str


Chain: TypeAlias = tuple[Alternative, ...]
"""What a chip does with an event in a leaf: the first row whose guard holds; the last always does.
"""


@dataclass(frozen=True, slots=True)
class Occasion:
    """What the chip is given: a message of a link (`queue` and `code`), a `signal`, a `timer` that
    expires, or the chance to take a `rule` by itself; all numbers, -1 for what it is not.
    """

    queue: int = -1
    code: int = 0
    signal: int = -1
    timer: int = -1
    rule: int = -1


@dataclass(frozen=True)
class ChipPlan:
    """A chip (number) of a device, as its C code needs it. `product` is the one without a clock."""

    product: Product
    number: int

    @cached_property
    def form(self) -> ChipIR:
        return self.product.chips[self.number]

    @cached_property
    def chip(self) -> Chip:
        return self.product.device.chips[self.form.name]

    @cached_property
    def timers(self) -> TimersOfChip:
        return TimersOfChip(self.chip)

    @cached_property
    def rules(self) -> dict[int, Rule]:
        """The chip's rules by their numbers in the product."""
        owners = enumerate(self.product.rule_chips)
        return {n: self.product.rules[n] for n, owner in owners if owner == self.number}

    @cached_property
    def occasions(self) -> tuple[Occasion, ...]:
        """All that the chip can be given: messages, signals, timers, its own rules."""
        messages = (
            Occasion(queue=number, code=code)
            for number in self.form.inputs
            for code in range(1, len(self.product.queues[number].messages) + 1)
        )
        signals = sorted({one for heard in self.form.hearings for one in heard})
        own = sorted({one.rule for steps in self.form.steps for one in steps})
        return (
            *messages,
            *(Occasion(signal=one) for one in signals),
            *(Occasion(timer=number) for number in range(len(self.timers.all))),
            *(Occasion(rule=one) for one in own if self.rules[one].kind == "internal"),
        )

    @cached_property
    def chains(self) -> dict[Occasion, tuple[Chain, ...]]:
        """What the chip does on each occasion, leaf by leaf."""
        leaves = range(len(self.form.leaves))
        return {one: tuple(self._chain(one, leaf) for leaf in leaves) for one in self.occasions}

    def _chain(self, occasion: Occasion, leaf: int) -> Chain:
        if occasion.queue >= 0:
            reception = self.form.receptions[leaf][occasion.queue, occasion.code]
            otherwise = ANSWERS[reception.otherwise]
            return self._rows(reception.reactions, occasion, leaf, otherwise)
        if occasion.signal >= 0:
            heard = self.form.hearings[leaf].get(occasion.signal, ())
            return self._rows(heard, occasion, leaf, "discarded")
        own = [one for one in self.form.steps[leaf] if self._is_taken(one, occasion, leaf)]
        return self._rows(own, occasion, leaf, "not_now" if own else "discarded")

    def _is_taken(self, reaction: Reaction, occasion: Occasion, leaf: int) -> bool:
        if occasion.timer >= 0:
            return self.timers.waits_for(occasion.timer, self.rules[reaction.rule], leaf)
        return reaction.rule == occasion.rule

    def _rows(
        self, reactions: Sequence[Reaction], occasion: Occasion, leaf: int, otherwise: str
    ) -> Chain:
        """The reactions until one that is always taken, and what holds where none is enabled, or
        only for want of room.
        """
        blocked = "unexpected" if occasion.signal >= 0 else "not_now"
        rows: list[Alternative] = []
        for reaction in reactions:
            guard = self._judged(reaction.guard, reaction, occasion, leaf)
            if guard != FALSE:
                body = self._body(reaction, leaf)
                rows.append(Alternative(None if guard == TRUE else guard, body, "taken"))
            if guard == TRUE:
                return tuple(rows)
        waiting = [
            self._judged(one.own_guard, one, occasion, leaf) for one in reactions if one.rooms
        ]
        full = folded("or", tuple(waiting))
        if full != FALSE and blocked != otherwise:
            rows.append(Alternative(None if full == TRUE else full, None, blocked))
        if full != TRUE or blocked == otherwise:
            rows.append(Alternative(None, None, otherwise))
        return tuple(rows)

    def brings(self, occasion: Occasion) -> tuple[bool, bool]:
        """Whether an occasion brings a value along, and whether what brings it can be late."""
        if occasion.queue < 0:
            return self.value_type(occasion) is not None, False
        queue = self.product.queues[occasion.queue]
        return self.value_type(occasion) is not None, queue.slots[0].late >= 0

    def value_type(self, occasion: Occasion) -> ValueType | None:
        """The type of the value that an occasion brings along, if it brings one."""
        if occasion.queue >= 0:
            return self.product.queues[occasion.queue].messages[occasion.code - 1].type
        return self.product.signal_types[occasion.signal] if occasion.signal >= 0 else None

    def _judged(
        self, guard: Expression | None, reaction: Reaction, occasion: Occasion, leaf: int
    ) -> Expression:
        """A guard of a reaction where the chip's state is known, and its timer has expired."""
        if guard is None:
            return TRUE
        known: dict[Expression, int] = {Read(self.form.state_field): leaf}
        value, late = self.brings(occasion)
        known |= {} if value else {PayloadIR(): 0}
        known |= {} if late else {IsLateIR(): 0}
        expires = self.rules[reaction.rule].expires
        if expires:
            name = f"{self.form.name}.{expires} timer"
            own = next(n for n, one in enumerate(self.product.fields) if one.name == name)
            known[Read(own)] = 1
        return judged(guard, known)

    def _body(self, reaction: Reaction, leaf: int) -> Body:
        rule = self.rules[reaction.rule]
        after = leaf if reaction.enters < 0 else reaction.enters
        variables = self.variable_fields
        return Body(
            rule=reaction.rule,
            assigns=tuple(one for one in reaction.assigns if one.targets[0].first in variables),
            sends=reaction.sends,
            signalled=reaction.signalled,
            enters=reaction.enters,
            stops=self.timers.stopped_by(rule, after),
            starts=self.timers.started_by(rule, leaf, after),
        )

    @cached_property
    def variable_fields(self) -> dict[int, tuple[str, int]]:
        """The fields of the chip's variables: name, and index in a list, or -1."""
        numbers = {field.name: n for n, field in enumerate(self.product.fields)}
        found = {}
        for variable in self.chip.variables.values():
            name = f"{self.form.name}.{variable.name}"
            for item in range(variable.length):
                found[numbers[f"{name}[{item}]"]] = (variable.name, item)
            if not variable.length:
                found[numbers[name]] = (variable.name, -1)
        return found

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """Every body once, in the order of the rules."""
        found = {
            row.body: None
            for chains in self.chains.values()
            for chain in chains
            for row in chain
            if row.body is not None
        }
        return tuple(sorted(found, key=lambda body: body.rule))

    @cached_property
    def sent(self) -> list[tuple[int, int]]:
        """The messages that it sends: links and codes."""
        return sorted({(one.queue, one.message) for body in self.bodies for one in body.sends})

    @cached_property
    def signalled(self) -> list[int]:
        """The signals that it gives."""
        return sorted({one.signal for body in self.bodies for one in body.signalled})

    @cached_property
    def own_rules(self) -> list[int]:
        """The rules that it takes by itself."""
        return [one.rule for one in self.occasions if one.rule >= 0]

    @cached_property
    def foreign(self) -> tuple[int, ...]:
        """The fields that the chip reads of others: states, variables, messages that wait."""
        own = {self.form.state_field, *self.variable_fields}
        read = {field for one in self.expressions for field in fields_read(one)}
        return tuple(sorted(read - own))

    @cached_property
    def expressions(self) -> tuple[Expression, ...]:
        """Everything that the C code evaluates."""
        rows = [row for chains in self.chains.values() for chain in chains for row in chain]
        guards = dict.fromkeys(row.guard for row in rows if row.guard is not None)
        return (*guards, *(one for body in self.bodies for one in body.expressions))


def usual(chains: Iterable[Chain]) -> Chain:
    """What happens in most leaves, preferably without a rule: it can be the default."""
    counts = Counter(chains)
    plain = {c: n for c, n in counts.items() if all(row.body is None for row in c)} or counts
    return max(plain, key=lambda chain: plain[chain])


def plan_of(device: Device, chip: str) -> ChipPlan:
    """The plan of a chip, by its name. Raises `InvalidInput` if it may start in several ways."""
    need_one_start(device, "its code starts in one", [chip])
    return ChipPlan(compose(replace(device, clock=None)), list(device.chips).index(chip))


def judged(expression: Expression, known: dict[Expression, int]) -> Expression:
    """The expression where some of what it reads is known."""
    if isinstance(expression, Read | PayloadIR | IsLateIR):
        value = known.get(expression)
        return expression if value is None else ConstantIR(value)
    if isinstance(expression, ReadItem):
        return replace(expression, index=judged(expression.index, known))
    if isinstance(expression, ApplyIR):
        parts = tuple(judged(argument, known) for argument in expression.arguments)
        return folded(expression.operator, parts)
    return expression


def asks_for(expression: Expression | None) -> tuple[bool, bool]:
    """Whether it reads the value of the message that is delivered, or of the signal that is heard,
    and whether the message is late.
    """
    parts = list(subexpressions(expression)) if expression is not None else []
    return any(isinstance(one, PayloadIR) for one in parts), IsLateIR() in parts
