"""All names in the C code of one chip, each claimed by what it stands for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from modecheck.firmware.c_names import CNames
from modecheck.firmware.chip_plan import Body, ChipPlan, Occasion
from modecheck.firmware.foreign_reads import foreign_read
from modecheck.model.places import Place
from modecheck.model.values import ValueType

FIXED = (
    "t",
    "start",
    "restart",
    "poll",
    "take",
    "answer_t",
    "timer_t",
    "rule_t",
    "timer_due",
    "timer_start",
    "timer_stop",
    "timer_times",
    "timer_time_t",
    "failed",
    "least",
    "greatest",
    "quotient",
    "remainder",
)
FIXED_CONSTANTS = (
    "within",
    "within_far",
    "debug",
    "timers",
    "rules",
    "timer_units_per_second",
    "timer_no_latest",
    "any_state",
    "h",
)
ANSWERS = ("taken", "discarded", "deferred", "not_now", "unexpected")


@dataclass(frozen=True)
class CWords:
    """What the parts of a chip are called in C."""

    plan: ChipPlan
    names: CNames

    @property
    def prefix(self) -> str:
        return self.names.prefix

    @property
    def type(self) -> str:
        return self.names.name("t")

    @property
    def answer_type(self) -> str:
        return self.names.name("answer_t")

    def state(self, leaf: int) -> str:
        return self.names.constant("in", self.plan.form.leaves[leaf])

    def answer(self, answer: str) -> str:
        return self.names.constant(answer)

    def timer(self, number: int) -> str:
        return self.names.constant("timer", self.plan.timers.all[number].title)

    def rule(self, number: int) -> str:
        return self.names.constant("rule", self.plan.rules[number].title)

    def on(self, occasion: Occasion) -> str:
        """The function of an occasion."""
        product = self.plan.product
        if occasion.queue >= 0:
            queue = product.queues[occasion.queue]
            message = queue.messages[occasion.code - 1].name
            return self.names.name("on", queue.name, message)
        if occasion.signal >= 0:
            return self.names.name("on", product.signals[occasion.signal])
        if occasion.timer >= 0:
            return self.names.name("due", self.plan.timers.all[occasion.timer].title)
        return self.names.name("take", self.plan.rules[occasion.rule].title)

    def do(self, body: Body) -> str:
        """The function of a body; of several for one rule, each but the first has a number, with
        which it has the name of no other rule.
        """
        return self._bodies[body]

    @cached_property
    def _bodies(self) -> dict[Body, str]:
        named: dict[Body, str] = {}
        plain = {self.names.name("do", rule.title) for rule in self.plan.rules.values()}
        for body in self.plan.bodies:
            title, number = self.plan.rules[body.rule].title, 1
            name = self.names.name("do", title)
            while name in named.values() or (number > 1 and name in plain):
                number += 1
                name = self.names.name("do", title, str(number))
            named[body] = name
        return named

    def send(self, queue: int, code: int) -> str:
        one = self.plan.product.queues[queue]
        return self.names.name("send", one.name, one.messages[code - 1].name)

    def signal(self, number: int) -> str:
        return self.names.name("signal", self.plan.product.signals[number])

    def store(self, variable: str) -> str:
        return self.names.name("store", variable)

    def claim(self) -> None:
        """Claim every name. Raises `InvalidInput` if two are the same."""
        names, plan, chip = self.names, self.plan, self.plan.chip
        for word in FIXED:
            names.name(word, of=f"{chip.name}'s own {word}")
        for word in FIXED_CONSTANTS:
            names.constant(word, of=f"{chip.name}'s own {word}")
        for word in ANSWERS:
            names.constant(word, of=f"the answer {word}")
        for word in ("state", "next_rule", "running"):
            names.member(word, of=f"{chip.name}'s own {word}")
        for leaf in plan.form.leaves:
            names.constant("in", leaf, of=f"state {leaf}", place=chip.states[leaf].place)
        self._claim_variables()
        for timer in plan.timers.all:
            names.constant("timer", timer.title, of=f"timer {timer.title}", place=timer.place)
        for number, rule in plan.rules.items():
            names.constant("rule", rule.title, of=f"rule {rule.title}", place=rule.place)
            names.name("do", rule.title, of=f"rule {number}", place=rule.place)
        self._claim_others()
        names.need_distinct()

    def claim_numbers(self, answers: Iterable[str]) -> None:
        """Claim the numbers that a header without functions has for events and messages, which are
        called as the functions, in capitals, and those of its `answers`. Raises `InvalidInput` if
        two are the same.
        """
        for answer in answers:
            self.names.constant(answer, of=f"the answer {answer}")
        for occasion in self.plan.occasions:
            if occasion.queue >= 0 or occasion.signal >= 0:
                self._claim_number(self.on(occasion))
        for queue, message in self.plan.sent:
            self._claim_number(self.send(queue, message))
        self.names.need_distinct()

    def _claim_number(self, function: str) -> None:
        own = function.removeprefix(f"{self.prefix}_")
        self.names.constant(own, of=f"the number of {function}")

    def _claim_variables(self) -> None:
        for variable in self.plan.chip.variables.values():
            told, place = f"variable {variable.name}", variable.place
            self.names.member(variable.name, of=told, place=place)
            if variable.persistent:
                self.names.name("store", variable.name, of=told, place=place)
            for word in variable.type.words if variable.type.kind == "word" else ():
                self.names.constant(variable.name, word, of=f"{told} as {word}", place=place)

    def _claim_others(self) -> None:
        form, product = self.plan.form, self.plan.product
        for numbers, word in ((form.inputs, "on"), (form.outputs, "send")):
            for queue in (product.queues[number] for number in numbers):
                for message in queue.messages:
                    told = f"{message.name} of link {queue.name}"
                    place = product.device.links[queue.name].place
                    self.names.name(word, queue.name, message.name, of=told, place=place)
                    self._claim_values(message.type, (queue.name, message.name), told, place)
        heard = {one.signal for one in self.plan.occasions if one.signal >= 0}
        for those, word in ((sorted(heard), "on"), (self.plan.signalled, "signal")):
            for number in those:
                signal = product.signals[number]
                told = f"signal {signal}"
                self.names.name(word, signal, of=told)
                self._claim_values(product.signal_types[number], ("signal", signal), told, None)
        for reading in (foreign_read(self.plan, field) for field in self.plan.foreign):
            self.names.name(*reading.parts, of=reading.told)
            for value in reading.values:
                self.names.constant(*reading.values_of, value, of=f"{reading.told} as {value}")

    def _claim_values(
        self, type_: ValueType | None, parts: tuple[str, ...], told: str, place: Place | None
    ) -> None:
        for word in type_.words if type_ is not None and type_.kind == "word" else ():
            self.names.constant(*parts, word, of=f"{told} as {word}", place=place)
