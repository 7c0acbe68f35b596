"""Which rule is taken: W3C SCXML's order (innermost first, then document order), and between the
two by priority; alternatives.
"""

from __future__ import annotations

import pytest

from modecheck.checks.verdict import check
from modecheck.compare.text_changes import text_changes
from modecheck.draw.labels import rule_label
from modecheck.engine.reference.happenings import Took
from modecheck.model.errors import InvalidInput
from tests.generation.devices import device_from
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


PRIORITIES = """
device: priorities
chips:
  hub:
    states:
      online:
        states: {linked: {rules: [{name: inside, on: ping, if: player.inner}]}}
        rules:
          - {name: first, on: ping, priority: %s}
          - {name: second, on: ping, if: player.outer, priority: %s}
    rules: [{name: anywhere, on: ping, priority: 9}]
actors:
  player:
    variables: {inner: {bool: true, start: %s}, outer: {bool: true, start: %s}}
    states: [here]
    rules: [{name: call, signal: [ping]}]
"""


@pytest.mark.parametrize(
    ("first", "second", "inner", "outer", "taken"),
    [
        ("~", "1", "false", "true", "second"),
        ("-1", "~", "false", "true", "second"),
        ("1", "1", "false", "true", "first"),
        ("1", "2", "false", "false", "first"),
        ("1", "2", "true", "true", "inside"),
        ("-7", "-8", "false", "true", "first"),
    ],
)
def test_priority_decides_within_one_state(
    first: str, second: str, inner: str, outer: str, taken: str
) -> None:
    """The highest of the enabled rules goes first; equal ones by the order of the file. A rule of
    an inner state comes before, one of an outer state after, whatever their priorities.
    """
    moment = begin(PRIORITIES % (first, second, inner, outer))
    assert took(moment, "player call") == ["call", taken]


def test_priority_decides_which_rule_a_message_takes() -> None:
    """Likewise in the step that delivers it; a rule that listens to one link only competes, too."""
    moment = begin("""
        device: message
        chips:
          front: {states: {here: {}}, rules: [{name: send, send: [hello]}]}
          hub:
            states: [here]
            rules:
              - {name: one, on: hello}
              - {name: two, on: hello via up, priority: 1}
        links: {up: {from: front, to: hub, carries: [hello]}}
    """).take("front send")
    assert [label for label in moment.labels if label.startswith("up")] == ["up to hub two"]


def test_priority_decides_which_rule_takes_the_expiry_of_a_timer() -> None:
    """Of several that wait for it, although each is a step of its own."""
    moment = begin("""
        device: timer
        chips:
          hub:
            timers: {patience: 20 ms}
            states: {idle: {}, waiting: {}, done: {rest: true}}
            rules:
              - {name: wait, in: idle, start: patience, to: waiting}
              - {name: give_up, in: waiting, expires: patience, to: done}
              - {name: again, in: waiting, expires: patience, priority: 1, start: patience}
    """).take("hub wait")
    assert moment.labels == ["hub again"]


ALONE = "device: alone\nchips: {hub: {states: [here], rules: [%s, {signal: ping}]}}\n"


@pytest.mark.parametrize(
    ("rule", "error"),
    [
        ("{priority: 1, do: []}", "'priority' is given without 'on' or 'expires'"),
        ("{after: 5 ms, priority: 1}", "expected the key 'on' or 'expires' as well"),
        ("{on: ping, priority: high}", "'high' cannot be used as a priority"),
        ("{on: ping, priority: 1.5}", "expected an integer of at most 32 bits"),
        ("{on: ping, prioriti: 1}", "did you mean 'priority'?"),
    ],
)
def test_a_priority_that_means_nothing_is_an_error(rule: str, error: str) -> None:
    """Rules that wait for no event, or for time, are alternatives without an order."""
    with pytest.raises(InvalidInput) as caught:
        device_from(ALONE % rule)
    assert error in str(caught.value)


def test_a_priority_is_told_of_wherever_it_matters() -> None:
    """In the comparison of two devices, on charts, and where it lets a rule never be taken."""
    old = device_from(PRIORITIES % ("~", "~", "false", "true"))
    new = device_from(PRIORITIES % ("3", "~", "false", "true"))
    (change,) = text_changes(old, new).changes
    assert (str(change.name), change.facets) == ("hub.first", (("priority", "0", "3"),))
    labels = [rule_label(rule) for rule in new.chips["hub"].rules]
    assert labels[:2] == ["ping {priority: 3}", "ping [player.outer]"]
    (dead,) = [one for one in check([new]).findings if one.subject == "hub.second"]
    assert "it is shadowed by first, which has a higher priority" in dead.text
