"""A scenario: a way through the product, replayed and told."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.checks.ways import Way
from modecheck.engine.plain import State, Step
from modecheck.product.form import Product
from modecheck.scenario.replay import replay
from modecheck.scenario.words import changes, sentence


@dataclass(frozen=True, slots=True)
class Told:
    """One step: its label, the sentence, which variables changed, and every chip's state after it.

    `states` is empty after a failing step, which leads nowhere. `again` marks the steps of a loop
    that can be gone for ever, at the end of a way.
    """

    number: int
    label: str
    text: str
    changes: tuple[str, ...]
    states: dict[str, str]
    again: bool = False


def tell(product: Product, way: Way) -> list[Told]:
    """The steps of a way in words. Each has been taken anew on the interpreter, which proves it."""
    return [
        tell_step(
            product, number, replayed.before, replayed.step, again=0 < way.loop_from <= number
        )
        for number, replayed in enumerate(replay(product, way), start=1)
    ]


def tell_step(
    product: Product, number: int, before: State, step: Step, *, again: bool = False
) -> Told:
    """A step that was taken from the state `before`, in words."""
    after = step.after
    return Told(
        number=number,
        label=product.labels[step.label].text,
        text=sentence(product, step),
        changes=() if after is None else changes(product, before, after),
        states={} if after is None else _states(product, after),
        again=again,
    )


def _states(product: Product, state: tuple[int, ...]) -> dict[str, str]:
    return {chip.name: chip.leaves[state[chip.state_field]] for chip in product.chips}
