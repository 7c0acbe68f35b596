"""With a clock: how likely a step that waits for time happens at this moment.

A rule whose earliest moment has come, or a message that can arrive, happens at each of its moments
with the same probability: 1 over the number of moments left, this one included. Without a latest
moment it is as likely as a tick, 1/2, which is an assumption; so is the probability of an actor's
rule against a tick, whose ratio is the rule's weight.
"""

from __future__ import annotations

from fractions import Fraction

from modecheck.engine.reference.plain import State
from modecheck.model.parts import Rule
from modecheck.product.fields import plan_fields
from modecheck.product.ir import Label, Product
from modecheck.product.timing import moments

ONE = Fraction(1)


class MomentChances:
    """These probabilities for the steps of one product that has a clock."""

    def __init__(self, product: Product) -> None:
        self._product = product
        self._timers = plan_fields(product.device).timers

    def likelihood(self, label: Label, state: State) -> tuple[Fraction, bool]:
        """How likely a possible step happens before the next tick, and whether that is an
        assumption.
        """
        if label.kind in ("deliver", "discard"):
            queue = self._product.queues[label.queue]
            if queue.latest < 0:
                return ONE / 2, True
            return ONE / (queue.latest - state[queue.slots[0].age] + 1), False
        rule = self._product.rules[label.rule]
        if rule.kind == "timer":
            left = self._moments_left(rule, state)
            return (ONE / 2, True) if left is None else (ONE / left, False)
        weight = rule.weight if rule.weight is not None else ONE
        return weight / (weight + 1), rule.weight is None

    def _moments_left(self, rule: Rule, state: State) -> int | None:
        """Moments until the latest one, this one included; None where there is no latest."""
        clock, timers = self._product.device.clock, self._timers[rule.chip]
        assert clock is not None
        if rule.expires:
            high = moments(clock, timers.chip.timers[rule.expires].duration).high
            passed = state[timers.named[rule.expires]] - 1
        else:
            assert rule.after is not None
            high = moments(clock, rule.after).high
            form = next(form for form in self._product.chips if form.name == rule.chip)
            leaf = state[form.state_field]
            counts = timers.of(rule).items()
            passed = next(state[count.field] for leaves, count in counts if leaf in leaves)
        return None if high is None else high - passed + 1
