"""What decides a time, looked for where it can be, against a reading of every step."""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.checks.deciding import ModelDuration, changes_anything, constant_of_rule, deciders
from modecheck.engine.reference.happenings import Accepted, Arrived, Doubled, Dropped, Struck, Took
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.scenario.replay import Move
from modecheck.scenario.traces import Trace
from tests.generation.devices import Drawn, device_from, devices

LONGEST = 80


def walk(product: Product, dice: Random) -> tuple[list[State], list[Step]]:
    """A run that goes on anyhow, and the states before its steps and behind them."""
    interpreter = Interpreter(product)
    states, steps = [product.initial], list[Step]()
    while len(steps) < LONGEST:
        possible = [step for step in interpreter.steps(states[-1]) if step.after is not None]
        if not possible:
            break
        ticks = [step for step in possible if product.labels[step.label].kind == "tick"]
        chosen = dice.choice(ticks if ticks and dice.random() < 0.5 else possible)
        label, after = chosen.label, chosen.after
        assert after is not None
        # Of several steps with one label to one state a way means the first.
        steps.append(next(s for s in possible if (s.label, s.after) == (label, after)))
        states.append(after)
    return states, steps


def senders(steps: list[Step]) -> dict[int, int]:
    """For each step in which a message arrives, the one in which it was sent."""
    waiting: dict[int, deque[int]] = defaultdict(deque)
    found: dict[int, int] = {}
    for number, step in enumerate(steps):
        for one in step.happenings:
            if isinstance(one, Accepted) and not one.merged:
                waiting[one.queue].append(number)
            elif isinstance(one, Arrived) and waiting[one.queue]:
                found[number] = waiting[one.queue].popleft()
            elif isinstance(one, Dropped) and waiting[one.queue]:
                waiting[one.queue].popleft()
            elif isinstance(one, Doubled) and waiting[one.queue]:
                waiting[one.queue].insert(1, waiting[one.queue][0])
    return found


class Reading:
    """The critical path, with all that happened in every step before it is followed."""

    def __init__(self, product: Product, states: list[State], steps: list[Step]) -> None:
        self.product, self.states, self.steps = product, states, steps
        self.sent = senders(steps)

    def began(self, at: int, number: int) -> int:
        """The last step before that in which the timer of a rule began to run."""
        product = self.product
        chip, rule = product.rule_chips[number], product.rules[number]
        for earlier in range(at - 1, -1, -1):
            if rule.periodic:
                if changes_anything(product, *self.states[earlier : earlier + 2]):
                    return earlier
                continue
            for one in self.steps[earlier].happenings:
                if isinstance(one, Struck) and one.chip == chip:
                    return earlier
                if isinstance(one, Took) and one.chip == chip:
                    taken = product.rules[one.rule]
                    starts = rule.expires in taken.starts
                    anew = one.rule == number or taken.target is not None
                    if starts if rule.expires else anew:
                        return earlier
        return -1

    def cause(self, at: int) -> tuple[ModelDuration, int] | None:
        """What a step has waited for, and since which step."""
        product = self.product
        label = product.labels[self.steps[at].label]
        if label.kind == "rule":
            constant = constant_of_rule(product, product.rules[label.rule])
            return None if constant is None else (constant, self.began(at, label.rule))
        if label.kind in ("deliver", "discard") and at in self.sent:
            link = product.device.links[product.queues[label.queue].name]
            if link.delay is not None:
                return ModelDuration(f"{link.name} delay", link.delay), self.sent[at]
        return None

    def deciders(self, begin: int) -> set[tuple[ModelDuration, int, int]]:
        """The constants that decide, with their times and their ticks."""
        kinds = [self.product.labels[step.label].kind for step in self.steps]
        times: Counter[ModelDuration] = Counter()
        ticks: Counter[ModelDuration] = Counter()
        at = len(self.steps) - 1
        while at >= begin:
            cause = self.cause(at)
            if cause is None or cause[1] >= at:
                at -= 1
                continue
            lasted = kinds[max(cause[1] + 1, begin) : at].count("tick")
            if lasted:
                times[cause[0]] += 1
                ticks[cause[0]] += lasted
            at = cause[1]
        return {(one, times[one], ticks[one]) for one in times}


CASCADE = """
device: a pull that is passed on
clock: {tick: 1 ms}
chips:
  tile:
    states: {idle: {}, calling: {}, waiting: {}}
    timers: {patience: 6 ms}
    rules:
      hears: {in: idle, on: pulled, signal: [passed_on], to: waiting}
      calls: {in: calling, after: [1 ms, 2 ms], send: [hello via air], to: waiting,
              start: [patience]}
      hurries: {in: waiting, on: passed_twice, to: calling}
      answered: {in: waiting, on: welcome, to: calling}
      gives_up: {in: waiting, expires: patience, to: idle}
      too_late: {on: welcome}
  lamp:
    states: {off: {}, lit: {}}
    rules:
      lights: {in: off, on: passed_on, signal: [passed_twice], to: lit}
      dims: {in: lit, after: 2 ms, to: off}
      blinks: {in: lit, period: 1 ms}
  hub:
    states: {listening: {}, busy: {}}
    rules:
      begins: {in: listening, on: hello, to: busy}
      answers: {in: busy, after: [1 ms, 3 ms], send: [welcome via ether], to: listening}
      busy_already: {in: busy, on: hello}
actors:
  cable: {states: [inside], rules: [{in: inside, signal: [pulled]}]}
links:
  air: {from: tile, to: hub, medium: radio, carries: [hello], capacity: 2, when_full: drop_old,
        delay: [1 ms, 3 ms], can: [lose, duplicate]}
  ether: {from: hub, to: tile, medium: radio, carries: [welcome], when_full: drop_new,
          delay: [1 ms, 4 ms]}
faults:
  power_cut: {chips: [tile], at_most: 1}
"""


def assert_alike(product: Product, seed: int, begin: int) -> int:
    """Both find the same on a random run; how many constants decide."""
    states, steps = walk(product, Random(seed))  # noqa: S311 - no secret
    moves = tuple(Move(step.label, step.after) for step in steps)
    found = deciders(product, Trace(product, moves, switch_from=min(begin, len(moves))))
    expected = Reading(product, states, steps).deciders(min(begin, len(moves)))
    assert {(one.constant, one.times, one.ticks) for one in found} == expected
    return len(expected)


@given(devices(timed=True, options=False), st.integers(0, 1 << 30), st.integers(0, LONGEST))
@settings(max_examples=settings().max_examples // 2)
def test_what_decides_is_what_a_reading_of_every_step_finds(
    drawn: Drawn, seed: int, begin: int
) -> None:
    """Of random runs of random timed devices, from anywhere on."""
    assert_alike(compose(drawn.read()), seed, begin)


def test_what_decides_is_found_behind_signals_and_on_links() -> None:
    """Of random runs of a device whose timers begin with signals that are passed on, with messages
    that take their time, get lost and are doubled, and with power cuts.
    """
    product = compose(device_from(CASCADE))
    assert max(assert_alike(product, seed, seed % 20) for seed in range(60)) > 3
