"""Take a small device step by step, by the names that its model gives."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import dedent

from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.generation.devices import device_from
from tests.second_reading.side_by_side import world_of
from tests.second_reading.worlds import Waiting, World


@dataclass(frozen=True)
class Moment:
    """A state of a product, and what can happen next."""

    product: Product
    state: State

    @property
    def world(self) -> World:
        return world_of(self.product, self.state)

    @property
    def steps(self) -> dict[str, list[Step]]:
        """The steps by their labels, in the interpreter's order."""
        found: dict[str, list[Step]] = {}
        for step in Interpreter(self.product).steps(self.state):
            found.setdefault(self.product.labels[step.label].text, []).append(step)
        return found

    @property
    def labels(self) -> list[str]:
        return list(self.steps)

    def step(self, label: str) -> Step:
        """The one step of that label."""
        steps = self.steps
        assert label in steps, f"{label!r} is none of {list(steps)}"
        (only,) = steps[label]
        return only

    def take(self, *labels: str) -> Moment:
        """The moment after these steps."""
        moment = self
        for label in labels:
            after = moment.step(label).after
            assert after is not None, f"{label!r} fails"
            moment = Moment(self.product, after)
        return moment

    def failure(self, label: str) -> str:
        """The findings that a failing step makes, in order."""
        step = self.step(label)
        assert step.after is None, f"{label!r} does not fail"
        return ", ".join(f"{failure.code}:{failure.subject}" for failure in step.failures)

    def at(self, chip: str) -> str:
        return self.world.at[chip]

    def value(self, name: str) -> int:
        """The value of `chip.variable`."""
        (only,) = self.items(name)
        return only

    def items(self, name: str) -> tuple[int, ...]:
        """The items of the list `chip.variable`."""
        chip, variable = name.split(".")
        return self.world.holds[chip, variable]

    def waiting(self, link: str) -> list[Waiting]:
        """What waits in a link, its head first."""
        return list(self.world.waits[link])

    def messages(self, link: str) -> list[str]:
        return [waiting.message for waiting in self.waiting(link)]


def begin(text: str, **chosen: str) -> Moment:
    """The first moment of a device; `chosen` are values of its options."""
    product = compose(device_from(dedent(text), chosen))
    return Moment(product, product.initial)
