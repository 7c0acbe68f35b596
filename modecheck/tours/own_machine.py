"""A chip alone as a Mealy machine: inputs that it receives, outputs that it sends and signals.

Inputs are the messages of its links and the signals that it hears (one for each value), and waiting
until its timer expires. Outputs are what it sends and signals; its states are not observable. What
it sends always finds room and a link that is up, since links are no part of the chip.

Not every chip is such a machine. `WhyNot` gives all reasons that were found.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.engine.contract.encounters import BLOCKED
from modecheck.engine.reference.happenings import Accepted, Dropped, SignalEmitted
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.product.expression_ir import IsLateIR
from modecheck.product.ir import ChipIR, Otherwise, Product, Reaction
from modecheck.product.subexpressions import fields_read, subexpressions
from modecheck.scenario.sentences import message_text, signal_text
from modecheck.tours.mealy import Mealy

MOST_STATES = 256
"""A chip with more states would need more words than anybody runs."""
NOTHING = "nothing"
WAIT = "wait for its timer"


@dataclass(frozen=True, slots=True)
class OwnMachine:
    """A chip's machine; `states[n]` names state `n` of it, such as "by_air, foot pressed"."""

    chip: str
    machine: Mealy
    states: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WhyNot:
    """Why a chip has no Mealy machine of its own."""

    chip: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Input:
    """`queue` and `code` of a message, or a signal, with its value; or neither."""

    text: str
    queue: int = -1
    code: int = 0
    value: int = 0
    signal: int = -1


class _NotAMachine(Exception):
    """Carries the reason."""


def own_machine(product: Product, chip: str) -> OwnMachine | WhyNot:
    """The machine of a chip, or why it has none."""
    number = [form.name for form in product.chips].index(chip)
    reasons = tuple(dict.fromkeys(_reasons(product, number)))
    if reasons:
        return WhyNot(chip, reasons)
    try:
        return _Alone(product, number).machine()
    except _NotAMachine as reason:
        return WhyNot(chip, (str(reason),))


def _reasons(product: Product, number: int) -> Iterator[str]:
    """What can be seen from the rules alone."""
    form = product.chips[number]
    own = {n for n, field in enumerate(product.fields) if field.owner == number}
    own.add(form.state_field)
    for queue in form.outputs:
        for slot in product.queues[queue].slots:
            own |= {slot.code, slot.value, slot.late}
    for reaction in form.reactions:
        yield from _reasons_in(product, reaction, own)
    for receptions in form.receptions:
        for (queue, code), reception in receptions.items():
            if reception.otherwise is Otherwise.DEFER:
                message = product.queues[queue].messages[code - 1].name
                yield f"it defers {message}, so its behaviour depends on its links"


def _reasons_in(product: Product, reaction: Reaction, own: set[int]) -> Iterator[str]:
    rule = product.rules[reaction.rule]
    if rule.kind == "internal":
        yield f"{rule.title} happens by itself, at a moment that a test cannot choose"
    for expression in reaction.expressions:
        for field in sorted(fields_read(expression) - own):
            yield f"{rule.title} reads {product.fields[field].name}, which belongs to another chip"
        if IsLateIR() in subexpressions(expression):
            yield f"{rule.title} checks whether a message is late"


class _Alone:
    """A chip in a product in which all others are deaf; signals come from outside."""

    def __init__(self, product: Product, number: int) -> None:
        self._number = number
        self._form = product.chips[number]
        self._product = self._isolated(product)
        self._interpreter = Interpreter(self._product)
        fields = enumerate(product.fields)
        own = {n for n, field in fields if field.owner == number} | {self._form.state_field}
        self._own = sorted(own)
        self._inputs = list(self._all_inputs())

    def _isolated(self, product: Product) -> Product:
        chips = enumerate(product.chips)
        return replace(
            product,
            chips=tuple(
                replace(form, turn=None) if n == self._number else _deaf(form) for n, form in chips
            ),
            queues=tuple(replace(queue, up=None) for queue in product.queues),
            faults=(),
            fair=(),
            events=(),
            watched_events=(),
            observers=(),
            idle_label=-1,
            idle_field=-1,
        )

    def _all_inputs(self) -> Iterator[_Input]:
        for number in self._form.inputs:
            queue = self._product.queues[number]
            for code, message in enumerate(queue.messages, start=1):
                valued = message.type is not None and queue.slots[0].value >= 0
                for value in range(message.low, message.high + 1) if valued else (0,):
                    text = message_text(self._product, number, code, value if valued else None)
                    yield _Input(f"{text} over {queue.name}", number, code, value)
        for signal in sorted({s for hearing in self._form.hearings for s in hearing}):
            type_ = self._product.signal_types[signal]
            for value in (0,) if type_ is None else range(type_.low, type_.high + 1):
                text = signal_text(self._product, signal, value)
                yield _Input(text, value=value, signal=signal)
        if any(self._form.steps):
            yield _Input(WAIT)

    def machine(self) -> OwnMachine:
        """The machine, with all states that inputs can lead to."""
        if not self._inputs:
            raise _NotAMachine("it has no inputs")
        first = self._of(self._product.initial)
        numbers = {first: 0}
        order = [first]
        following: list[tuple[int, ...]] = []
        outputs: list[tuple[str, ...]] = []
        for own in order:  # grows while it is gone through
            answers = [self._answer(own, given) for given in self._inputs]
            for after, _ in answers:
                if after not in numbers:
                    numbers[after] = len(order)
                    order.append(after)
            if len(order) > MOST_STATES:
                raise _NotAMachine(f"it has more than {MOST_STATES} states")
            following.append(tuple(numbers[after] for after, _ in answers))
            outputs.append(tuple(output for _, output in answers))
        texts = tuple(given.text for given in self._inputs)
        machine = Mealy(texts, tuple(following), tuple(outputs))
        return OwnMachine(self._form.name, machine, tuple(map(self._name, order)))

    def _of(self, state: State) -> State:
        return tuple(state[field] for field in self._own)

    def _whole(self, own: State, given: _Input) -> State:
        """Everything else as at the start, links empty but for what is given."""
        state = list(self._product.initial)
        for field, value in zip(self._own, own, strict=True):
            state[field] = value
        if given.queue >= 0:
            head = self._product.queues[given.queue].slots[0]
            state[head.code] = given.code
            if head.value >= 0:
                state[head.value] = given.value
        return tuple(state)

    def _answer(self, own: State, given: _Input) -> tuple[State, str]:
        state = self._whole(own, given)
        if given.signal >= 0:
            mine = [self._interpreter.signalled(state, given.signal, given.value)]
        else:
            mine = [s for s in self._interpreter.steps(state) if self._is_answer(s, given)]
        if len(mine) > 1:
            raise _NotAMachine(f"in {self._name(own)} two of its timers run at once")
        if not mine:
            if given.queue >= 0 and self._kept_waiting:
                raise _NotAMachine(f"{given.text} needs more room than the chip's links have")
            return own, NOTHING
        (step,) = mine
        if step.after is None:
            raise _NotAMachine(f"in {self._name(own)}, {given.text}: {step.wrong}")
        return self._of(step.after), self._output(step)

    @property
    def _kept_waiting(self) -> bool:
        """Whether a message has stayed in its link, although those of the chip are empty."""
        return any(met.outcome == BLOCKED for met in self._interpreter.observed.encounters)

    def _is_answer(self, step: Step, given: _Input) -> bool:
        label = self._product.labels[step.label]
        if label.kind == "rule":
            return given.text == WAIT and label.chip == self._number
        return label.queue == given.queue

    def _output(self, step: Step) -> str:
        told = []
        for happening in step.happenings:
            if isinstance(happening, Accepted | Dropped):
                queue = self._product.queues[happening.queue]
                value = happening.value if isinstance(happening, Accepted) else None
                text = message_text(self._product, happening.queue, happening.message, value)
                told += [f"{text} over {queue.name}"] if queue.sender == self._number else []
            elif isinstance(happening, SignalEmitted) and happening.chip == self._number:
                text = signal_text(self._product, happening.signal, happening.value)
                told.append(f"signal {text}")
        return " and ".join(told) or NOTHING

    def _name(self, own: State) -> str:
        parts: list[str] = []
        for number, value in zip(self._own, own, strict=True):
            field = self._product.fields[number]
            if number == self._form.state_field:
                parts.insert(0, self._form.leaves[value])
            elif field.type is not None:
                parts.append(f"{field.name.partition('.')[2]} {field.type.spell(value)}")
        return ", ".join(parts)


def _deaf(form: ChipIR) -> ChipIR:
    return replace(form, steps=((),) * len(form.leaves), hearings=({},) * len(form.leaves))
