"""What a plain exploration leaves out: images of identical units, steps in another order."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.engine.reductions.partial_order_reduction import StubbornSteps
from modecheck.engine.reductions.representatives import Representatives, representatives_of
from modecheck.engine.reference.plain import State, Step
from modecheck.product.ir import Product
from modecheck.product.symmetry import symmetry_of


@dataclass(frozen=True, slots=True)
class PlainReduction:
    """How a product is explored in part: `product` is it, closed under its symmetry.

    `representatives` and `stubborn` are None where states or steps are not reduced.
    """

    product: Product
    representatives: Representatives | None
    stubborn: StubbornSteps | None

    def of(self, state: State) -> tuple[State, int]:
        """The state that stands for a state, and the permutation that leads back."""
        return (state, 0) if self.representatives is None else self.representatives.of(state)

    def narrowed(self, state: State, steps: list[Step]) -> list[Step]:
        """The steps of a state that are to be followed."""
        return steps if self.stubborn is None else self.stubborn.narrowed(state, steps)


def reduction_of(product: Product, *, symmetry: bool, order: bool) -> PlainReduction:
    """The reductions asked for, as far as the product allows them."""
    found = symmetry_of(product) if symmetry else None
    if found is not None and not found.generators:
        found = None
    closed = product if found is None else found.product
    return PlainReduction(
        product=closed,
        representatives=None if found is None else representatives_of(found),
        # A tick depends on every other step, so on a clock no step is left for later.
        stubborn=StubbornSteps(closed) if order and product.time is None else None,
    )
