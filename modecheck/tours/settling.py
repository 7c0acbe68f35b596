"""What a device does by itself after a person has acted, until there is nothing left to do.

A state is *settled* when no chip and no link can step. Between an action and a settled state
several runs may be possible (a race): all states that they can end in are found. One of them is the
*usual* one: what can happen at once does so before any timer, a shorter timer expires before a
longer one, and nothing is lost. That is an assumption about what happens most of the time, not a
guarantee: in the model any timer may expire at any moment.

With `patience` (seconds), a person does not wait for a timer that takes longer. Waiting for such a
timer is an action of its own, and the timer does not count as something left to do, unless the
device would not settle without it.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from fractions import Fraction

from modecheck.engine.contract.memory import resident_memory
from modecheck.engine.contract.space import Limits
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.engine.reference.predecessors import path_to
from modecheck.engine.reference.system_actions import Drives
from modecheck.product.ir import Product

FAULTS = ("lose", "duplicate", "corrupt", "power_cut", "reset", "cut_in_rule")
LOOK_EVERY = 256
"""States between two checks of the clock and the memory."""


class SettlingLimit(Exception):
    """A bound of the search was hit; carries the text that the result gives for it."""


@dataclass(frozen=True, slots=True)
class SettledOutcome:
    """How a device settles. `run` are the steps of the usual run, which ends in `usual`; `others`
    are the settled states that races may lead to instead, nearest first, and `failures` say what
    can go wrong on the way. `usual` is None if no run ends. `waited` says that it took a timer
    longer than the patience.
    """

    usual: State | None
    run: tuple[Step, ...]
    others: tuple[State, ...]
    failures: tuple[str, ...]
    waited: bool = False


class Settling:
    """Steps of one product, computed once for each state. Methods raise `SettlingLimit`."""

    def __init__(self, product: Product, limits: Limits, patience: Fraction | None = None) -> None:
        self.product = product
        self._interpreter = Interpreter(product)
        self._limits = limits
        self._began = time.monotonic()
        self._known: dict[State, list[Step]] = {}
        self._by_system = Drives(product)
        self._slow = [self._is_slow(number, patience) for number in range(len(product.labels))]

    @property
    def looked_at(self) -> int:
        """How many states were explored."""
        return len(self._known)

    @property
    def patient(self) -> bool:
        """Whether there are timers longer than the patience."""
        return any(self._slow)

    def _is_slow(self, label: int, patience: Fraction | None) -> bool:
        after = self._timer(label)
        return patience is not None and after is not None and after > patience

    def _timer(self, label: int) -> Fraction | None:
        """When the timer of a step's rule ends at the earliest, in seconds."""
        form = self.product.labels[label]
        after = self.product.rules[form.rule].after if form.kind == "rule" else None
        return None if after is None else after.low

    def condition(self, name: str, state: State) -> bool:
        """Whether a condition of the product holds."""
        return self._interpreter.condition(self.product.conditions[name], state)

    def steps(self, state: State) -> list[Step]:
        """Every step from a state."""
        known = self._known.get(state)
        if known is None:
            self._look_at_limits()
            known = self._known[state] = self._interpreter.steps(state)
        return known

    def _look_at_limits(self) -> None:
        limits, count = self._limits, len(self._known)
        if limits.states is not None and count >= limits.states:
            raise SettlingLimit(limits.reached_states)
        if count % LOOK_EVERY == 0:
            if limits.seconds is not None and time.monotonic() - self._began > limits.seconds:
                raise SettlingLimit(limits.reached_seconds)
            if limits.memory is not None and resident_memory() > limits.memory:
                raise SettlingLimit(limits.reached_memory)

    def actions(self, state: State) -> list[Step]:
        """What a person can do: steps of actors, and waiting for timers beyond the patience."""
        return [step for step in self.steps(state) if self._is_action(step.label)]

    def _is_action(self, label: int) -> bool:
        form = self.product.labels[label]
        return self._slow[label] or (form.kind == "rule" and self.product.chips[form.chip].actor)

    def is_wait(self, label: int) -> bool:
        """Whether an action is to wait for a timer."""
        return self._slow[label]

    def by_itself(self, state: State, *, slow: bool = False) -> list[Step]:
        """Steps of chips and links, except those that change nothing and do not hold up time;
        with `slow` also those of timers beyond the patience.
        """
        return [
            step
            for step in self.steps(state)
            if self._by_system.keeps_going(step.label, state, step.after)
            and (slow or not self._slow[step.label])
        ]

    def settle(self, state: State) -> SettledOutcome:
        """How a device settles if it is left alone in a state."""
        settled = self._settle(state, slow=False)
        if settled.usual is None and self.patient:
            settled = self._settle(state, slow=True)
        return settled

    def _settle(self, state: State, *, slow: bool) -> SettledOutcome:
        came: dict[State, tuple[State, Step] | None] = {state: None}
        ends: list[State] = []
        failures: dict[str, None] = {}
        order = [state]
        for one in order:  # grows while it is gone through
            steps = self.by_itself(one, slow=slow)
            if not steps:
                ends.append(one)
            for step in steps:
                if step.after is None:
                    failures |= dict.fromkeys(failure.text for failure in step.failures)
                elif step.after not in came:
                    came[step.after] = (one, step)
                    order.append(step.after)
        if not ends:
            return SettledOutcome(None, (), (), tuple(failures), slow)
        run = self._usual_run(state, slow=slow)
        if run is None:
            run = [step for step, _ in path_to(came, ends[0])]
        usual = run[-1].after if run else state
        others = tuple(end for end in ends if end != usual)
        return SettledOutcome(usual, tuple(run), others, tuple(failures), slow)

    def _usual_run(self, state: State, *, slow: bool) -> list[Step] | None:
        """Always the step that usually comes first; None where that leads in a circle."""
        run: list[Step] = []
        seen = {state}
        while True:
            steps = self.by_itself(state, slow=slow)
            if not steps:
                return run
            usual = [s for s in sorted(steps, key=self._urgency) if s.after not in seen]
            step = next((s for s in usual if s.after is not None), None)
            if step is None or step.after is None:
                return None
            run.append(step)
            state = step.after
            seen.add(state)

    def _urgency(self, step: Step) -> tuple[bool, Fraction]:
        """Faults last, then timers by their time; ties stay in the interpreter's order."""
        fault = self.product.labels[step.label].kind in FAULTS
        timer = self._timer(step.label)
        return fault, Fraction(-1) if timer is None else timer
