"""Which of the possible steps is taken, with what probability, and how long it takes.

In a state, the steps of chips and links that take no time come first: rules without `after`, and
deliveries. Only if there are none do timers and actors have their turn. Within a turn, steps are
chosen in proportion to their weights; a step without one weighs 1, and a choice in which a step has
none is counted as assumed. A timer that is chosen takes as long as the middle of its `after`,
whatever else could have been chosen; if timers race each other this is an assumption, which is
counted, too. A step of any other kind takes no time.

With a clock, a tick takes one tick and no other step takes time. Steps that do not wait for time
come first, as before: rules of chips without a time, deliveries without a delay. If there are none,
each step that can happen now does so with the probability that `moments` gives, independently; if
none does, there is a tick. What could have happened and did not is remembered until then
(`modecheck.chances.happening_first`), or a step of another would give it a second chance.

`alternatives` assumes nothing: where weights are missing, each step without one is a choice of its
own, and all that have one are another, in which they are chosen in proportion; with a clock, a step
whose moment is not known happens now, or does not.

A link with `loses` loses that share of the messages that it would deliver now. Losses of other
links, losses from a budget, doubling, power cuts and resets have no probability and are left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import prod
from typing import TypeAlias

from modecheck.chances.happening_first import happening_first
from modecheck.chances.moments import MomentChances
from modecheck.engine.reference.happenings import Took
from modecheck.engine.reference.plain import State, Step
from modecheck.product.ir import Label, Product

ONE = Fraction(1)
MOMENTARY = ("rule", "deliver", "discard")
"""Kinds of steps that can happen at a moment, besides a tick."""


Declined: TypeAlias = "frozenset[tuple[int, Fraction]]"
"""Labels of steps that did not happen at this moment, each with how likely they were: the same step
of a timer that was started anew has another moment, and another probability.
"""
NONE: Declined = frozenset()


@dataclass(frozen=True, slots=True)
class Weighed:
    """A step with its probability and its duration in seconds, and what did not happen before."""

    step: Step
    probability: Fraction
    duration: Fraction
    declined: Declined = NONE


@dataclass(frozen=True, slots=True)
class Choice:
    """All that can follow a state. `assumed`: some weight was missing. `race`: timers compete."""

    weighed: tuple[Weighed, ...]
    assumed: bool
    race: bool


class Resolver:
    """Resolves the choices of one product."""

    def __init__(self, product: Product) -> None:
        self._product = product
        self._labels = product.labels
        self._lost = {
            fault.label: (fault.target, loss)
            for fault in product.faults
            if (loss := loss_of(product, fault.target, fault.kind, fault.budget)) is not None
        }
        self._moments = MomentChances(product) if product.time is not None else None
        self._left_out = {fault.label for fault in product.faults} - set(self._lost)
        self._left_out |= {label for fault in product.faults for label in fault.cut_labels.values()}

    def choice(self, state: State, steps: Iterable[Step], declined: Declined = NONE) -> Choice:
        """The choice in a state that has these steps, of which some did not happen now."""
        known = [step for step in steps if step.label not in self._left_out]
        turn = self._turn(known)
        if turn is None:
            return self._at_a_moment(state, known, declined)
        weights = [self._weight(step) for step in turn]
        weighed = self._behind(declined, self._shared(turn, weights, self._losses(known)))
        timers = sum(self._duration(step) > 0 for step in turn)
        return Choice(weighed, len(turn) > 1 and None in weights, race=timers > 1)

    def alternatives(
        self, state: State, steps: Iterable[Step], declined: Declined = NONE
    ) -> tuple[tuple[Weighed, ...], ...]:
        """What can be chosen in a state that has these steps, if nothing is assumed."""
        known = [step for step in steps if step.label not in self._left_out]
        turn, losses = self._turn(known), self._losses(known)
        if turn is None:
            able = self._able_now(state, known)
            unknown = [step for step, _, assumed in able if assumed]
            certain = [step for step in known if step not in unknown]
            rest = self._at_a_moment(state, certain, declined).weighed
        else:
            weights = {id(step): self._weight(step) for step in turn}
            unknown = [step for step in turn if weights[id(step)] is None]
            likely = [step for step in turn if weights[id(step)] is not None]
            shared = self._shared(likely, [weights[id(step)] for step in likely], losses)
            rest = self._behind(declined, shared)
        alone = [self._behind(declined, self._with_loss(step, ONE, losses)) for step in unknown]
        return tuple(one for one in (*alone, rest) if one)

    def _turn(self, known: list[Step]) -> list[Step] | None:
        """The steps that compete in the absence of time, or None if time may pass before any."""
        prompt = [step for step in known if self._is_prompt(self._labels[step.label])]
        if self._moments is not None and not prompt:
            return None
        return prompt or [s for s in known if self._labels[s.label].kind == "rule"]

    def _losses(self, known: list[Step]) -> dict[tuple[int, Fraction], Step]:
        return {self._lost[s.label]: s for s in known if s.label in self._lost}

    def _shared(
        self,
        turn: list[Step],
        weights: list[Fraction | None],
        losses: dict[tuple[int, Fraction], Step],
    ) -> tuple[Weighed, ...]:
        total = sum((weight or ONE for weight in weights), Fraction(0))
        weighed: list[Weighed] = []
        for step, weight in zip(turn, weights, strict=True):
            weighed += self._with_loss(step, (weight or ONE) / total, losses)
        return tuple(weighed)

    def _able_now(self, state: State, known: list[Step]) -> list[tuple[Step, Fraction, bool]]:
        """The steps that can happen before the next tick, how likely, and what is assumed."""
        assert self._moments is not None
        able = [step for step in known if self._labels[step.label].kind in MOMENTARY]
        found = [self._moments.likelihood(self._labels[step.label], state) for step in able]
        return [(step, *one) for step, one in zip(able, found, strict=True)]

    def _at_a_moment(self, state: State, known: list[Step], declined: Declined) -> Choice:
        """What happens now, each as likely as it is by itself, or a tick if nothing does. Where
        there is no tick, something does.
        """
        clock = self._product.device.clock
        assert clock is not None
        ticks = [step for step in known if self._labels[step.label].kind == "tick"]
        able, losses = self._able_now(state, known), self._losses(known)
        asked = [one for one in able if (one[0].label, one[1]) not in declined]
        if not asked and not ticks:
            asked, declined = able, NONE
        still = prod((1 - chance for _, chance, _ in asked), start=ONE)
        weighed = [Weighed(step, still, clock.tick) for step in ticks if still]
        scale = ONE if ticks or not asked else 1 / (1 - still)
        for number, before, chance in happening_first([chance for _, chance, _ in asked]):
            more = ((asked[one][0].label, asked[one][1]) for one in before)
            found = self._with_loss(asked[number][0], chance * scale, losses)
            weighed += self._behind(declined.union(more), found)
        return Choice(tuple(weighed), any(assumed for *_, assumed in able), race=False)

    def _behind(self, declined: Declined, weighed: Iterable[Weighed]) -> tuple[Weighed, ...]:
        """Steps after which it still counts that others did not happen, unless they began anew."""
        if not declined:
            return (*weighed,)
        return tuple(
            replace(
                one, declined=frozenset(d for d in declined if not self._renews(one.step, d[0]))
            )
            for one in weighed
        )

    def _renews(self, step: Step, label: int) -> bool:
        """Whether a step starts the timer of a rule again: then what it did not do was another
        moment's.
        """
        waiting = self._labels[label]
        if waiting.kind != "rule":
            return False
        timer = self._product.rules[waiting.rule]
        taken = (
            self._product.rules[what.rule]
            for what in step.happenings
            if isinstance(what, Took) and what.chip == waiting.chip
        )
        if timer.expires:
            return any(timer.expires in rule.starts for rule in taken)
        return any(rule.target is not None for rule in taken)

    def _with_loss(
        self, step: Step, share: Fraction, losses: dict[tuple[int, Fraction], Step]
    ) -> list[Weighed]:
        queue = self._queue(self._labels[step.label])
        for (target, loss), lost in losses.items():
            if target == queue:
                kept = Weighed(step, share * (1 - loss), Fraction(0))
                return [kept, Weighed(lost, share * loss, Fraction(0))]
        return [Weighed(step, share, self._duration(step))]

    def _queue(self, label: Label) -> int:
        return label.queue if label.kind in ("deliver", "discard") else -1

    def _is_prompt(self, label: Label) -> bool:
        if label.kind in ("deliver", "discard"):
            queue = self._product.queues[label.queue]
            return self._moments is None or queue.slots[0].age < 0
        if label.kind != "rule":
            return False
        actor = self._product.chips[label.chip].actor
        return not actor and self._product.rules[label.rule].kind == "internal"

    def _weight(self, step: Step) -> Fraction | None:
        """A delivery weighs 1 by nature: links do not choose."""
        label = self._labels[step.label]
        return self._product.rules[label.rule].weight if label.kind == "rule" else None

    def _duration(self, step: Step) -> Fraction:
        label = self._labels[step.label]
        after = self._product.rules[label.rule].after if label.kind == "rule" else None
        if after is None or self._moments is not None:
            return Fraction(0)
        return after.low if after.high is None else (after.low + after.high) / 2


def loss_of(product: Product, queue: int, kind: str, budget: int) -> Fraction | None:
    """The share of losses that a fault stands for, if the model says so."""
    if kind != "lose" or budget >= 0:
        return None
    return product.device.links[product.queues[queue].name].loss


def left_out(product: Product) -> tuple[str, ...]:
    """The faults whose probability is unknown, in words."""
    names = []
    for fault in product.faults:
        if loss_of(product, fault.target, fault.kind, fault.budget) is None:
            holders = product.chips if fault.of_chip else product.queues
            names.append(f"{fault.kind} of {holders[fault.target].name}")
    return tuple(names)
