"""Compose a device's chips, links and faults into one product."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from modecheck.model.clocks import common_measure, durations
from modecheck.model.links import CORRUPTED, LINK_FAULTS
from modecheck.model.parts import Chip, Device, Event, Link, Rule
from modecheck.model.times import Clock
from modecheck.product.asking import AskedEvents, asked
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Expression, Failure, Read
from modecheck.product.fairness import fair_sets, fairness_of
from modecheck.product.fields import FieldPlan, delay_of, message_forms, plan_fields, starts_of
from modecheck.product.ir import (
    ChipIR,
    Due,
    EventIR,
    FaultIR,
    Label,
    MessageIn,
    Otherwise,
    Product,
    Queue,
    Reaction,
    Reception,
    Ticking,
    TimeIR,
)
from modecheck.product.lowering import FALSE, TRUE, Addresses, folded, lowered
from modecheck.product.observers import watch
from modecheck.product.reactions import Labels, ReactionBuilder
from modecheck.product.rule_order import alternatives, rules_at
from modecheck.product.state_conditions import moments_due, state_conditions
from modecheck.product.timing import TimerCode
from modecheck.product.turns import Turns


def compose(
    device: Device, *, observers: Iterable[str] = (), time_acceleration: bool = False
) -> Product:
    """The product of all chips and actors of a device, in the variant that was loaded, with
    an observer for each requirement named in `observers`.

    With `time_acceleration` a tick is as long as all times of the device allow, and successive
    ticks at which nothing else is possible become one step, up to where something changes.
    """
    product, addresses = _alone(device, time_acceleration=time_acceleration)
    names = tuple(observers)
    if names:
        product = watch(product, addresses, names)
    if time_acceleration and product.time is not None:
        product = replace(product, time=replace(product.time, accelerated=True))
    return product


_latest: list[tuple[Device, bool, Product, Addresses]] = []
"""What was composed last: observers are often added to the same product."""


def _alone(device: Device, *, time_acceleration: bool) -> tuple[Product, Addresses]:
    """The product without observers, and where it keeps what they ask for."""
    for known, accelerated, product, addresses in _latest:
        if known is device and accelerated == time_acceleration:
            return product, addresses
    composition = _Composition(with_longest_tick(device) if time_acceleration else device)
    product = composition.product()
    _latest[:] = [(device, time_acceleration, product, composition.addresses)]
    return product, composition.addresses


def with_longest_tick(device: Device) -> Device:
    """The device with the longest tick that divides all its times. All bounds are scaled alike, so
    inclusive bounds stay exact.

    A period of several ticks keeps at least two. With one, a count that restarts would have the
    same value after each tick, so a device that otherwise waits forever would seem not to move.
    """
    clock = device.clock
    measure = common_measure(time for one in durations(device) for time in one.moments)
    if clock is None or not measure:
        return device
    periods = {
        rule.after.low
        for c in device.chips.values()
        for rule in c.rules
        if rule.periodic and rule.after
    }
    if measure in periods:
        measure /= _least_factor(measure // clock.tick)
    return replace(device, clock=replace(clock, tick=measure))


def _least_factor(number: int) -> int:
    """The least factor of a number beyond 1; 1 has none but itself."""
    return next((one for one in range(2, number + 1) if number % one == 0), 1)


def compose_for_chances(device: Device) -> AskedEvents:
    """The product whose steps report the events that the device's questions name, and whose
    conditions mark the states in which a question ends.
    """
    composition = _Composition(device)
    return asked(composition.product(), composition.addresses)


class _Composition:
    def __init__(self, device: Device) -> None:
        self._device = device
        self._plan: FieldPlan = plan_fields(device)
        self.addresses = Addresses(self._plan.variables, self._plan.states, device.chips)
        self._chip_numbers = {name: number for number, name in enumerate(device.chips)}
        self._queues = [self._queue(link) for link in device.links.values()]
        numbered = {queue.name: (number, queue) for number, queue in enumerate(self._queues)}
        self._labels = Labels()
        self._builder = ReactionBuilder(device, self._plan, self.addresses, numbered, self._labels)
        self._rules = [rule for chip in device.chips.values() for rule in chip.rules]
        self._rule_numbers = {(rule.chip, rule.title): n for n, rule in enumerate(self._rules)}
        self._signals = device.signals

    def product(self) -> Product:
        chips = self._with_turns([self._chip(chip) for chip in self._device.chips.values()])
        faults = tuple(self._faults(chips))
        time = self._time({chip.name: chip.turn for chip in chips if chip.turn is not None})
        starts = starts_of(self._plan.fields)
        several = len(starts) > 1
        start_label = self._labels.number(Label(START, "start")) if several else -1
        labels = tuple(self._labels.all)
        return Product(
            device=self._device,
            fields=tuple(self._plan.fields),
            chips=chips,
            queues=tuple(self._queues),
            signals=self._signals,
            faults=faults,
            rules=tuple(self._rules),
            rule_chips=tuple(self._chip_numbers[rule.chip] for rule in self._rules),
            labels=labels,
            conditions=state_conditions(self._device, self.addresses, chips, self._queues)
            | moments_due(time),
            watched_events=self._watched_events(),
            fair=fair_sets(self._device, self._rules, self._queues, faults, labels),
            events=tuple(self._events()),
            time=time,
            signal_types=tuple(map(self._device.shared.signal_type, self._signals)),
            starts=starts if several else (),
            start_label=start_label,
        )

    def _with_turns(self, chips: list[ChipIR]) -> tuple[ChipIR, ...]:
        """Chips that share a controller, with when each of them may step."""
        latest = self._builder.latest if self._device.clock is not None else None
        turns = Turns(self._device, chips, self._queues, self._rules, latest)
        return tuple(replace(chip, turn=turns.of(number)) for number, chip in enumerate(chips))

    def _time(self, turns: Mapping[str, Expression]) -> TimeIR | None:
        """What a tick does, and when there is none; `turns` say when some chips may step."""
        clock = self._device.clock
        if clock is None:
            return None
        counts = (
            self._standing(name, ticking, turns)
            for name in self._device.chips
            for ticking in TimerCode(
                self._plan.timers[name], self._plan.states[name], self._plan.fields
            ).tickings()
        )
        ages = (
            Ticking(
                slot.age, ApplyIR("!=", (Read(slot.code), ConstantIR(0))), oldest, oldest, stops
            )
            for queue in self._queues
            for slot in queue.slots
            if slot.age >= 0 and (oldest := self._plan.fields[slot.age].high)
            for stops in [(queue.earliest, oldest) if 0 < queue.earliest < oldest else (oldest,)]
        )
        return TimeIR(
            label=self._labels.number(Label(TICK, "tick")),
            tickings=(*counts, *ages),
            due=tuple(self._dues(turns)),
            at_once=frozenset(self._at_once(clock)),
        )

    def _standing(self, chip: str, ticking: Ticking, turns: Mapping[str, Expression]) -> Ticking:
        """A count of a chip, which stands still while a rule is due and the chip is held back."""
        turn = turns.get(chip)
        if turn is None:
            return ticking
        held = folded("not", (turn,))
        due = tuple(
            folded("and", (self._builder.latest(rule), held, self._builder.condition_of(rule)))
            for rule in self._rules
            if rule.chip == chip and rule.kind == "timer" and self._owes(rule)
        )
        runs = folded("and", (ticking.runs, folded("not", (folded("or", due),))))
        return replace(ticking, runs=runs)

    def _dues(self, turns: Mapping[str, Expression]) -> Iterator[Due]:
        """Rules that have to be taken by their latest moment, if their chip may step."""
        for number, rule in enumerate(self._rules):
            if rule.kind == "timer" and self._owes(rule):
                turn = turns.get(rule.chip, TRUE)
                condition = self._builder.condition_of(rule)
                holds = folded("and", (self._builder.latest(rule), turn, condition))
                if holds != FALSE:
                    yield Due(number, holds)

    def _owes(self, rule: Rule) -> bool:
        """Whether a rule must eventually be taken if it stays enabled."""
        return fairness_of(self._device, rule) != "none"

    def _at_once(self, clock: Clock) -> Iterator[int]:
        """Steps that time waits for: rules without a time, messages without a delay. Time does not
        wait for a step without fairness, which may never happen.
        """
        for label, number in self._labels.all.items():
            if label.kind == "rule" and "chips" in clock.at_once:
                rule = self._rules[label.rule]
                yield from [number] if rule.kind == "internal" and self._owes(rule) else []
            elif label.kind in ("deliver", "discard") and "links" in clock.at_once:
                link = self._device.links[self._queues[label.queue].name]
                yield from [number] if link.delay is None and link.fair != "none" else []

    def _watched_events(self) -> tuple[str, ...]:
        names = [
            name for pairing in self._device.pairings.values() for name in pairing.forgotten_by
        ]
        for need in self._device.requirements.values():
            names += acts(self._device, need.without)
        for pairing in self._device.pairings.values():
            names += acts(self._device, pairing.forgotten_by)
            names += [acting(actor) for actor in pairing.recovers_without]
        names += [DROPPED] if len(self._device.modes) > 1 else []
        return tuple(dict.fromkeys(names))

    def _events(self) -> Iterator[EventIR]:
        actors = {acting(chip.name): chip.name for chip in self._device.chips.values()}
        sent = {sending(message): message for message in _messages(self._device)}
        for name in self._watched_events():
            if name == DROPPED:
                yield EventIR(dropped=frozenset(self._payloads()))
            elif name in actors:
                chip = self._chip_numbers[actors[name]]
                own = (n for n, rule in enumerate(self._rules) if self._chip_of(rule) == chip)
                yield EventIR(taken=frozenset(own))
            elif name in sent:
                yield EventIR(
                    sent=self._called(sent[name]), signalled=self._signals_called(sent[name])
                )
            else:
                yield EventIR(signalled=self._signals_called(name), delivered=self._called(name))

    def _payloads(self) -> Iterator[MessageIn]:
        for number, queue in enumerate(self._queues):
            carried = self._device.links[queue.name].carries
            for code, message in enumerate(queue.messages, start=1):
                if carried[message.name].payload:
                    yield number, code

    def _chip_of(self, rule: Rule) -> int:
        return self._chip_numbers[rule.chip]

    def _signals_called(self, name: str) -> frozenset[int]:
        """The signal of a name, if there is one."""
        return frozenset(n for n, signal in enumerate(self._signals) if signal == name)

    def _called(self, name: str) -> frozenset[MessageIn]:
        """The messages of a name, in all links."""
        return frozenset(
            (number, code)
            for number, queue in enumerate(self._queues)
            for code, message in enumerate(queue.messages, start=1)
            if message.name == name
        )

    def _queue(self, link: Link) -> Queue:
        up = None
        if link.up_when is not None:
            up = lowered(link.up_when, self.addresses, link.place)
        delay = delay_of(self._device, link)
        return Queue(
            name=link.name,
            sender=self._chip_numbers[link.sender],
            receiver=self._chip_numbers[link.receiver],
            slots=self._plan.slots[link.name],
            messages=message_forms(link),
            up=up,
            holds=link.when_down == "hold",
            when_full=link.when_full,
            earliest=delay.low,
            latest=-1 if delay.high is None else delay.high,
            any_order=link.order == "any",
            corrupted=list(link.carries).index(CORRUPTED) + 1 if link.corrupts else 0,
        )

    def _chip(self, chip: Chip) -> ChipIR:
        leaves = chip.leaves
        number = self._chip_numbers[chip.name]
        return ChipIR(
            name=chip.name,
            actor=chip.actor,
            state_field=self._plan.states[chip.name],
            leaves=leaves,
            rests=tuple(chip.states[leaf].rest for leaf in leaves),
            initial=leaves.index(chip.initial_leaf),
            steps=tuple(self._steps(chip, leaf) for leaf in leaves),
            receptions=tuple(self._receptions(chip, leaf) for leaf in leaves),
            hearings=tuple(self._hearings(chip, leaf) for leaf in leaves),
            restarts=self._restarts(chip),
            inputs=tuple(n for n, queue in enumerate(self._queues) if queue.receiver == number),
            outputs=tuple(n for n, queue in enumerate(self._queues) if queue.sender == number),
        )

    def _reactions(
        self, rules: Iterable[Rule], queue: int = -1, message: int = 0
    ) -> tuple[Reaction, ...]:
        numbered = ((rule, self._rule_numbers[rule.chip, rule.title]) for rule in rules)
        found = (
            self._builder.reaction(rule, number, queue=queue, message=message)
            for rule, number in numbered
        )
        return tuple(reaction for reaction in found if reaction is not None)

    def _steps(self, chip: Chip, leaf: str) -> tuple[Reaction, ...]:
        return self._reactions(rule for rule in rules_at(chip, leaf) if not rule.trigger)

    def _receptions(self, chip: Chip, leaf: str) -> dict[tuple[int, int], Reception]:
        receptions = {}
        for number, queue in enumerate(self._queues):
            if queue.receiver == self._chip_numbers[chip.name]:
                for code in range(1, len(queue.messages) + 1):
                    receptions[number, code] = self._reception(chip, leaf, number, code)
        return receptions

    def _reception(self, chip: Chip, leaf: str, queue: int, code: int) -> Reception:
        link = self._queues[queue].name
        message = self._queues[queue].messages[code - 1].name
        event = Event(message, link)
        label = Label(f"{link} to {chip.name}, discarded", "discard", -1, queue, message=code)
        text = f"{chip.name} in {leaf} has no answer to {message}"
        subject = f"{chip.name}.{leaf}.{message}"
        return Reception(
            reactions=self._reactions(alternatives(chip, leaf, event), queue, code),
            otherwise=reply_of(chip, leaf, event),
            discard_label=self._labels.number(label),
            unspecified=Failure("unspecified-reception", subject, text, chip.states[leaf].place),
        )

    def _hearings(self, chip: Chip, leaf: str) -> dict[int, tuple[Reaction, ...]]:
        hearings = {}
        for number, signal in enumerate(self._signals):
            reactions = self._reactions(alternatives(chip, leaf, Event(signal)))
            if reactions:
                hearings[number] = reactions
        return hearings

    def _restarts(self, chip: Chip) -> tuple[tuple[tuple[int, int], ...], ...]:
        """In which ways a chip begins after a power cut, with the first way first."""
        fields = [self._plan.states[chip.name]]
        for variable in chip.variables.values():
            if not variable.persistent:
                first = self._plan.variables[chip.name, variable.name]
                fields += range(first, first + len(variable.starts))
        timers = self._plan.timers[chip.name]
        code = TimerCode(timers, self._plan.states[chip.name], self._plan.fields)
        fresh = tuple(code.fresh())
        ways = starts_of([self._plan.fields[one] for one in fields])
        return tuple((*zip(fields, way, strict=True), *fresh) for way in ways)

    def _faults(self, chips: Sequence[ChipIR]) -> list[FaultIR]:
        faults = []
        named: set[tuple[str, str]] = set()
        free: set[tuple[str, str]] = set()
        budgets = zip(self._device.faults, self._plan.budgets, strict=True)
        for number, (group, budget) in enumerate(budgets):
            for target in group.targets:
                named.add((group.kind, target))
                row = self._plan.rows.get((number, target), -1)
                if max(budget, row) < 0 and (group.kind, target) in free:
                    continue  # a second group without a budget would take the same step again
                if max(budget, row) < 0:
                    free.add((group.kind, target))
                fault = self._fault(group.kind, target, budget)
                fault = replace(fault, row=row, in_a_row=group.at_most_in_a_row or 0)
                ways = len(chips[fault.target].restarts) if fault.of_chip else 1
                faults += [replace(fault, restart=way) for way in range(ways)]
        for link in self._device.links.values():
            own = (kind for kind in link.faults if (kind, link.name) not in named)
            faults += (self._fault(kind, link.name, -1) for kind in own)
        return [replace(fault, in_all=self._plan.in_all) for fault in faults]

    def _fault(self, kind: str, target: str, budget: int) -> FaultIR:
        if kind in LINK_FAULTS:
            queue = [form.name for form in self._queues].index(target)
            label = self._labels.number(Label(f"{target} {kind}", kind, -1, queue))
            return FaultIR(kind, queue, budget, label, {})
        chip = self._chip_numbers[target]
        label = self._labels.number(Label(f"{target} {kind}", kind, -1, -1, chip))
        return FaultIR(kind, chip, budget, label, self._cut_labels(kind, target, chip))

    def _cut_labels(self, kind: str, target: str, chip: int) -> dict[tuple[int, int], int]:
        labels = {}
        for number, rule in enumerate(self._rules):
            if rule.chip == target and rule.separate:
                texts = [assignment.text for assignment in rule.assignments]
                for done in range(1, len(texts)):
                    again = texts[:done].count(texts[done - 1])
                    which = f"{texts[done - 1]} #{again}" if again > 1 else texts[done - 1]
                    text = f"{target} {kind} in {rule.title} after {which}"
                    label = Label(text, "cut_in_rule", number, -1, chip)
                    labels[number, done] = self._labels.number(label)
        return labels


START = "the device starts"
"""The label of how a device begins that may begin in several states."""

TICK = "time goes on"
"""The label of a tick."""

DROPPED = "a payload is dropped"
"""The watched event that a message is lost whose kind the model says; no signal has such a name."""


def acting(actor: str) -> str:
    """The watched event that an actor acts by an internal rule; no signal can have such a name."""
    return f"{actor} acts"


def sending(message: str) -> str:
    """The watched event that a message is sent, or a signal of that name given; no signal can have
    such a name.
    """
    return f"{message} is sent"


def acts(device: Device, names: Iterable[str]) -> tuple[str, ...]:
    """The watched events at which one of these names originates: the signal is given, or the
    message is sent. The arrival of a message that was sent earlier does not count.
    """
    messages = _messages(device)
    return tuple(sending(name) if name in messages else name for name in names)


def _messages(device: Device) -> set[str]:
    return {message for link in device.links.values() for message in link.carries}


def reply_of(chip: Chip, leaf: str, event: Event) -> Otherwise:
    """The reply to a message that no rule takes: that of the innermost state that has one."""
    for state in chip.ancestry(leaf):
        for reply in chip.replies.get(state, ()):
            if reply.event in (event, Event(event.name)):
                return Otherwise.DISCARD if reply.manner == "discard" else Otherwise.DEFER
    return Otherwise.UNSPECIFIED
