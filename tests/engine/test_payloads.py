"""Payloads: an edge, a whole picture, an amount; what merges, what is in range, what arrives."""

from __future__ import annotations

import pytest

from modecheck.model.errors import InvalidInput
from tests.stepping import Moment, begin

DEVICE = """
device: payloads
chips:
  front:
    states: {{idle: {{}}}}
    rules:
      - {{name: one, send: [{message}({first})]}}
      - {{name: two, send: [{message}({second})]}}
      - {{name: both, send: [{message}({first}), {message}({second})]}}
      - {{name: edge, send: [ping]}}
  hub:
    variables: {{got: {{range: [-9, 9]}}}}
    states: {{idle: {{}}}}
    rules: [{{name: take, on: {message}, do: [got = value]}}]
    discards: [ping]
links:
  up:
    from: front
    to: hub
    capacity: {capacity}
    when_full: {when_full}
    carries: {{{message}: {{kind: {kind}, range: [{low}, {high}]}}, ping: event}}
"""


def device(
    kind: str,
    first: int,
    second: int,
    *,
    bounds: tuple[int, int] = (0, 5),
    capacity: int = 2,
    when_full: str = "error",
) -> Moment:
    low, high = bounds
    names = {"message": "level", "kind": kind, "first": first, "second": second}
    return begin(DEVICE.format(**names, low=low, high=high, capacity=capacity, when_full=when_full))


def values(moment: Moment) -> list[int]:
    return [waiting.value for waiting in moment.waiting("up")]


def test_value_arrives_with_its_message() -> None:
    """In a rule with `on`, `value` is the payload of the message."""
    moment = device("event", 4, 2).take("front one", "front two")
    first = moment.take("up to hub take")
    assert first.value("hub.got") == 4
    assert first.take("up to hub take").value("hub.got") == 2


def test_edges_do_not_merge() -> None:
    """Each event takes a place of its own."""
    moment = device("event", 4, 2).take("front one", "front two")
    assert values(moment) == [4, 2]
    assert moment.failure("front one") == "overflow:up.level"


def test_newer_picture_replaces_an_older_one_in_the_queue() -> None:
    """A state message takes the place of the one that waits, be the link full or not."""
    for capacity in (1, 2):
        moment = device("state", 4, 2, capacity=capacity).take("front one", "front two")
        assert values(moment) == [2]


def test_amounts_add_up() -> None:
    """A relative message adds to the one that waits: the sum is kept, only one is delivered."""
    moment = device("relative", 2, 3, capacity=1).take("front one", "front two")
    assert values(moment) == [5]
    assert moment.take("up to hub take").value("hub.got") == 5


def test_amounts_may_cancel_out() -> None:
    """A sum of nothing is still a message."""
    moment = device("relative", 2, -2, bounds=(-2, 2)).take("front one", "front two")
    assert values(moment) == [0]
    assert "up to hub take" in moment.labels


def test_sum_that_leaves_its_range_is_a_finding() -> None:
    """Amounts that add up to more than the message can carry are out of range, not wrapped."""
    moment = device("relative", 3, 3).take("front one")
    assert moment.failure("front two") == "out-of-range:up.level"


@pytest.mark.parametrize("kind", ["event", "state", "relative"])
def test_value_outside_the_range_of_its_message_is_a_finding(kind: str) -> None:
    """A payload is range-checked where it is sent."""
    assert device(kind, 6, 0).failure("front one") == "out-of-range:up.level"
    assert device(kind, -1, 0).failure("front one") == "out-of-range:up.level"


def test_pictures_of_one_rule_merge_too() -> None:
    """Of two pictures that a rule sends, the second replaces the first."""
    assert values(device("state", 4, 2, capacity=1).take("front both")) == [2]
    assert values(device("relative", 4, 1, capacity=1).take("front both")) == [5]


@pytest.mark.parametrize("kind", ["state", "relative"])
def test_message_that_merges_need_not_wait_for_room(kind: str) -> None:
    """`when_full: wait` holds a picture or an amount back only if none of its name waits."""
    empty = device(kind, 1, 2, capacity=1, when_full="wait")
    assert "front both" in empty.labels
    assert "front two" in empty.take("front one").labels
    assert "front one" not in empty.take("front edge").labels


def test_merged_message_keeps_its_place_in_the_queue() -> None:
    """The newest picture stands where the older one stood, before what was sent in between."""
    moment = device("state", 4, 2).take("front one", "front edge", "front two")
    assert moment.messages("up") == ["level", "ping"]
    assert values(moment)[0] == 2


def test_of_two_copies_the_last_is_renewed() -> None:
    """A doubled picture is not delivered after a newer one."""
    moment = begin("""
        device: copies
        chips:
          front:
            states: {idle: {}}
            rules: [{name: press, send: [key(true)]}, {name: release, send: [key(false)]}]
          hub: {states: {idle: {}}, discards: [key], rules: []}
        links:
          up:
            from: front
            to: hub
            capacity: 2
            carries: {key: {kind: state, bool: true}}
            can: [duplicate]
    """).take("front press", "up duplicate", "front release")
    assert [waiting.value for waiting in moment.waiting("up")] == [1, 0]


def test_payloads_of_every_type_arrive() -> None:
    """Words, truth values and negative numbers travel side by side in one link."""
    moment = begin("""
        device: types
        chips:
          front:
            states: {idle: {}}
            rules: [{name: send, send: [colour(blue), key(true), turn(-3)]}]
          hub:
            variables:
              colour: {one_of: [red, green, blue]}
              key: bool
              turn: {range: [-3, 3]}
            states: {idle: {}}
            rules:
              - {name: paint, on: colour, do: [colour = value]}
              - {name: press, on: key, do: [key = value]}
              - {name: move, on: turn, do: [turn = value]}
        links:
          up:
            from: front
            to: hub
            capacity: 3
            carries:
              colour: {one_of: [red, green, blue]}
              key: {bool: true}
              turn: {range: [-3, 3]}
    """).take("front send", "up to hub paint", "up to hub press", "up to hub move")
    assert [moment.value(f"hub.{name}") for name in ("colour", "key", "turn")] == [2, 1, -3]


def test_value_is_no_name_where_no_message_is() -> None:
    """`value` outside a rule with `on`, or of a message without a payload, is an error."""
    with pytest.raises(InvalidInput, match="'value' needs a message"):
        begin("""
            device: no message
            chips:
              hub: {variables: {n: {range: [0, 3]}}, states: {a: {}}, rules: [{do: [n = value]}]}
        """)
