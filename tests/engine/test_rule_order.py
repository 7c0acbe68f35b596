"""Which rule is taken: W3C SCXML's order (innermost first, then document order); alternatives."""

from __future__ import annotations

from modecheck.engine.happenings import Took
from tests.stepping import Moment, begin

NESTED = """
device: nested
chips:
  hub:
    states:
      online:
        states:
          linked:
            rules: [{name: inside, on: ping, if: player.inner, to: off}]
        rules:
          - {name: first_around, on: ping, if: player.outer, to: off}
          - {name: second_around, on: ping, to: off}
      off: {}
    rules:
      - {name: anywhere, on: ping, to: linked}
      - {name: listed_outer, in: online, on: ping, to: off}
actors:
  player:
    variables: {inner: {bool: true, start: %s}, outer: {bool: true, start: %s}}
    states: {here: {}}
    rules: [{name: call, signal: [ping]}]
"""


def took(moment: Moment, label: str) -> list[str]:
    """The titles of the rules taken in a step, in order."""
    taken = [h.rule for h in moment.step(label).happenings if isinstance(h, Took)]
    return [moment.product.rules[rule].title for rule in taken]


def test_innermost_state_answers_first() -> None:
    """A rule of the innermost state wins over those of the states around it."""
    assert took(begin(NESTED % ("true", "true")), "player call") == ["call", "inside"]


def test_state_around_answers_when_the_inner_rule_is_not_enabled() -> None:
    """Where no inner rule is enabled, the state around it answers."""
    assert took(begin(NESTED % ("false", "true")), "player call") == ["call", "first_around"]


def test_document_order_decides_within_one_state() -> None:
    """Of two rules of one state the first that is enabled wins, as in an if-else chain."""
    assert took(begin(NESTED % ("false", "false")), "player call") == ["call", "second_around"]


def test_rule_of_the_whole_chip_answers_last() -> None:
    """A rule without a state serves every state, after all rules of the states themselves."""
    off = begin(NESTED % ("true", "true")).take("player call")
    assert off.at("hub") == "off"
    assert took(off, "player call") == ["call", "anywhere"]


def test_rule_that_lists_states_stands_with_the_innermost_of_them() -> None:
    """`in: [outer, inner]` counts as a rule of the inner state where the chip is in that."""
    moment = begin("""
        device: listed
        chips:
          hub:
            states:
              online: {states: {linked: {}}, rules: [{name: around, on: ping, to: off}]}
              off: {}
            rules: [{name: listed, in: [online, linked], on: ping, to: off}]
        actors:
          player: {states: {here: {}}, rules: [{name: call, signal: [ping]}]}
    """)
    assert took(moment, "player call") == ["call", "listed"]


def test_messages_are_answered_in_the_same_order() -> None:
    """A delivery takes the first enabled rule: innermost state, then document order."""
    moment = begin("""
        device: message
        chips:
          front: {states: {here: {}}, rules: [{name: send, send: [hello]}]}
          hub:
            states:
              online:
                states: {linked: {rules: [{name: inside, on: hello, if: false}]}}
                rules: [{name: one, on: hello}, {name: two, on: hello}]
            rules: [{name: anywhere, on: hello}]
        links: {up: {from: front, to: hub, carries: [hello]}}
    """).take("front send")
    assert [label for label in moment.labels if label.startswith("up")] == ["up to hub one"]


INTERNAL = """
device: internal
chips:
  hub:
    states: {outer: {states: {inner: {rules: [{name: within, to: away}]}}}, away: {}}
    rules:
      - {name: second, in: outer, if: 1 == 1, to: away}
      - {name: never, in: outer, if: false, to: away}
      - {name: later, in: inner, after: 20 ms, to: away}
"""


def test_internal_rules_are_alternatives() -> None:
    """Rules without an event may each be taken when their guard holds: no order among them."""
    assert begin(INTERNAL).labels == ["hub within", "hub later", "hub second"]


def test_composite_state_is_entered_at_its_initial_state() -> None:
    """`to` a composite enters its initial state, down to the innermost one."""
    moment = begin("""
        device: initial
        chips:
          hub:
            states:
              off: {}
              online:
                initial: deep
                states: {shallow: {}, deep: {states: {first: {}, second: {}}}}
            rules: [{name: turn_on, in: off, to: online}]
    """)
    assert moment.take("hub turn_on").at("hub") == "first"


def test_chip_without_a_target_stays() -> None:
    """A rule without `to` leaves the chip in its state."""
    moment = begin("""
        device: staying
        chips:
          hub:
            variables: {count: {range: [0, 3]}}
            states: {one: {}, two: {}}
            initial: two
            rules: [{name: more, do: [count += 1]}]
    """).take("hub more")
    assert (moment.at("hub"), moment.value("hub.count")) == ("two", 1)


def test_assignments_run_in_order_before_the_state_changes() -> None:
    """`do` runs like C, in the old state; the chip enters `to` afterwards."""
    moment = begin("""
        device: order
        chips:
          hub:
            variables: {a: {range: [0, 9], start: 2}, b: {range: [0, 9]}, c: bool}
            states: {one: {}, two: {}}
            rules: [{name: go, in: one, do: [a = a + 1, b = a + a, c = state == one], to: two}]
    """).take("hub go")
    assert [moment.value(f"hub.{name}") for name in "abc"] == [3, 6, 1]
