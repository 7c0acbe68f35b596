"""A product's IR as facts about atoms: terms that are unordered where order does not matter.

The atoms (see `fact_graph`) are things that could be exchanged for one another: chips, fields,
values that are names, queues, signals, rules, labels, failures. So a permutation of them that maps
facts to facts is an automorphism of the product.

Parts that are unordered here could be in any order without changing what a step does: operands of
commutative operators that cannot fail (of a whole chain, as in `a + b + c`), assignments that do
not touch each other in a rule that cannot be cut, messages to different links, chips' own steps. A
rule stops at its first failure, so those of its parts that can fail keep their order. Where several
chips answer the same signal with further signals, the order of chips matters, and is a fact.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from modecheck.product.composition import DROPPED
from modecheck.product.expression_ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    Failure,
    Happened,
    PayloadIR,
    Read,
    ReadItem,
)
from modecheck.product.fact_graph import FactGraph
from modecheck.product.ir import (
    Assign,
    ChipIR,
    EventIR,
    FaultIR,
    Product,
    Queue,
    Reaction,
    Room,
    SendIR,
    SignalIR,
    TargetIR,
)
from modecheck.product.subexpressions import apart, can_fail, fields_written
from modecheck.product.value_bounds import bounds_of
from modecheck.product.value_sorts import EQUALITIES, NUMBER, ValueSorts, payload_of, value_heard

ASSOCIATIVE = ("and", "or", "+", "*", "min", "max")
COMMUTATIVE = (*ASSOCIATIVE, "==", "!=")
ANY_ORDER = "any order"


class IRGraph(FactGraph):
    """The facts of a product; `failures` are those that atoms stand for."""

    def __init__(self, product: Product) -> None:
        super().__init__()
        self.product = product
        self.sorts = ValueSorts(product)
        self.failures: dict[int, Failure] = {}
        self._write()

    # Values and expressions.

    def value(self, sort: int | None, value: int) -> int:
        """A value of a sort: an atom where it is a name, else the number itself."""
        if sort is None or sort == NUMBER:
            return self.node(("number", value))
        return self.atom("value", (sort, value))

    def value_of(self, field: int, value: int) -> int:
        """A value of a field."""
        return self.value(self.sorts.of_field(field), value)

    def values_of(self, field: int, low: int, high: int) -> int:
        """A range of values of a field. One of numbers is told by its ends: it may be long."""
        sort = self.sorts.of_field(field)
        if sort == NUMBER:
            return self.node(("numbers", low, high))
        values = [self.value(sort, value) for value in range(low, high + 1)]
        return self.node("values", values, ordered=False)

    def field(self, number: int) -> int:
        return self.atom("field", number)

    def fields(self, numbers: Iterable[int]) -> int:
        return self.node("fields", [self.field(n) if n >= 0 else self.none for n in numbers])

    def expression(self, expression: Expression | None, payload: int, sort: int | None) -> int:
        """The term of an expression whose value has a sort."""
        if expression is None:
            return self.none
        if isinstance(expression, ConstantIR):
            return self.value(sort, expression.value)
        if isinstance(expression, Read):
            return self.field(expression.field)
        if isinstance(expression, ReadItem):
            items = self.fields(range(expression.first, expression.first + expression.length))
            index = self.expression(expression.index, payload, NUMBER)
            return self.node("item", [items, index, self.failure(expression.failure)])
        if isinstance(expression, ApplyIR):
            return self._operator(expression, payload, sort)
        if isinstance(expression, Happened):
            return self.node("happened", [self.event(self.product.events[expression.event])])
        return self.node("payload" if isinstance(expression, PayloadIR) else "late")

    def _operator(self, expression: ApplyIR, payload: int, sort: int | None) -> int:
        operator, arguments = expression.operator, _operands(expression)
        if operator == "if":
            condition = self.expression(arguments[0], payload, NUMBER)
            ways = [self.expression(argument, payload, sort) for argument in arguments[1:]]
            return self.node("if", [condition, *ways])
        inner: int | None = NUMBER
        if operator in EQUALITIES:
            inner = self.sorts.common(arguments, payload)
        parts = [self.expression(argument, payload, inner) for argument in arguments]
        # An operand that can fail is not reached where one before it decides.
        free = operator in COMMUTATIVE and not any(can_fail(argument) for argument in arguments)
        return self.node(("operator", operator), parts, ordered=not free)

    def condition(self, expression: Expression) -> int:
        """The term of a condition on whole states."""
        return self.expression(expression, NUMBER, NUMBER)

    def failure(self, failure: Failure) -> int:
        key = (failure.code, failure.subject, failure.text, str(failure.place))
        number = self.atom("failure", key)
        self.failures.setdefault(number, failure)
        return number

    def message(self, queue: int, code: int) -> int:
        return self.value_of(self.product.queues[queue].slots[0].code, code)

    def event(self, event: EventIR) -> int:
        """What counts as an event."""
        parts = []
        for pairs in (event.sent, event.accepted, event.delivered, event.late, event.dropped):
            nodes = [self._message_in(queue, code) for queue, code in pairs]
            parts.append(self.node(ANY_ORDER, nodes, ordered=False))
        for kind, numbers in (("signal", event.signalled), ("rule", event.taken)):
            nodes = [self.atom(kind, number) for number in numbers]
            parts.append(self.node(ANY_ORDER, nodes, ordered=False))
        return self.node(("event", event.ticks), parts)

    def _message_in(self, queue: int, code: int) -> int:
        return self.node("message", [self.atom("queue", queue), self.message(queue, code)])

    # Facts.

    def _write(self) -> None:
        product = self.product
        for number, _ in enumerate(product.fields):
            self._field(number)
        for number, chip in enumerate(product.chips):
            self._chip(self.atom("chip", number), chip)
        for number, queue in enumerate(product.queues):
            self._queue(self.atom("queue", number), queue)
        for fault in product.faults:
            self._fault(fault)
        for signal, _ in enumerate(product.signals):
            self._cascade(signal)
        self._time()
        self._names()
        self._observed()
        self._observers()

    def _field(self, number: int) -> None:
        field = self.product.fields[number]
        self.fact(
            "field",
            self.field(number),
            self.atom("chip", field.owner) if field.owner >= 0 else self.none,
            self.values_of(number, field.low, field.high),
            self._any_of(number, field.starts or (field.start,)),
        )

    def _any_of(self, number: int, values: Sequence[int]) -> int:
        """Values of a field, of which one is as good as another."""
        nodes = [self.value_of(number, value) for value in values]
        return nodes[0] if len(nodes) == 1 else self.node(ANY_ORDER, nodes, ordered=False)

    def _chip(self, own: int, chip: ChipIR) -> None:
        state = chip.state_field
        afresh = [self._afresh(way) for way in chip.restarts]
        queues = [
            self.node(ANY_ORDER, [self.atom("queue", n) for n in numbers], ordered=False)
            for numbers in (chip.inputs, chip.outputs)
        ]
        self.fact(
            ("chip", chip.actor),
            own,
            self.field(state),
            self.node(ANY_ORDER, afresh, ordered=False),
            self.none if chip.turn is None else self.condition(chip.turn),
            *queues,
        )
        for number, rests in enumerate(chip.rests):
            leaf = self.value_of(state, number)
            self.fact(("leaf", rests), own, leaf)
            for reaction in chip.steps[number]:
                self.fact("step", own, leaf, self._reaction(chip, reaction, NUMBER))
            self._receptions(own, leaf, chip, number)
            for signal, reactions in chip.hearings[number].items():
                payload = value_heard(self.product, signal)
                heard = self._reactions(chip, reactions, payload)
                self.fact("hearing", own, leaf, self.atom("signal", signal), heard)
                for reaction in reactions:
                    self._first_full(reaction)

    def _afresh(self, way: Sequence[tuple[int, int]]) -> int:
        """One way in which a chip may begin again."""
        nodes = [self.node("afresh", [self.field(f), self.value_of(f, value)]) for f, value in way]
        return self.node(ANY_ORDER, nodes, ordered=False)

    def _receptions(self, own: int, leaf: int, chip: ChipIR, number: int) -> None:
        for (queue, code), reception in chip.receptions[number].items():
            self.fact(
                ("reception", reception.otherwise),
                own,
                leaf,
                self._message_in(queue, code),
                self._reactions(chip, reception.reactions, payload_of(self.product, queue)),
                self.atom("label", reception.discard_label),
                self.failure(reception.unspecified),
            )

    def _reactions(self, chip: ChipIR, reactions: Sequence[Reaction], payload: int) -> int:
        nodes = [self._reaction(chip, reaction, payload) for reaction in reactions]
        return self.node("in turn", nodes)

    def _reaction(self, chip: ChipIR, reaction: Reaction, payload: int) -> int:
        entered = self.none
        if reaction.enters >= 0:
            entered = self.value_of(chip.state_field, reaction.enters)
        return self.node(
            ("reaction", reaction.cuts),
            [
                self.atom("rule", reaction.rule),
                self.atom("label", reaction.label),
                self.expression(reaction.guard, payload, NUMBER),
                self.expression(reaction.own_guard, payload, NUMBER),
                self.node(ANY_ORDER, [self._room(one) for one in reaction.rooms], ordered=False),
                self._assigns(reaction, payload),
                self._sends(reaction.sends, payload),
                self.node("signalled", [self._given(one, payload) for one in reaction.signalled]),
                entered,
            ],
        )

    def _given(self, given: SignalIR, payload: int) -> int:
        """A signal, with its value."""
        signal, where = self.atom("signal", given.signal), value_heard(self.product, given.signal)
        if given.value is None:
            return signal
        sort = NUMBER if where == NUMBER else self.sorts.of_field(where)
        value = self.expression(given.value, payload, sort)
        return self.node("given", [signal, value, self.failure(given.value_failure)])

    def _first_full(self, reaction: Reaction) -> None:
        """A step in which a signal is heard without room names the first link that is full."""
        if len(reaction.rooms) > 1:
            rooms = map(self._room, reaction.rooms)
            self.fact("first full", self.atom("rule", reaction.rule), *rooms)

    def _room(self, room: Room) -> int:
        parts = [self.atom("queue", room.queue), self.condition(room.free), self.failure(room.full)]
        return self.node("room", parts)

    def _assigns(self, reaction: Reaction, payload: int) -> int:
        nodes = [self._assign(assign, payload) for assign in reaction.assigns]
        failing = sum(map(self._can_fail, reaction.assigns))
        free = not reaction.cuts and apart(reaction.assigns) and failing < 2
        return self.node("assigned", nodes, ordered=not free)

    def _assign(self, assign: Assign, payload: int) -> int:
        pairs = [
            self.node(
                "assign",
                [
                    self._target(target, payload),
                    self.expression(value, payload, self.sorts.of_field(target.first)),
                ],
            )
            for target, value in zip(assign.targets, assign.values, strict=True)
        ]
        written = [field for target in assign.targets for field in fields_written(target)]
        targets = zip(assign.targets, assign.values, strict=True)
        failing = sum(self._does_not_fit(target, value) for target, value in targets)
        return self.node("together", pairs, ordered=len(set(written)) < len(written) or failing > 1)

    def _can_fail(self, assign: Assign) -> bool:
        return any(map(self._does_not_fit, assign.targets, assign.values))

    def _does_not_fit(self, target: TargetIR, value: Expression) -> bool:
        """Whether to write a value may fail."""
        return target.index is not None or self._can_leave(value, target.low, target.high)

    def _can_leave(self, value: Expression, low: int, high: int) -> bool:
        bounds = bounds_of(value, self.product.fields)
        return can_fail(value) or bounds.low < low or bounds.high > high

    def _target(self, target: TargetIR, payload: int) -> int:
        return self.node(
            "target",
            [
                self.fields(fields_written(target)),
                self.expression(target.index, payload, NUMBER),
                self.values_of(target.first, target.low, target.high),
                self.failure(target.failure),
            ],
        )

    def _sends(self, sends: Sequence[SendIR], payload: int) -> int:
        """Messages into one queue keep their order."""
        by_queue: dict[int, list[int]] = {}
        failing: set[int] = set()
        for send in sends:
            message = self.product.queues[send.queue].messages[send.message - 1]
            if send.value is not None and self._can_leave(send.value, message.low, message.high):
                failing.add(send.queue)
            where = payload_of(self.product, send.queue)
            sort = NUMBER if where == NUMBER else self.sorts.of_field(where)
            node = self.node(
                "send",
                [
                    self._message_in(send.queue, send.message),
                    self.expression(send.value, payload, sort),
                    self.failure(send.value_failure),
                    self.failure(send.overflow),
                ],
            )
            by_queue.setdefault(send.queue, []).append(node)
        nodes = [self.node("in turn", sent) for sent in by_queue.values()]
        return self.node("sends", nodes, ordered=len(failing) > 1)

    def _queue(self, own: int, queue: Queue) -> None:
        slots = [self.fields((s.code, s.value, s.late, s.age)) for s in queue.slots]
        first = queue.slots[0]
        self.fact(
            ("queue", queue.holds, queue.when_full, queue.earliest, queue.latest, queue.any_order),
            own,
            self.value_of(first.code, queue.corrupted),
            self.atom("chip", queue.sender),
            self.atom("chip", queue.receiver),
            self.node("slots", slots),
            self.expression(queue.up, NUMBER, NUMBER),
            # What stands in a place where nothing waits is 0, as code and as value.
            self.value_of(first.code, 0),
            self.value_of(first.value, 0) if first.value >= 0 else self.none,
        )
        for code, message in enumerate(queue.messages, start=1):
            values = self.none
            if first.value >= 0:
                values = self.values_of(first.value, message.low, message.high)
            self.fact(
                ("message", message.kind, message.type is None),
                own,
                self.value_of(first.code, code),
                values,
            )

    def _fault(self, fault: FaultIR) -> None:
        cuts = [
            self.node(("cut", done), [self.atom("rule", rule), self.atom("label", label)])
            for (rule, done), label in fault.cut_labels.items()
        ]
        self.fact(
            ("fault", fault.kind, fault.in_a_row),
            self.atom("chip" if fault.of_chip else "queue", fault.target),
            self.fields((fault.budget, fault.row, fault.in_all)),
            self.atom("label", fault.label),
            self.node(ANY_ORDER, cuts, ordered=False),
        )

    def _cascade(self, signal: int) -> None:
        """What several chips raise when they hear one signal is heard in the order of chips; and
        which values it can carry.
        """
        signallers = [
            self.atom("chip", number)
            for number, chip in enumerate(self.product.chips)
            if any(one.signals for heard in chip.hearings for one in heard.get(signal, ()))
        ]
        if len(signallers) > 1:
            self.fact("cascade", self.atom("signal", signal), *signallers)
        type_, where = self.product.signal_types[signal], value_heard(self.product, signal)
        if type_ is not None:
            values = self.values_of(where, type_.low, type_.high)
            self.fact("carries", self.atom("signal", signal), values)

    def _time(self) -> None:
        time = self.product.time
        if time is None:
            return
        for ticking in time.tickings:
            tag = ("ticking", ticking.last, ticking.behind, ticking.stops)
            self.fact(tag, self.field(ticking.field), self.condition(ticking.runs))
        for due in time.due:
            self.fact("due", self.atom("rule", due.rule), self.condition(due.holds))
        for label in time.at_once:
            self.fact("at once", self.atom("label", label))

    def _names(self) -> None:
        product = self.product
        for number, rule in enumerate(product.rules):
            chip = self.atom("chip", product.rule_chips[number])
            self.fact(("rule", rule.kind), self.atom("rule", number), chip)
        for number, label in enumerate(product.labels):
            parts = (("rule", label.rule), ("queue", label.queue), ("chip", label.chip))
            named = [self.atom(kind, key) if key >= 0 else self.none for kind, key in parts]
            message = self.message(label.queue, label.message) if label.message else self.none
            self.fact(("label", label.kind), self.atom("label", number), *named, message)

    def _observed(self) -> None:
        """Modes stay what they are, and what counts as lost on the way from one to another."""
        product = self.product
        for name, expression in product.conditions.items():
            if name in ("rests", "settled") or name.startswith("mode:"):
                self.fact(("condition", name), self.condition(expression))
        for name, event in zip(product.watched_events, product.events, strict=False):
            if name == DROPPED:
                self.fact("payload is dropped", self.event(event))

    def _observers(self) -> None:
        product = self.product
        for fair in product.fair:
            labels = [self.atom("label", label) for label in fair.labels]
            self.fact(("fair", fair.strong), self.node(ANY_ORDER, labels, ordered=False))
        for observer in product.observers:
            choices = [
                self.node(("choice", source, target), [self.atom("label", label)])
                for source, target, label in observer.choices
            ]
            self.fact(
                ("observer", observer.name, observer.table, observer.firsts),
                self.field(observer.field),
                self.node("atoms", [self.condition(atom) for atom in observer.atoms]),
                self.field(observer.count) if observer.count >= 0 else self.none,
                self.node(("counting", *sorted(observer.counting))),
                self.node(ANY_ORDER, choices, ordered=False),
            )
        if product.idle_label >= 0:
            self.fact("idle", self.atom("label", product.idle_label))
        if product.idle_field >= 0:
            self.fact("idles", self.field(product.idle_field))


def _operands(expression: ApplyIR) -> tuple[Expression, ...]:
    """The operands of a chain of one associative operator, however it is bracketed; of any other
    expression its arguments.
    """
    operator = expression.operator
    if operator not in ASSOCIATIVE or can_fail(expression):
        return expression.arguments
    found: list[Expression] = []
    for argument in expression.arguments:
        if isinstance(argument, ApplyIR) and argument.operator == operator:
            found += _operands(argument)
        else:
            found.append(argument)
    return tuple(found)
