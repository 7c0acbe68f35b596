"""A chip of the model and its chart in SCXML side by side, on the same random events.

The events are those of the chip in its device: what it can be given in the states that were
explored, with what it reads of others then, and what the plain interpreter does.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator

from modecheck.exchange.outside_values import OutsideValue, outside_values
from modecheck.exchange.scxml_data import variable_ids
from modecheck.exchange.scxml_timers import timed_rules
from modecheck.exchange.scxml_words import KEYWORDS, EventNames, dotted
from modecheck.exchange.scxml_writing import scxml_of
from modecheck.firmware.chip_plan import Occasion
from modecheck.firmware.proof_cases import CasesOf, ChipCase, ModelOutcome
from modecheck.model.parts import Event
from modecheck.model.values import ValueType
from tests.exchange.scxml_machine import ScxmlMachine

WAITS_ALONE = ("not_now", "unexpected")
"""Answers that SCXML does not have: what is given stays, or is an error."""


def as_in_chart(value: int, type_: ValueType) -> object:
    """A value as the chart has it."""
    if type_.kind == "truth":
        return bool(value)
    return type_.spell(value) if type_.kind == "word" else value


class Beside:
    """A chip and its chart. Raises `AssertionError` where the two differ; `taken` counts what was
    given, by the answer; `takes_rules` says whether a rule is taken in any case that is compared.
    """

    def __init__(self, cases: CasesOf) -> None:
        self.plan = plan = cases.plan
        self.device, self.chip = plan.product.device, plan.chip
        self.machine = ScxmlMachine(scxml_of(self.device, self.chip.name).text)
        self.names = EventNames(self.device, self.chip)
        self.timed = timed_rules(self.chip, self.names)
        self.ids = variable_ids(self.chip)
        taken = {*self.ids.values(), *KEYWORDS}
        self.outside = list(outside_values(self.device, self.chip, taken).values())
        self.taken: Counter[str] = Counter()
        self.given: set[ChipCase] = set()
        self._cases: dict[tuple[int, ...], list[tuple[ChipCase, ModelOutcome]]] = {}
        for case in cases.known:
            outcome = self._comparable(cases, case)
            if outcome is not None:
                self._cases.setdefault(case.own, []).append((case, outcome))
        self.own = cases._own(cases._translated(cases._space.product.initial))
        outcomes = [outcome for known in self._cases.values() for _, outcome in known]
        self.takes_rules = any(outcome.answer == "taken" for outcome in outcomes)
        self._agree("at the start")

    def _comparable(self, cases: CasesOf, case: ChipCase) -> ModelOutcome | None:
        """What the model does, unless SCXML is said to do something else: at a restart, where a
        link is full or there is no answer, and where a rule waits on after its time has come.
        """
        outcome = cases.outcome(case) if case.occasion != Occasion() else None
        if outcome is None or self._link_is_full(case):
            return None
        if case.occasion.timer >= 0:
            # A time that comes to nothing goes on waiting in the model, also where no rule is left
            # because its condition can never hold.
            return outcome if outcome.answer == "taken" else None
        if outcome.answer not in WAITS_ALONE:
            return outcome
        # A rule that is not enabled is not taken in either, but all branches of one have one event.
        rule = case.occasion.rule
        return outcome if rule >= 0 and self.plan.rules[rule].branch is None else None

    def _link_is_full(self, case: ChipCase) -> bool:
        chips = {one.state_field for one in self.plan.product.chips}
        fields = self.plan.product.fields
        return any(
            value and number not in chips and fields[number].owner < 0
            for number, value in zip(self.plan.foreign, case.seen, strict=True)
        )

    def walk(self, steps: int, seed: int) -> None:
        """Give random events, one after the other, as far as there are any."""
        chance = random.Random(seed)  # noqa: S311 - for a test
        for _ in range(steps):
            choices = self._cases.get(self.own)
            if not choices:
                return
            fresh = [one for one in choices if one[0] not in self.given]
            case, outcome = chance.choice(fresh or choices)
            self._give(case, outcome)

    def _give(self, case: ChipCase, outcome: ModelOutcome) -> None:
        for one in self.outside:
            self.machine.give(f"{self.names.seen}.{one.id}", value=self._seen(one, case))
        event = self._event(case)
        if case.occasion.timer >= 0:
            self.machine.expire(event)
        else:
            self.machine.give(event, value=self._value(case), late=bool(case.late))
        self.own = outcome.own
        self.given.add(case)
        self.taken[outcome.answer] += 1
        told = f"{event} in {self.plan.form.leaves[case.own[0]]}: {case}"
        self._agree(told)
        assert sorted(self.machine.sent, key=str) == sorted(self._sent(outcome), key=str), told
        begun = {self._timer(n, outcome.own[0]) for n in outcome.begun}
        running = self._running(outcome.own)
        unclear = {self._timer(n, outcome.own[0]) for n in outcome.unclear if n in running}
        assert self.machine.begun - unclear == begun - unclear, told

    def _agree(self, told: str) -> None:
        """State, variables and running timers are the same."""
        leaf = self.plan.form.leaves[self.own[0]]
        assert leaf in self.machine.states, (told, self.machine.states)
        for (name, item), value in zip(
            self.plan.variable_fields.values(), self.own[1:], strict=False
        ):
            assert item < 0, "lists are not compared"
            found = self.machine.value(self.ids[name])
            wanted = as_in_chart(value, self.chip.variables[name].type)
            assert (type(found), found) == (type(wanted), wanted), (told, name)
        timers = {self._timer(n, self.own[0]) for n in self._running(self.own)}
        assert set(self.machine.waiting) == timers, told

    def _running(self, own: tuple[int, ...]) -> list[int]:
        """The timers (numbers) that run."""
        runs = own[len(own) - len(self.plan.timers.all) :]
        return [number for number, one in enumerate(runs) if one]

    def _timer(self, number: int, leaf: int) -> str:
        """The id and event of a timer in a leaf."""
        timer = self.plan.timers.all[number]
        if timer.rule is None:
            return f"{self.names.timer}.{timer.title}"
        around = self.chip.ancestry(self.plan.form.leaves[leaf])
        state = next((one for one in around if one in timer.rule.sources), "")
        return self.timed[timer.rule.whole, state].event

    def _event(self, case: ChipCase) -> str:
        occasion = case.occasion
        if occasion.queue >= 0:
            queue = self.plan.product.queues[occasion.queue]
            return self.names.of(Event(queue.messages[occasion.code - 1].name, queue.name))
        if occasion.signal >= 0:
            return dotted(self.plan.product.signals[occasion.signal])
        if occasion.timer >= 0:
            return self._timer(occasion.timer, case.own[0])
        rule = self.plan.rules[occasion.rule]
        return f"{self.names.free}.{self.names.token(rule.whole)}"

    def _value(self, case: ChipCase) -> object:
        type_ = self.plan.value_type(case.occasion)
        return None if type_ is None else as_in_chart(case.value, type_)

    def _seen(self, one: OutsideValue, case: ChipCase) -> object:
        """What the chip reads of another in a case; what it does not read then does not matter."""
        known = dict(zip(self.plan.foreign, case.seen, strict=True))
        other = self.device.chips[one.chip]
        if one.member in other.variables:
            name = f"{one.chip}.{one.member}"
            fields = enumerate(self.plan.product.fields)
            number = next(n for n, field in fields if field.name == name)
            return as_in_chart(known.get(number, one.start[0]), one.type)
        form = next(form for form in self.plan.product.chips if form.name == one.chip)
        leaf = form.leaves[known.get(form.state_field, form.initial)]
        return leaf in other.states[one.member].leaves

    def _sent(self, outcome: ModelOutcome) -> Iterator[tuple[str, object]]:
        for signal, value in outcome.signalled:
            type_ = self.plan.product.signal_types[signal]
            shown = None if type_ is None else as_in_chart(value, type_)
            yield dotted(self.plan.product.signals[signal]), shown
        events = set()
        for number, message, value in outcome.sent:
            queue = self.plan.product.queues[number]
            declared = queue.messages[message - 1]
            event = self.names.of(Event(declared.name, queue.name))
            shown = None if declared.type is None else as_in_chart(value, declared.type)
            if not self.device.links[queue.name].broadcast or event not in events:
                yield event, shown
            events.add(event)
