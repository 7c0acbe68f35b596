"""Signals that carry a value: what their hearers read, in cascades, too, and what must not be."""

from __future__ import annotations

from textwrap import dedent

import pytest

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.reference.happenings import SignalEmitted, Took
from modecheck.engine.search.exploration import explore
from modecheck.model.errors import InvalidInput
from modecheck.product.composition import compose
from modecheck.scenario.sentences import sentence
from tests.engine.native.test_agreement import assert_same_space
from tests.engine.test_second_reading import assert_same_in_both
from tests.generation.corners import CORNERS
from tests.generation.devices import device_from
from tests.second_reading.search import search
from tests.stepping import Moment, begin

CASCADE = CORNERS["signals of a cascade carry values of their own"]


def test_each_hearer_reads_the_value_of_the_signal_it_hears() -> None:
    """In a cascade as well: neither the message's value, nor that of a signal before."""
    moment = begin(CASCADE).take("tile press", "up to hub a:go")
    assert moment.value("hub.own") == 4
    assert (moment.value("near.seen"), moment.value("far.one")) == (4, 4)
    # The hub's own second signal is heard before the one that sets off from the first.
    assert (moment.value("far.three"), moment.value("far.two")) == (-3, 8)
    assert (moment.value("lamp.now"), moment.value("lamp.count")) == (1, 1)


def test_the_step_tells_the_values() -> None:
    """Each signal with its own, in the order in which it was given; all hearers with the same."""
    moment = begin(CASCADE).take("tile press")
    step, product = moment.step("up to hub a:go"), moment.product
    given = [one for one in step.happenings if isinstance(one, SignalEmitted)]
    named = [(product.signals[one.signal], one.value) for one in given]
    assert named == [("first", 4), ("plain", 0), ("second", -3), ("second", 8), ("mood", 1)]
    heard = [one for one in step.happenings if isinstance(one, Took) and one.heard >= 0]
    assert [one.value for one in heard] == [4, 4, 0, -3, 8, 1]
    told = sentence(product, step)
    assert "far hears first(4)" in told
    assert "lamp hears plain and" in told
    assert "lamp hears mood(busy)" in told


TURN = """
device: turning
signals: {turned: {bool: true}}
chips:
  hub:
    variables: {n: {range: [0, 3]}}
    states: {a: {rest: true}, b: {rest: true}}
    rules:
      - {name: turn, in: a, do: [n = 2], signal: ["turned(state == a and n == 2)"], to: b}
  tile:
    states: {off: {rest: true}, on: {rest: true}}
    rules: [{on: turned, if: value, to: on}]
"""


def test_a_value_is_that_behind_the_assignments_and_before_the_next_state() -> None:
    """As that of a message."""
    assert begin(TURN).take("hub turn").at("tile") == "on"


RANGES = """
device: ranges
signals: {{level: {{range: [0, 3]}}, other: {{range: [0, 1]}}}}
chips:
  hub:
    variables: {{n: {{range: [0, 9], start: {start}}}}}
    states: {{a: {{rest: true}}}}
    rules: [{{name: tell, signal: [level(n)]}}]
  near:
    states: {{a: {{rest: true}}}}
    rules: [{{on: level, signal: [other(value)]}}]
  far:
    variables: {{seen: {{range: [0, 1]}}}}
    states: {{a: {{rest: true}}}}
    rules: [{{on: level, do: [seen = value]}}]
"""


@pytest.mark.parametrize(
    ("start", "failing"),
    [
        (4, "out-of-range:hub.level"),
        (3, "out-of-range:near.other, out-of-range:far.seen"),
    ],
)
def test_a_value_outside_the_declared_range_is_a_finding(start: int, failing: str) -> None:
    """Of whoever gives the signal; hearers that fail at once are all named."""
    assert begin(RANGES.format(start=start)).failure("hub tell") == failing


def test_a_value_within_the_range_is_none() -> None:
    moment = begin(RANGES.format(start=1)).take("hub tell")
    assert moment.value("far.seen") == 1


@pytest.mark.usefixtures("own_cache")
@pytest.mark.parametrize("text", [CASCADE, TURN, *(RANGES.format(start=n) for n in (1, 3, 4))])
def test_all_engines_agree(text: str) -> None:
    """The interpreter, machine code, and the second reading."""
    device = device_from(dedent(text))
    plain, reached = explore(compose(device)), search(device, 100)
    assert_same_in_both(plain, reached)
    compiled = explore_with(plain.product, Search(engine="compiled", threads=1))
    assert_same_space(compiled, plain)


MIXED = """
device: mixed
signals: {{level: {{range: [0, 3]}}, mood: {{one_of: [calm, busy]}}}}
chips:
  hub:
    variables: {{n: {{range: [0, 5]}}}}
    states: {{a: {{rest: true}}}}
    rules: [{{on: {on}, do: [n = value]}}]
actors:
  player:
    states: [here]
    rules: [{{signal: [level(2), plain, mood(calm)]}}, {{send: [level(5)]}}]
links:
  up: {{from: player, to: hub, carries: {{level: {{range: [0, 5]}}, note: event}}, when_full: wait}}
"""


@pytest.mark.parametrize(
    ("on", "fits"),
    [
        ("level", True),
        ("level via up", True),
        ("[level, mood]", False),
        ("[level, plain]", False),
        ("[level, note]", False),
        ("plain", False),
    ],
)
def test_a_value_can_be_read_if_all_that_triggers_carries_one(on: str, fits: bool) -> None:
    """Of one type: messages and signals alike, also where they have the same name."""
    text = MIXED.format(on=on)
    if fits:
        moment: Moment = begin(text)
        assert moment.product.signal_types[0] is not None
        return
    with pytest.raises(InvalidInput, match="the event carries no value"):
        begin(text)
