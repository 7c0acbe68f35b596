"""The intermediate form of a product: fields, expressions, reactions, queues, faults.

Nothing here knows YAML, and nothing has to be looked up by name: chips, leaves, queues, messages,
signals, rules and labels are numbers. An engine needs this module and that of expressions.

A state of the product is a vector of integers, one for each `Field`. Its semantics, such as
the order in which the parts of one step happen, is defined by `modecheck.engine.reference.plain`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import Enum
from typing import TypeAlias

from modecheck.model.parts import Device, Rule
from modecheck.model.values import ValueType
from modecheck.product.expression_ir import Expression, Failure


@dataclass(frozen=True, slots=True)
class Field:
    """An integer from `low` to `high` in every state; `owner` is the number of its chip, or -1.

    If it may start with several values, they are all in `starts`, and `start` is the first of them.
    `type` spells its values, if it is a variable; state fields and queue slots have none.
    """

    name: str
    low: int
    high: int
    start: int
    owner: int = -1
    type: ValueType | None = None
    starts: tuple[int, ...] = ()

    @property
    def bits(self) -> int:
        return (self.high - self.low).bit_length()


@dataclass(frozen=True, slots=True)
class TargetIR:
    """Field `first`, or `first + index` of a list; values outside low..high are a failure."""

    first: int
    length: int
    index: Expression | None
    low: int
    high: int
    failure: Failure


@dataclass(frozen=True, slots=True)
class Assign:
    """All values are computed first; then each is checked and written, in order."""

    targets: tuple[TargetIR, ...]
    values: tuple[Expression, ...]


@dataclass(frozen=True, slots=True)
class SendIR:
    """Puts a message (code) and perhaps a value into a queue, when the step ends."""

    queue: int
    message: int
    value: Expression | None
    value_failure: Failure
    overflow: Failure


@dataclass(frozen=True, slots=True)
class SignalIR:
    """A signal (number) that a rule gives, perhaps with a value, which all who hear it see."""

    signal: int
    value: Expression | None
    value_failure: Failure


@dataclass(frozen=True, slots=True)
class Room:
    """A link (`queue`) whose sender waits while it is full. It has room for what a rule sends where
    `free` holds; `full` is the failure of a signal that would trigger the rule elsewhere.
    """

    queue: int
    free: Expression
    full: Failure


@dataclass(frozen=True, slots=True)
class Reaction:
    """What a chip does when it takes a rule in one of its leaves.

    `guard` holds where `own_guard` does and all `rooms` are free; None always holds. `enters` is
    the leaf entered, or -1. `cuts` are the numbers of assignments after which a power cut can
    strike in the middle.
    """

    rule: int
    label: int
    guard: Expression | None
    assigns: tuple[Assign, ...]
    sends: tuple[SendIR, ...]
    signalled: tuple[SignalIR, ...]
    enters: int
    cuts: tuple[int, ...] = ()
    own_guard: Expression | None = None
    rooms: tuple[Room, ...] = ()

    @property
    def signals(self) -> tuple[int, ...]:
        """The signals that it gives, in order."""
        return tuple(given.signal for given in self.signalled)

    @property
    def conditions(self) -> Iterator[Expression]:
        """Everything that decides whether it is enabled, or would be if no link were full."""
        if self.guard is not None:
            yield self.guard
        if self.rooms and self.own_guard is not None:
            yield self.own_guard
        yield from (room.free for room in self.rooms)

    @property
    def expressions(self) -> Iterator[Expression]:
        """Everything that it evaluates: conditions, values and places written, values sent."""
        yield from self.conditions
        for assign in self.assigns:
            yield from assign.values
            yield from (target.index for target in assign.targets if target.index is not None)
        yield from (send.value for send in self.sends if send.value is not None)
        yield from (given.value for given in self.signalled if given.value is not None)


class Otherwise(Enum):
    """What happens to a message that no rule takes, and that none would take with more room."""

    DISCARD = "discard"
    DEFER = "defer"
    UNSPECIFIED = "unspecified"


@dataclass(frozen=True, slots=True)
class Reception:
    """A message at a leaf: the reactions in order, and what happens when none is enabled."""

    reactions: tuple[Reaction, ...]
    otherwise: Otherwise
    discard_label: int
    unspecified: Failure


@dataclass(frozen=True, slots=True)
class ChipIR:
    """A chip: for each leaf its own steps and its receptions.

    `receptions[leaf]` maps (queue, message code), `hearings[leaf]` maps a signal to reactions.
    `restarts` gives each way in which it may begin again after a power cut: the fields of its state
    and of all that is volatile, with their values. Where `turn` does not
    hold, the chip takes no rule by itself, and nothing is delivered to it
    (`modecheck.product.turns`); an index in it that is out of range makes it false. None always
    holds.
    """

    name: str
    actor: bool
    state_field: int
    leaves: tuple[str, ...]
    rests: tuple[bool, ...]
    initial: int
    steps: tuple[tuple[Reaction, ...], ...]
    receptions: tuple[dict[tuple[int, int], Reception], ...]
    hearings: tuple[dict[int, tuple[Reaction, ...]], ...]
    restarts: tuple[tuple[tuple[int, int], ...], ...]
    inputs: tuple[int, ...]
    outputs: tuple[int, ...]
    turn: Expression | None = None

    @property
    def reactions(self) -> Iterator[Reaction]:
        """Everything that it may do, leaf by leaf: by itself, on messages, on signals."""
        for leaf in range(len(self.leaves)):
            yield from self.steps[leaf]
            for reception in self.receptions[leaf].values():
                yield from reception.reactions
            for heard in self.hearings[leaf].values():
                yield from heard


@dataclass(frozen=True, slots=True)
class Slot:
    """The fields of one place in a queue; -1 where values, sessions or ages are not kept.

    A code of 0 is an empty slot; full slots come first. `age` is how many ticks ago the message was
    sent; it stops at the value from which on it no longer matters.
    """

    code: int
    value: int
    late: int
    age: int = -1

    @property
    def fields(self) -> tuple[int, ...]:
        """Those fields that it has."""
        return tuple(f for f in (self.code, self.value, self.late, self.age) if f >= 0)


@dataclass(frozen=True, slots=True)
class MessageIR:
    """`kind` as in `modecheck.model.parts.Message`; `low` and `high` bound its value."""

    name: str
    kind: str
    low: int
    high: int
    type: ValueType | None


@dataclass(frozen=True, slots=True)
class Queue:
    """A link. `messages[code - 1]` is the message of a code. `up` is None for a link always up.

    The head is delivered at an age from `earliest` to `latest` ticks; -1 for no latest. With
    `any_order` every message in it is treated like a head, and what waits is kept in a fixed order:
    the oldest first, then by code, value and session. `corrupted` is the code of what arrives in
    the place of a corrupted message, or 0.
    """

    name: str
    sender: int
    receiver: int
    slots: tuple[Slot, ...]
    messages: tuple[MessageIR, ...]
    up: Expression | None
    holds: bool
    when_full: str
    earliest: int = 0
    latest: int = -1
    any_order: bool = False
    corrupted: int = 0

    @property
    def heads(self) -> tuple[Slot, ...]:
        """The places from which a message can be delivered, lost, doubled or corrupted."""
        return self.slots if self.any_order else self.slots[:1]


@dataclass(frozen=True, slots=True)
class FaultIR:
    """`kind` is lose, duplicate or corrupt (target: a queue), power_cut or reset (target: a chip).

    `budget` is the field that counts the faults left, or -1 for any number. `row` is the field that
    counts those left before the next message is delivered, when there are `in_a_row` again; or -1.
    `in_all` is the field that counts the faults left of all kinds together, or -1.
    `cut_labels` maps (rule, assignments done) to the label of a cut in the middle of that rule. A
    chip that may restart in several ways has a fault for each, with the same label: `restart`.
    """

    kind: str
    target: int
    budget: int
    label: int
    cut_labels: dict[tuple[int, int], int]
    row: int = -1
    in_a_row: int = 0
    in_all: int = -1
    restart: int = 0

    @property
    def counts(self) -> tuple[int, ...]:
        """The fields of which none may be 0 when it happens, and all are one less then."""
        return tuple(left for left in (self.budget, self.row, self.in_all) if left >= 0)

    @property
    def endless(self) -> bool:
        """Whether it may happen any number of times."""
        return not self.counts

    @property
    def of_chip(self) -> bool:
        return self.kind in ("power_cut", "reset")


@dataclass(frozen=True, slots=True)
class Label:
    """What a step is called. `kind` is rule, deliver, discard, a fault's kind, cut_in_rule, tick,
    follow (an observer's choice), idle, or start (how the device begins: no step of a state).

    `rule`, `queue` and `chip` are numbers, or -1; `message` is the code of what is delivered, or 0.
    Deliveries of two messages have different labels, even if the same rule takes them.
    """

    text: str
    kind: str
    rule: int = -1
    queue: int = -1
    chip: int = -1
    message: int = 0


@dataclass(frozen=True, slots=True)
class Ticking:
    """What a tick does to a field where `runs` holds: it adds one up to `last`, then sets `behind`.
    Behaviour changes only when the field reaches one of the `stops` (ascending, including `last`)
    or `behind`. At `zero` no time has passed.
    """

    field: int
    runs: Expression
    last: int
    behind: int
    stops: tuple[int, ...]
    zero: int = 0


@dataclass(frozen=True, slots=True)
class Due:
    """A rule (number), and the condition that it is at its latest moment."""

    rule: int
    holds: Expression


@dataclass(frozen=True, slots=True)
class TimeIR:
    """Time in ticks, each a step `label` of its own.

    A tick is impossible while a rule is `due`, while a message at its latest age can be delivered,
    while a step with a label in `at_once` is possible, and where it would change nothing. Where
    nothing else is possible and time is `accelerated`, all ticks up to the next one that matters
    are one step.
    """

    label: int
    tickings: tuple[Ticking, ...]
    due: tuple[Due, ...]
    at_once: frozenset[int]
    accelerated: bool = False


MessageIn: TypeAlias = tuple[int, int]
"""A queue and the code of a message in it."""


@dataclass(frozen=True, slots=True)
class EventIR:
    """An event that steps are searched for: it happened if anything named here did.

    `late` are deliveries of messages sent in an older session; `signalled` are signals, `taken`
    rules; `ticks` says that a tick is one.
    """

    sent: frozenset[MessageIn] = frozenset()
    accepted: frozenset[MessageIn] = frozenset()
    delivered: frozenset[MessageIn] = frozenset()
    late: frozenset[MessageIn] = frozenset()
    dropped: frozenset[MessageIn] = frozenset()
    signalled: frozenset[int] = frozenset()
    taken: frozenset[int] = frozenset()
    ticks: bool = False


@dataclass(frozen=True, slots=True)
class FairSet:
    """Steps (labels) of which one eventually happens if one stays possible; in a strong set, even
    if one is only possible infinitely often.
    """

    name: str
    strong: bool
    labels: frozenset[int]


@dataclass(frozen=True, slots=True)
class ObserverAutomaton:
    """An automaton that runs in parallel with the product; its state is a field.

    At the end of each step it goes on to `table[state << len(atoms) | valuation]`, where bit `k` of
    the valuation is atom `k`, judged on the state reached and on what happened in the step.
    `choices` are its own steps (from, to, label), which it is never obliged to take. `firsts` are
    the indices in the table for all states in which the device may begin. The field `count` counts
    ticks in the states `counting`, and falls back to 0 outside of them; -1 for an observer that
    needs no time.
    """

    name: str
    field: int
    atoms: tuple[Expression, ...]
    table: tuple[int, ...]
    choices: tuple[tuple[int, int, int], ...]
    firsts: frozenset[int]
    count: int = -1
    counting: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Product:
    """A device in one variant, composed. `conditions` are evaluated in every state, by number.

    `rules[r]` is a rule of the chip `rule_chips[r]`. `signal_types` has the type of the value of
    each of the `signals`, or None. Of `events`, the first ones are those named in
    `watched_events`: each has a bit of its own in what a step reports. With an `idle_field`, a
    state in which nothing more has to happen has a step `idle_label`, in which nothing happens; it
    sets the field, and from then on the device idles forever. A device that may begin in several
    states has them all in `starts`, and `start_label` for how it begins.
    """

    device: Device
    fields: tuple[Field, ...]
    chips: tuple[ChipIR, ...]
    queues: tuple[Queue, ...]
    signals: tuple[str, ...]
    faults: tuple[FaultIR, ...]
    rules: tuple[Rule, ...]
    rule_chips: tuple[int, ...]
    labels: tuple[Label, ...]
    conditions: dict[str, Expression]
    watched_events: tuple[str, ...]
    fair: tuple[FairSet, ...] = ()
    events: tuple[EventIR, ...] = ()
    observers: tuple[ObserverAutomaton, ...] = ()
    idle_label: int = -1
    idle_field: int = -1
    time: TimeIR | None = None
    signal_types: tuple[ValueType | None, ...] = ()
    starts: tuple[tuple[int, ...], ...] = ()
    start_label: int = -1

    @property
    def initial(self) -> tuple[int, ...]:
        """The state in which it begins, or the first of them."""
        return tuple(field.start for field in self.fields)

    @property
    def first_states(self) -> tuple[tuple[int, ...], ...]:
        """All states in which it may begin."""
        return self.starts or (self.initial,)

    def begun_in(self, state: tuple[int, ...]) -> Product:
        """The product that begins in one of the states in which this one may, and in no other."""
        fields = tuple(
            replace(one, start=value, starts=())
            for one, value in zip(self.fields, state, strict=True)
        )
        return replace(self, fields=fields, starts=())

    def event_bits(self, names: Iterable[str]) -> int:
        """The bits of some of the `watched_events` in what a step reports."""
        return sum(1 << self.watched_events.index(name) for name in names)

    @property
    def bits(self) -> int:
        """Bits of one packed state."""
        return sum(field.bits for field in self.fields)
