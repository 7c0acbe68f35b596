"""The plain interpreter: all steps of a product from a state. The reference for every engine.

Activities of one controller step in the order of their priorities: what begins a step of a chip, by
itself or with a delivery to it, takes its `turn` (`modecheck.product.turns`).

The parts of one step, in this order:

1. A delivery takes the head off its queue, or any message where they may overtake each other; a
   row of faults of its link ends. Where no rule for it is enabled, but some would be if
   their links had room (`when_full: wait`), it stays where it is, and there is no step.
2. The rule's assignments run in order; its sends and signals are collected, with their values; the
   chip enters its new leaf.
3. Signals are heard in the order in which they were given. For each, every chip but the one
   that gave it is judged on the same snapshot and on the value of this signal, and those with an
   enabled rule move together; what they signal is heard after what was signalled before. A signal
   cannot wait: where no rule of a chip is enabled, but some would be if their links had room, the
   step fails.
4. Collected sends are put into their queues, where the link is up in the state reached so far.
5. Links that are down are emptied, or what waits in them becomes late.
6. Observers go on, judged on the state reached and on what happened in the step.

A failure anywhere (overflow, a value out of range, an unspecified reception, a signal without room
for its answer) makes the whole step a failing step, which leads nowhere. It names all that fail
together, each failure once. A rule stops at its first failure, in the order of part 2; what else
goes on at once is gone through:

- of one signal, every chip that could hear it: first those that fail when they are judged, then
  those that move, both in the order of the chips. What they raised is not heard any more, and
  nothing is queued.
- at the end, every message that is put into its queue, in the order in which they were sent. What
  fails is left out, and the others are queued all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from modecheck.engine.contract.encounters import (
    BLOCKED,
    DEFERRED,
    DISCARDED,
    UNSPECIFIED,
    Encounter,
    Observed,
)
from modecheck.engine.contract.space import State
from modecheck.engine.reference.elapsing import Elapsing
from modecheck.engine.reference.happenings import Arrived, Started
from modecheck.engine.reference.observing import Observing
from modecheck.engine.reference.queueing import Queueing, arrival
from modecheck.engine.reference.reacting import Reacting
from modecheck.engine.reference.step_draft import Raised, Step, StepDraft, failing
from modecheck.engine.reference.striking import Striking
from modecheck.engine.reference.system_actions import obliging_labels
from modecheck.product.evaluation import Evaluator, StepFailed
from modecheck.product.expression_ir import Expression
from modecheck.product.ir import Otherwise, Product, Reaction, Reception

__all__ = ["Interpreter", "State", "Step"]

OUTCOMES = {
    Otherwise.DISCARD: DISCARDED,
    Otherwise.DEFER: DEFERRED,
    Otherwise.UNSPECIFIED: UNSPECIFIED,
}
"""Of a message for which no rule is enabled."""


class Interpreter:
    """Enumerates the steps of one product. Order: chips' own steps, deliveries, faults, a tick,
    observers' choices, idling.
    """

    def __init__(self, product: Product, observed: Observed | None = None) -> None:
        self.product = product
        self.evaluator = Evaluator(product)
        self._obliging = obliging_labels(product)
        self._idles = product.idle_field >= 0
        self._reacting = Reacting(product, self.evaluator, observed or Observed())
        self._queueing = Queueing(product, self.evaluator)
        self._striking = Striking(product, self._queueing)
        self._elapsing = Elapsing(product, self.evaluator)
        self._observing = Observing(product, self.evaluator)

    @property
    def observed(self) -> Observed:
        """What was seen in all steps that were made."""
        return self._reacting.observed

    @observed.setter
    def observed(self, observed: Observed) -> None:
        self._reacting.observed = observed

    def condition(self, expression: Expression, state: Sequence[int]) -> bool:
        """Whether a condition on whole states holds; an index out of range makes it false."""
        return self.evaluator.holds(expression, state)

    def steps(self, state: State) -> list[Step]:
        """Every atomic step from a state, failing ones included, in a fixed order."""
        if self._idles and state[self.product.idle_field]:
            return [self._idling(state)]
        steps = self._untimed(state)
        # Time comes last: whether it may pass depends on which other steps are possible.
        steps += self._tick(state, steps)
        obliged = any(step.label in self._obliging for step in steps)
        steps += self._observing.choices(state)
        if self._idles and not obliged:
            steps.append(self._idling(state))
        return steps

    def starts(self) -> list[Step]:
        """How the device can begin, one pretended step for each state in which it may; none where
        there is only one. They come before the first step of a run.
        """
        chips = self.product.chips
        return [
            Step(
                self.product.start_label, state, (), 0, 0,
                (Started(tuple(state[chip.state_field] for chip in chips)),),
            )
            for state in self.product.starts
        ]  # fmt: skip

    def _untimed(self, state: State) -> list[Step]:
        return [*self._own_steps(state), *self._deliveries(state), *self._faults(state)]

    def step_to(
        self, state: State, label: int, after: State | None, ticks: int | None = None
    ) -> Step | None:
        """The first of the `steps` with this label that leads there. Of chips' own steps and of
        deliveries, only those with the label are made.

        With `ticks` it is time that goes on by so many: perhaps fewer than in the product's own
        step, and also where they change nothing, which is no step of the product. What stands
        beside the product may have counted them.
        """
        steps = self._steps_called(state, label) if ticks is None else self._passing(state, ticks)
        called = (step for step in steps if step.label == label)
        return next((step for step in called if step.after == after), None)

    def _steps_called(self, state: State, label: int) -> Iterable[Step]:
        """All steps with a label, and perhaps others, in the order of `steps`."""
        what = self.product.labels[label]
        if what.kind == "start":
            return self.starts()
        if self._idles or what.kind not in ("rule", "deliver", "discard"):
            return self.steps(state)
        if what.kind == "rule":
            chip, begun = self.product.chips[what.chip], StepDraft(list(state))
            steps = (
                () if self.is_held_back(what.chip, state) else chip.steps[state[chip.state_field]]
            )
            own = (own for own in steps if own.label == label)
            return (step for one in own for step in self._step_if_enabled(begun, what.chip, one))
        return self._deliveries(state, what.queue)

    def signalled(self, state: State, signal: int, value: int = 0) -> Step:
        """What happens when a signal (number) is given from outside, with its value; the label of
        this step is -1, since it is none of the product.
        """
        draft = StepDraft(list(state), signalled=[Raised(signal, -1, value)])
        return self._completed(draft, -1)

    def _own_steps(self, state: State) -> Iterator[Step]:
        begun = StepDraft(list(state))
        for number, chip in enumerate(self.product.chips):
            for reaction in (
                () if self.is_held_back(number, state) else chip.steps[state[chip.state_field]]
            ):
                yield from self._step_if_enabled(begun, number, reaction)

    def _step_if_enabled(self, begun: StepDraft, chip: int, reaction: Reaction) -> Iterator[Step]:
        try:
            enabled = self._reacting.first_enabled(begun, chip, (reaction,))
        except StepFailed as failed:
            yield failing(reaction.label, failed.failures)
            return
        if enabled:
            yield from self._beginning_with(begun, chip, reaction)

    def _deliveries(self, state: State, only: int = -1) -> Iterator[Step]:
        """What queues deliver, or one queue alone."""
        for number, queue in enumerate(self.product.queues):
            if only in (-1, number) and not self.is_held_back(queue.receiver, state):
                places = self._queueing.ripe(number, state)
                steps = (step for place in places for step in self._delivery(state, number, place))
                # To take one of several messages may come to the same as to take another.
                yield from _distinct(steps) if queue.any_order else steps

    def is_held_back(self, chip: int, state: State) -> bool:
        """Whether a chip (number) cannot step because others of its controller go first."""
        turn = self.product.chips[chip].turn
        return turn is not None and not self.condition(turn, state)

    def _delivery(self, state: State, number: int, place: int = 0) -> Iterator[Step]:
        """The head of a queue reaches its receiver, or what stands in another place."""
        queue = self.product.queues[number]
        receiver, code = self.product.chips[queue.receiver], state[queue.slots[place].code]
        leaf = state[receiver.state_field]
        reception = receiver.receptions[leaf][number, code]
        draft = arrival(state, queue, place)
        self._striking.end_rows(draft, number, code)
        try:
            chosen = self._reacting.first_enabled(draft, queue.receiver, reception.reactions)
            waits = not chosen and self._reacting.full(draft, queue.receiver, reception.reactions)
        except StepFailed as failed:
            yield failing(reception.discard_label, failed.failures)
            return
        outcome = chosen.rule if chosen else BLOCKED if waits else OUTCOMES[reception.otherwise]
        self.observed.encounters.add(Encounter(queue.receiver, leaf, number, code, outcome))
        if outcome in (DEFERRED, BLOCKED):
            return
        words = "taken" if chosen else "discarded" if outcome == DISCARDED else "unspecified"
        draft.log.append(Arrived(number, code, draft.payload, bool(draft.late), words))
        if chosen:
            yield from self._beginning_with(draft, queue.receiver, chosen)
        else:
            yield self._without_rule(draft, reception)

    def _without_rule(self, draft: StepDraft, reception: Reception) -> Step:
        label = reception.discard_label
        if reception.otherwise is Otherwise.UNSPECIFIED:
            return failing(label, [reception.unspecified], draft.log)
        return self._finished(draft, label)

    def waiting_for_room(self, state: State, chip: int) -> Iterator[tuple[int, int]]:
        """The rules (numbers) that a chip would take by itself, or for a message that has come to
        it, if their links had room: each with a link that is full. Raises `StepFailed` as a guard
        does.
        """
        form = self.product.chips[chip]
        if self.is_held_back(chip, state):
            return
        leaf = state[form.state_field]
        chains = [(form.steps[leaf], StepDraft(list(state)))]
        for number in form.inputs:
            queue = self.product.queues[number]
            for place in self._queueing.ripe(number, state):
                reception = form.receptions[leaf][number, state[queue.slots[place].code]]
                chains.append((reception.reactions, arrival(state, queue, place)))
        for reactions, draft in chains:
            for reaction, room in self._reacting.full(draft, chip, reactions):
                yield reaction.rule, room.queue

    def _beginning_with(self, begun: StepDraft, chip: int, reaction: Reaction) -> Iterator[Step]:
        """The step that begins with this reaction, and its variants cut in the middle of a rule."""
        draft = begun.again()
        yield self._reacted(draft, chip, reaction, reaction.label)
        for cut in self._striking.possible_cuts(draft):
            again = begun.again(cut)
            step = self._reacted(again, chip, reaction, cut.fault.cut_labels[cut.rule, cut.done])
            # What fails before the cut strikes has failed without it already.
            if not step.failures or again.struck >= 0:
                yield step

    def _reacted(self, draft: StepDraft, chip: int, reaction: Reaction, label: int) -> Step:
        with draft.part():
            self._reacting.react(draft, chip, reaction, tuple(draft.now))
        return self._completed(draft, label)

    def _completed(self, draft: StepDraft, label: int) -> Step:
        """What comes of a step whose signals are still to be heard."""
        while draft.signalled and not draft.failures:
            self._reacting.hear(draft, draft.signalled.pop(0))
        if draft.failures:
            return draft.failed(label)
        if draft.cut is not None:
            self._striking.strike(draft, *draft.cut)
        return self._finished(draft, label)

    def _finished(self, draft: StepDraft, label: int) -> Step:
        """What comes of a step in which all chips have moved."""
        for send, value in draft.sends:
            with draft.part():
                self._queueing.put(draft, send, value)
        if draft.failures:
            return draft.failed(label)
        # Links are judged on the state that the step leads to, so that a rule that unplugs a cable
        # also loses what is still in it.
        self._queueing.take_down(draft)
        return draft.done(label, self._observing.go_on(draft, self.observed))

    def _faults(self, state: State) -> Iterator[Step]:
        for fault in self.product.faults:
            drafts = self._striking.strokes(state, fault)
            steps = (self._finished(draft, fault.label) for draft in drafts)
            yield from _distinct(steps)

    def _tick(self, state: State, others: Sequence[Step]) -> Iterator[Step]:
        """Time goes on as far as one step takes it, unless that changes nothing."""
        for step in self._passing(state, None, others):
            if step.after != state:
                yield step

    def _passing(
        self, state: State, ticks: int | None, others: Sequence[Step] | None = None
    ) -> Iterator[Step]:
        """Time goes on by so many ticks, where it may, whether or not that changes anything."""
        time = self.product.time
        if time is not None:
            steps = self._untimed(state) if others is None else others
            draft = self._elapsing.elapsed(state, [step.label for step in steps], ticks)
            if draft is not None:
                yield self._finished(draft, time.label)

    def _idling(self, state: State) -> Step:
        """Nothing happens, and never will."""
        draft = StepDraft(list(state))
        draft.now[self.product.idle_field] = 1
        return self._finished(draft, self.product.idle_label)


def _distinct(steps: Iterable[Step]) -> Iterator[Step]:
    """Each step once: two that lead to the same state in the same way are one, and so are two that
    fail in the same way.
    """
    known: set[tuple[object, ...]] = set()
    for step in steps:
        if step.after is None:
            fresh = tuple(one for one in step.failures if (step.label, one) not in known)
            known |= {(step.label, one) for one in fresh}
            if fresh:
                yield step._replace(failures=fresh)
            continue
        same = (step.label, step.after, step.moved, step.events)
        if same not in known:
            known.add(same)
            yield step
