"""All names in the C code of one chip, each claimed by what it stands for."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property

from modecheck.firmware.c_names import CNames
from modecheck.firmware.chip_plan import Body, ChipPlan, Occasion

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
        """The function of a body; of several for one rule, each but the first has a number."""
        return self._bodies[body]

    @cached_property
    def _bodies(self) -> dict[Body, str]:
        named: dict[Body, str] = {}
        places = Counter[int]()
        for body in self.plan.bodies:
            place = places[body.rule]
            places[body.rule] += 1
            parts = ("do", self.plan.rules[body.rule].title, *([str(place + 1)] if place else []))
            named[body] = self.names.name(*parts)
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
        for word in ("within", "debug", "timers", "rules", "timer_units_per_second", "h"):
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

    def _claim_variables(self) -> None:
        for variable in self.plan.chip.variables.values():
            told, place = f"variable {variable.name}", variable.place
            self.names.member(variable.name, of=told, place=place)
            self.names.name("store", variable.name, of=told, place=place)
            for word in variable.type.words if variable.type.kind == "word" else ():
                self.names.constant(variable.name, word, of=f"{told} as {word}", place=place)

    def _claim_others(self) -> None:
        product = self.plan.product
        for queue in (product.queues[n] for n in (*self.plan.form.inputs, *self.plan.form.outputs)):
            link = product.device.links[queue.name]
            for message in queue.messages:
                told = f"{message.name} of link {queue.name}"
                for word in ("on", "send"):
                    self.names.name(word, queue.name, message.name, of=told, place=link.place)
        for signal, type_ in zip(product.signals, product.signal_types, strict=True):
            for word in ("on", "signal"):
                self.names.name(word, signal, of=f"signal {signal}")
            for word in type_.words if type_ is not None and type_.kind == "word" else ():
                self.names.constant("signal", signal, word, of=f"signal {signal} as {word}")
