"""Every situation that a chip can be in when something happens to it in its device, and what the
interpreter does then.

A case is what the chip knows, what it reads of others, and the occasion: two states of the device
that do not differ in these are one case. What a rule does to timers is read off counts of ticks:
the rule is taken in the device with a clock (its own, or one made up), where each count that runs
is 1, so that a count of 0 afterwards has begun anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import Protocol

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.contract.space import Space, State
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.reference.queueing import arrival
from modecheck.engine.reference.reacting import Reacting
from modecheck.engine.reference.step_draft import Hearing, StepDraft
from modecheck.firmware.chip_plan import ANSWERS, ChipPlan, Occasion
from modecheck.model.clocks import common_measure, durations
from modecheck.model.times import Clock
from modecheck.product.composition import compose
from modecheck.product.evaluation import Evaluator, StepFailed
from modecheck.product.fields import plan_fields
from modecheck.product.ir import Product, Reaction

TOGETHER = 2_000
"""States that are looked at between two reports of progress."""

RESTARTED = Occasion()
"""The occasion that the chip loses power or is reset."""


class GatheringProgress(Protocol):
    """Hears how many of how many states were looked at."""

    def __call__(self, states: int, of: int, /) -> None: ...


@dataclass(frozen=True, slots=True)
class ChipCase:
    """What the chip knows (state, variables, running timers), what it reads of others, in the order
    of the plan's `foreign` fields, and what it is given.
    """

    own: tuple[int, ...]
    seen: tuple[int, ...]
    occasion: Occasion
    value: int = 0
    late: int = 0


@dataclass(frozen=True, slots=True)
class ModelOutcome:
    """What the interpreter does: the answer, all that the chip knows then, the timers that have
    begun anew, and, in order, what it stores (field and value), sends (link, message, value) and
    signals (signal, value). Timers of which a count cannot show whether they have begun anew are
    `unclear`.
    """

    answer: str
    own: tuple[int, ...]
    begun: frozenset[int]
    stored: tuple[tuple[int, int], ...]
    sent: tuple[tuple[int, int, int], ...]
    signalled: tuple[tuple[int, int], ...]
    unclear: frozenset[int] = frozenset()


class _Recording(list[int]):
    """Fields that remember in which order they are written."""

    def __init__(self, values: Sequence[int]) -> None:
        super().__init__(values)
        self.written: list[tuple[int, int]] = []

    def __setitem__(self, place: object, value: object) -> None:
        assert isinstance(place, int)
        assert isinstance(value, int)
        self.written.append((place, value))
        super().__setitem__(place, value)


class _Composed:
    """A product, and how its chips react in it."""

    def __init__(self, product: Product) -> None:
        self.product = product
        self.reacting = Reacting(product, Evaluator(product), Observed())
        self.numbers = {field.name: n for n, field in enumerate(product.fields)}

    def fields_from(self, other: Product) -> list[int]:
        """For each field the number of the one of the same name in another product, or -1."""
        numbers = {field.name: n for n, field in enumerate(other.fields)}
        return [numbers.get(field.name, -1) for field in self.product.fields]


class CasesOf:
    """The cases of one chip in the states of its device that were explored."""

    def __init__(self, plan: ChipPlan, space: Space) -> None:
        self.plan = plan
        self._space = space
        self._plain = _Composed(plan.product)
        self._timed = _Composed(_with_clock(space.product))
        self._from_space = self._plain.fields_from(space.product)
        self._to_timed = self._timed.fields_from(plan.product)
        self._interpreter = Interpreter(space.product)
        self.known: dict[ChipCase, None] = {}

    # Which cases there are

    def note(self, state: State, hearings: Iterable[Hearing]) -> None:
        """Take down the cases of a state of the device, from which these signals can be heard."""
        self.known.update(dict.fromkeys(self._at(state)))
        for hearing in hearings:
            occasion = Occasion(signal=hearing.signal)
            if hearing.signaller != self.plan.number and occasion in self.plan.chains:
                plain = self._translated(hearing.seen)
                own, seen = self._own(plain), self._seen(plain)
                self.known[ChipCase(own, seen, occasion, hearing.value)] = None

    def _at(self, state: State) -> Iterator[ChipCase]:
        plain = self._translated(state)
        own, seen = self._own(plain), self._seen(plain)
        yield ChipCase(own, (0,) * len(seen), RESTARTED)
        for occasion in self.plan.occasions:
            if occasion.rule >= 0 or (occasion.timer >= 0 and self._is_due(occasion, state, plain)):
                yield ChipCase(own, seen, occasion)
        for number in self.plan.form.inputs:
            yield from self._delivered(number, state)

    def _delivered(self, number: int, state: State) -> Iterator[ChipCase]:
        queue = self._space.product.queues[number]
        for place, slot in enumerate(queue.heads):
            code = state[slot.code]
            if code:
                draft = arrival(state, queue, place)
                plain = self._translated(tuple(draft.now))
                occasion = Occasion(queue=number, code=code)
                valued = queue.messages[code - 1].type is not None
                value = draft.payload if valued else 0
                yield ChipCase(self._own(plain), self._seen(plain), occasion, value, draft.late)

    def _is_due(self, occasion: Occasion, state: State, plain: list[int]) -> bool:
        """Whether a timer may have expired: it runs, and where time is counted it is time."""
        own = self._own(plain)
        timers = len(self.plan.timers.all)
        if not own[len(own) - timers + occasion.timer]:
            return False
        if self._space.product.time is None:
            return True
        try:
            chosen, _ = self._chosen(ChipCase(own, (), occasion), plain)
        except StepFailed:
            return True  # the case is counted as one that fails in the model
        if chosen is None:
            return True
        guard = next(
            one
            for one in self._space.product.chips[self.plan.number].steps[own[0]]
            if one.rule == chosen.rule
        ).guard
        return guard is None or self._interpreter.condition(guard, state)

    def _translated(self, state: State) -> list[int]:
        return [state[number] for number in self._from_space]

    def _own(self, plain: Sequence[int]) -> tuple[int, ...]:
        leaf = plain[self.plan.form.state_field]
        cells = (plain[field] for field in self.plan.variable_fields)
        running = (
            int(leaf in timer.leaves) if timer.rule is not None else int(plain[self._named(n)] > 0)
            for n, timer in enumerate(self.plan.timers.all)
        )
        return (leaf, *cells, *running)

    def _named(self, timer: int) -> int:
        title = self.plan.timers.all[timer].title
        return self._plain.numbers[f"{self.plan.form.name}.{title} timer"]

    def _seen(self, plain: Sequence[int]) -> tuple[int, ...]:
        return tuple(plain[field] for field in self.plan.foreign)

    # What the interpreter does

    def outcome(self, case: ChipCase) -> ModelOutcome | None:
        """What the chip does in a case; None where that fails, which is a finding of its own."""
        if case.occasion == RESTARTED:
            return self._restarted(case)
        plain = self._vector(case)
        try:
            chosen, answer = self._chosen(case, plain)
            if chosen is None:
                return ModelOutcome(answer, case.own, frozenset(), (), (), ())
            return self._reacted(case, plain, chosen)
        except StepFailed:
            return None

    def _vector(self, case: ChipCase) -> list[int]:
        """A state of the product without a clock, in which nothing else matters."""
        plan, plain = self.plan, list(self.plan.product.initial)
        plain[plan.form.state_field] = case.own[0]
        for field, value in zip(plan.variable_fields, case.own[1:], strict=False):
            plain[field] = value
        for number, timer in enumerate(plan.timers.all):
            if timer.rule is None:
                plain[self._named(number)] = case.own[1 + len(plan.variable_fields) + number]
        for field, value in zip(plan.foreign, case.seen, strict=False):
            plain[field] = value
        return plain

    def _chosen(self, case: ChipCase, plain: list[int]) -> tuple[Reaction | None, str]:
        """The reaction that is taken, or the answer without one."""
        occasion, leaf, number = case.occasion, case.own[0], self.plan.number
        reacting = self._plain.reacting
        draft = StepDraft(list(plain), case.value, case.late)
        reactions, otherwise, blocked = self._alternatives(occasion, leaf)
        chosen = reacting.first_enabled(draft, number, reactions)
        if chosen is not None:
            return chosen, "taken"
        return None, blocked if reacting.full(draft, number, reactions) else otherwise

    def _alternatives(self, occasion: Occasion, leaf: int) -> tuple[tuple[Reaction, ...], str, str]:
        """The reactions, and the answers where none is enabled, or only for want of room."""
        form = self.plan.form
        if occasion.queue >= 0:
            reception = form.receptions[leaf][occasion.queue, occasion.code]
            return reception.reactions, ANSWERS[reception.otherwise], "not_now"
        if occasion.signal >= 0:
            return form.hearings[leaf].get(occasion.signal, ()), "discarded", "unexpected"
        if occasion.timer >= 0:
            waits = self.plan.timers.waits_for
            own = tuple(
                one
                for one in form.steps[leaf]
                if waits(occasion.timer, self.plan.rules[one.rule], leaf)
            )
        else:
            own = tuple(one for one in form.steps[leaf] if one.rule == occasion.rule)
        return own, "not_now" if own else "discarded", "not_now"

    def _reacted(self, case: ChipCase, plain: list[int], chosen: Reaction) -> ModelOutcome:
        plan, timed = self.plan, self._timed
        now, unclear = self._wound(case, plain)
        draft = StepDraft(now, case.value, case.late)
        same = self._timed_reaction(case, chosen)
        timed.reacting.react(draft, plan.number, same, tuple(now))
        persistent = {
            timed.numbers[plan.product.fields[field].name]: place
            for place, (field, (name, _)) in enumerate(plan.variable_fields.items())
            if plan.chip.variables[name].persistent
        }
        after = list(plan.product.initial)
        for place, number in enumerate(self._to_timed):
            if number >= 0:
                after[number] = draft.now[place]
        own = self._own(after)
        return ModelOutcome(
            answer="taken",
            own=own,
            begun=frozenset(self._begun(draft.now, own)),
            stored=tuple((persistent[w], v) for w, v in now.written if w in persistent),
            sent=tuple((send.queue, send.message, value) for send, value in draft.sends),
            signalled=tuple((one.signal, one.value) for one in draft.signalled),
            unclear=unclear,
        )

    def _timed_reaction(self, case: ChipCase, chosen: Reaction) -> Reaction:
        """The same reaction in the product with a clock."""
        form, leaf = self._timed.product.chips[self.plan.number], case.own[0]
        occasion = case.occasion
        if occasion.queue >= 0:
            those = form.receptions[leaf][occasion.queue, occasion.code].reactions
        elif occasion.signal >= 0:
            those = form.hearings[leaf][occasion.signal]
        else:
            those = form.steps[leaf]
        return next(one for one in those if one.rule == chosen.rule)

    def _wound(self, case: ChipCase, plain: list[int]) -> tuple[_Recording, frozenset[int]]:
        """The fields with a clock, where each count that runs is 1, and each named timer that runs
        has run for a tick; and the timers for which there is no such moment.
        """
        product = self._timed.product
        now = [0] * len(product.fields)
        for place, number in enumerate(self._to_timed):
            now[place] = product.fields[place].low if number < 0 else plain[number]
        unclear = set()
        for timer, field, first in self._counts(case.own):
            now[field] = min(first + 1, product.fields[field].high)
            if now[field] == first:
                unclear.add(timer)
        return _Recording(now), frozenset(unclear)

    def _counts(self, own: tuple[int, ...]) -> Iterator[tuple[int, int, int]]:
        """The timers that run, each with the field that counts for it and its first value."""
        running = own[len(own) - len(self.plan.timers.all) :]
        for number, timer in enumerate(self.plan.timers.all):
            if not running[number]:
                continue
            if timer.rule is None:
                name = f"{self.plan.form.name}.{timer.title} timer"
                yield number, self._timed.numbers[name], 1
            else:
                field = self._count_field(number, own[0])
                if field >= 0:
                    yield number, field, 0

    def _count_field(self, timer: int, leaf: int) -> int:
        """The field that counts for a rule in a leaf: the one that its reaction there waits for."""
        return self._fields_of_counts.get((timer, leaf), -1)

    @cached_property
    def _fields_of_counts(self) -> dict[tuple[int, int], int]:
        device = self._timed.product.device
        counts = plan_fields(device).timers[self.plan.form.name]
        found: dict[tuple[int, int], int] = {}
        for number, timer in enumerate(self.plan.timers.all):
            if timer.rule is None:
                continue
            rule = next(one for one in counts.chip.rules if one.title == timer.rule.title)
            for leaves, count in counts.of(rule).items():
                if timer.source in (None, count.state):
                    runs_in = leaves if timer.source is None else timer.leaves
                    found |= {(number, leaf): count.field for leaf in runs_in}
        return found

    def _begun(self, now: Sequence[int], own: tuple[int, ...]) -> Iterator[int]:
        for timer, field, first in self._counts(own):
            if now[field] == first:
                yield timer

    def _restarted(self, case: ChipCase) -> ModelOutcome:
        """Persistent variables stay; all else is as at the beginning."""
        plan = self.plan
        plain = self._vector(case)
        for field, value in plan.form.restarts[0]:
            plain[field] = value
        own = self._own(plain)
        begun = frozenset(plan.timers.begun_in(plan.form.initial))
        return ModelOutcome("", own, begun, (), (), ())


def gather(
    space: Space, chips: Sequence[CasesOf], progress: GatheringProgress | None = None
) -> None:
    """Take down the cases of several chips in all states that were explored."""
    interpreter = Interpreter(space.product)
    hears = any(one.signal >= 0 for cases in chips for one in cases.plan.occasions)
    for first in range(0, space.expanded, TOGETHER):
        states = space.states_at(range(first, min(first + TOGETHER, space.expanded)))
        for state in states:
            steps = interpreter.steps(state) if hears else ()
            hearings = dict.fromkeys(hearing for step in steps for hearing in step.hearings)
            for cases in chips:
                cases.note(state, hearings)
        if progress is not None:
            progress(first + len(states), space.expanded)


def _with_clock(product: Product) -> Product:
    """The product with a clock that counts several ticks in each of the chip's times."""
    device = product.device
    if device.clock is None:
        times = (time for one in durations(device) for time in one.moments)
        measure = common_measure(times) or Fraction(1)
        place = device.place or next(iter(device.chips.values())).place
        device = replace(device, clock=Clock(measure / 4, frozenset(), place))
    return compose(device)
