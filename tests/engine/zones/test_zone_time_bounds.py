"""Best and worst times by zones, beside those counted tick by tick in all states."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings

from modecheck.engine.exploration import PlainExploration, explore
from modecheck.engine.plain import Interpreter
from modecheck.engine.space import Limits
from modecheck.engine.zones.zone_time_bounds import WitnessedTime, ZoneTimeBounds, times_between
from modecheck.product.composition import compose
from modecheck.product.ir import ApplyIR, ConstantIR, Expression, Field, Product, Read, Ticking
from tests.generation.devices import Drawn, device_from, devices

MOST_STATES = 300
MOST_ZONES = 1500
EXAMPLES = 12

Spot = tuple[int, bool]
"""A state (its number), and whether a stretch goes on."""


def in_leaf(product: Product, chip: str, leaf: str) -> Expression:
    """That a chip is in one of its innermost states."""
    form = next(form for form in product.chips if form.name == chip)
    return ApplyIR("==", (Read(form.state_field), ConstantIR(form.leaves.index(leaf))))


def ever_ticking(product: Product) -> Product:
    """The product with a field that each tick changes, so that time passes where it can."""
    assert product.time is not None
    field = Field("odd ticks", 0, 1, 0)
    ticking = Ticking(len(product.fields), ConstantIR(1), 1, 0, (1,))
    time = replace(product.time, tickings=(*product.time.tickings, ticking))
    return replace(product, fields=(*product.fields, field), time=time)


class ByTicks:
    """All stretches of a product, by searching its states; endless ones have no worst time."""

    def __init__(self, found: PlainExploration, begin: Expression, end: Expression) -> None:
        condition = Interpreter(found.product).condition
        states = [found.state(number) for number in range(found.state_count)]
        begins = [condition(begin, state) for state in states]
        ends = [condition(end, state) for state in states]
        tick = found.product.time.label if found.product.time else -1
        self.times: set[int] = set()
        self.successors: dict[Spot, list[tuple[int, Spot]]] = {}
        self.lasts: list[tuple[Spot, int]] = []
        first = (0, begins[0] and not ends[0])
        self.times |= {0} if begins[0] and ends[0] else set()
        waiting, self.starts = [first], {first} if first[1] else set[Spot]()
        while waiting:
            spot = waiting.pop()
            if spot in self.successors:
                continue
            self.successors[spot] = []
            number, going = spot
            for edge in found.edges_from(number):
                target, ticks = edge.target, int(edge.label == tick)
                entered = begins[target] and not begins[number]
                self.times |= {0} if entered and ends[target] else set()
                if going and ends[target]:
                    self.lasts.append((spot, ticks))
                    after = (target, False)
                else:
                    after = (target, going or (entered and not ends[target]))
                    if going:
                        self.successors[spot].append((ticks, after))
                    elif after[1]:
                        self.starts.add(after)
                waiting.append(after)

    def extremes(self) -> tuple[int, int | None] | None:
        """The best and the worst time; None for no worst, and for no stretch at all."""
        least = self._spread(self.starts, sign=-1)
        most = self._spread(self.starts, sign=1)
        ends = [(spot, ticks) for spot, ticks in self.lasts if spot in least]
        if not ends:
            return (min(self.times), max(self.times)) if self.times else None
        best = min([*self.times, *(least[spot] + ticks for spot, ticks in ends)])
        worst = [most[spot] + ticks for spot, ticks in ends]
        # No stretch without a loop is as long as there are states.
        return best, None if max(worst) > len(self.successors) else max([*self.times, *worst])

    def _spread(self, starts: set[Spot], sign: int) -> dict[Spot, int]:
        """The fewest (-1) or most (1) ticks to each spot, up to more than there are spots."""
        far, too_far = dict.fromkeys(starts, 0), len(self.successors) + 1
        waiting = list(starts)
        while waiting:
            spot = waiting.pop(0)
            for ticks, after in self.successors.get(spot, ()):
                total = min(far[spot] + ticks, too_far)
                if after not in far or sign * total > sign * far[after]:
                    far[after] = total
                    waiting.append(after)
        return far


def told(times: ZoneTimeBounds) -> tuple[int, int | None] | None:
    """The same of what zones have measured."""
    assert not times.stopped_by
    if times.best is None:
        return None
    assert (times.worst is None) == (times.unbounded is not None)
    return times.best.ticks, None if times.worst is None else times.worst.ticks


def ticks_in(product: Product, measured: WitnessedTime) -> int:
    """The ticks of a run from where its stretch begins to its end."""
    assert product.time is not None
    stretch = measured.run[measured.begins :]
    return sum(label == product.time.label for label, _ in stretch)


def stretches(product: Product) -> list[tuple[Expression, Expression]]:
    """From where a chip enters a state to where it leaves it, and to where it enters the last."""
    found: list[tuple[Expression, Expression]] = []
    for chip in product.chips[:2]:
        last = in_leaf(product, chip.name, chip.leaves[-1])
        for leaf in chip.leaves[:2]:
            begin = in_leaf(product, chip.name, leaf)
            found += [(begin, ApplyIR("not", (begin,))), (begin, last)]
    return found


@settings(max_examples=EXAMPLES)
@given(devices(options=False, faults=False, timed=True))
def test_zones_measure_what_ticks_count(drawn: Drawn) -> None:
    """The same best and worst times, and the same stretches without bound."""
    product = compose(drawn.read())
    found = explore(ever_ticking(product), max_states=MOST_STATES)
    assume(found.complete)
    for begin, end in stretches(product):
        times = times_between(product, begin, end, limits=Limits(states=MOST_ZONES))
        if times.stopped_by:
            continue
        assert told(times) == ByTicks(found, begin, end).extremes()
        for measured in (times.best, times.worst, times.unbounded):
            if measured is not None and _always_ticks(product, measured):
                assert ticks_in(product, measured) == measured.ticks


def _always_ticks(product: Product, measured: WitnessedTime) -> bool:
    """Whether every state of a run has something that a tick changes, if there can be one."""
    assert product.time is not None
    interpreter = Interpreter(product)
    states = [product.initial, *(state for _, state in measured.run)]
    return all(
        any(step.label == product.time.label for step in interpreter.steps(state))
        or any(interpreter.condition(due.holds, state) for due in product.time.due)
        for state in states
    )


RETRY = """\
device: a call that is tried three times
clock: {tick: 1 ms}
chips:
  phone:
    variables: {tries: {range: [0, 3]}}
    states:
      calling:
        rules:
          - {after: 2 s, if: tries < 3, do: tries += 1, to: calling}
          - {after: 2 s, if: tries == 3, to: gone}
          - {after: [7 ms, 2 s], to: talking}
      talking: {rest: true}
      gone: {rest: true}
"""


@pytest.mark.parametrize(("last", "expected"), [("gone", (8000, 8000)), ("talking", (7, 8000))])
def test_a_stretch_is_longer_than_any_constant(last: str, expected: tuple[int, int]) -> None:
    """Four waits of 2 s follow each other, so the time is found beyond each of them alone."""
    product = compose(device_from(RETRY))
    begin, end = in_leaf(product, "phone", "calling"), in_leaf(product, "phone", last)
    times = times_between(product, begin, end)
    assert told(times) == expected
    assert times.worst is not None
    assert ticks_in(product, times.worst) == times.worst.ticks
    assert times.worst.run[-1][1][0] == product.chips[0].leaves.index(last)


def test_what_can_be_tried_for_ever_has_no_worst_time() -> None:
    """Each round takes time and nothing counts the rounds; a run beyond the constants is shown."""
    endless = RETRY.replace("if: tries < 3, do: tries += 1, ", "")
    product = compose(device_from(endless))
    begin, end = in_leaf(product, "phone", "calling"), in_leaf(product, "phone", "talking")
    times = times_between(product, begin, end)
    assert told(times) == (7, None)
    assert times.unbounded is not None
    assert ticks_in(product, times.unbounded) == times.unbounded.ticks > 16


def test_a_bound_leaves_times_open() -> None:
    """What was measured up to a bound is neither the best nor the worst."""
    product = compose(device_from(RETRY))
    begin, end = in_leaf(product, "phone", "calling"), in_leaf(product, "phone", "gone")
    times = times_between(product, begin, end, limits=Limits(states=3))
    assert times == ZoneTimeBounds(None, None, stopped_by="the bound of 3 states")
