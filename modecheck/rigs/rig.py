"""A rig: the running machines of a device, for simulators and test rigs.

The interpreter says which steps are possible and what happens in them; the machines follow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.engine.reference.happenings import Arrived, Happening, Struck, Took
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.model.errors import ModecheckError, nearest_name
from modecheck.model.parts import Device
from modecheck.model.starts import need_one_start
from modecheck.product.composition import compose
from modecheck.product.evaluation import StepFailed
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import Product, Queue
from modecheck.rigs.chip_machine import ChipMachine


class ImpossibleStep(ModecheckError):
    """The requested step is not possible now."""

    def __init__(self, label: str, possible: Sequence[str]) -> None:
        super().__init__()
        self.label = label
        self.possible = tuple(possible)

    def __str__(self) -> str:
        nearest = nearest_name(self.label, self.possible)
        hint = f"; did you mean {nearest!r}?" if nearest else ""
        possible = ", ".join(repr(label) for label in self.possible) or "nothing"
        return f"{self.label!r} is not possible now: expected one of {possible}{hint}"


@dataclass(frozen=True, slots=True)
class RigLink:
    """A link, with the names of the messages that wait in it, the head first."""

    name: str
    messages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RigStep:
    """A step that is possible, by the label that the product gives it.

    `failures` say what is wrong with a step that must not happen, `happenings` what happens in it,
    in order; `after` is the state of the product that it leads to.
    """

    label: str
    failures: tuple[Failure, ...]
    happenings: tuple[Happening, ...]
    after: State | None


class Rig:
    """Machines by the names of their chips, links by theirs; it begins in the initial state.

    `machines["hub"].machine` is the library's own: callbacks and diagrams can be added to it.
    Callbacks run when a step is taken; `state` and `links` are then as it leaves them.
    """

    def __init__(self, product: Product) -> None:
        self.product = product
        self._interpreter = Interpreter(product)
        self._chips = [ChipMachine(number, product) for number in range(len(product.chips))]
        self.machines = {chip.name: chip for chip in self._chips}
        self._state: State = product.initial

    @property
    def state(self) -> State:
        """The state of the product that the rig is in."""
        return self._state

    @property
    def links(self) -> dict[str, RigLink]:
        """What waits in each link."""
        return {queue.name: _link(queue, self.state) for queue in self.product.queues}

    @property
    def states(self) -> dict[str, str]:
        """The innermost state of each chip."""
        return {name: chip.leaf for name, chip in self.machines.items()}

    def put(self, state: State) -> None:
        """Set everything to a state of the product, without any effect."""
        self._state = state
        for chip in self._chips:
            chip.put(state[chip.form.state_field])

    def steps(self) -> list[RigStep]:
        """Every step that is possible now, failing ones included, in the interpreter's order."""
        return [self._step(step) for step in self._interpreter.steps(self.state)]

    def take(self, step: RigStep | str) -> tuple[Happening, ...]:
        """Take a step, or the first one with that label; returns what happened in it.

        Raises `ImpossibleStep`, and `StepFailed` for a step that must not happen; the rig is then
        unchanged.
        """
        possible = self.steps()
        found = next((one for one in possible if step in (one, one.label)), None)
        if found is None:
            label = step if isinstance(step, str) else step.label
            raise ImpossibleStep(label, [one.label for one in possible])
        return self._follow(found)

    def signal(self, name: str, value: str | int = 0) -> tuple[Happening, ...]:
        """Give a signal of the device from outside, with its value if it carries one: a number, or
        a word of the model. Returns what happened. Raises `ImpossibleStep`, and `StepFailed`.
        """
        signals = self.product.signals
        if name not in signals:
            raise ImpossibleStep(name, signals)
        number = signals.index(name)
        step = self._interpreter.signalled(self.state, number, self._value(number, value))
        return self._follow(RigStep(name, step.failures, step.happenings, step.after))

    def _value(self, signal: int, value: str | int) -> int:
        """The number of a value that a signal carries; 0 where it carries none."""
        type_, name = self.product.signal_types[signal], self.product.signals[signal]
        if type_ is None:
            return 0
        found = type_.value_of(value) if isinstance(value, str) else int(value)
        if found is None or not type_.holds(found):
            raise ImpossibleStep(f"{name}({value})", [f"{name}: {type_}"])
        return found

    def _step(self, step: Step) -> RigStep:
        label = self.product.labels[step.label].text
        return RigStep(label, step.failures, step.happenings, step.after)

    def _follow(self, step: RigStep) -> tuple[Happening, ...]:
        """The machines do what the interpreter says."""
        if step.after is None:
            raise StepFailed(*step.failures)
        self._state = step.after
        arrived = ""
        for happening in step.happenings:
            match happening:
                case Arrived(queue, message):
                    link = self.product.queues[queue]
                    arrived = f"{link.name} {link.messages[message - 1].name}"
                case Took(chip, rule, _, _, heard, _):
                    own = arrived or f"rule {self.product.rules[rule].title}"
                    event = own if heard < 0 else f"signal {self.product.signals[heard]}"
                    self._chips[chip].take(rule, event)
                case Struck(chip, leaf=leaf):
                    self._chips[chip].put(leaf)
        return step.happenings


def _link(queue: Queue, state: State) -> RigLink:
    codes = [state[slot.code] for slot in queue.slots if state[slot.code]]
    return RigLink(queue.name, tuple(queue.messages[code - 1].name for code in codes))


def machines(device: Device) -> Rig:
    """Each chip and actor of a device as a machine of the library `transitions`, all connected.

    Raises `InvalidInput` for a device that may start in several states.
    """
    need_one_start(device, "a machine has one initial state")
    return Rig(compose(device))
