"""A rule that says `steps: separate` can be cut between two writes to persistent variables."""

from __future__ import annotations

from tests.stepping import Moment, begin

DEVICE = """
device: flash
chips:
  hub:
    variables:
      one: {{range: [0, 3], persistent: true}}
      two: {{range: [0, 3], persistent: true}}
      three: {{range: [0, 3], persistent: true}}
      count: {{range: [0, 3]}}
    states: {{idle: {{}}, stored: {{}}}}
    rules:
      - name: store
        {begins}
        do: [one = {value}, count = 2, two = 1, three = 1, count = 3]
        send: [saved]
        signal: [ready]
        to: stored
        {steps}
  front: {{states: {{idle: {{}}, told: {{}}}}, rules: [{{on: ready, to: told}}], discards: [saved]}}
actors:
  player:
    states: {{here: {{}}}}
    rules: [{{name: save, signal: [save]}}, {{name: write, send: [write(3)]}}]
links:
  to_front: {{from: hub, to: front, carries: [saved]}}
  to_hub: {{from: player, to: hub, carries: {{write: {{range: [0, 3]}}}}}}
faults: {{power_cut: {{chips: [hub], at_most: 1}}{more}}}
"""


def device(
    *, begins: str = "in: idle", steps: str = "steps: separate", value: str = "1", more: str = ""
) -> Moment:
    text = DEVICE.format(begins=begins, steps=steps, value=value, more=more)
    return begin(
        text
        if begins != "in: idle"
        else text.replace("signal: [save]", "if: false, signal: [save]")
    )


def cuts(moment: Moment) -> list[str]:
    return [label for label in moment.labels if " in store" in label]


def written(moment: Moment) -> list[int]:
    return [moment.value(f"hub.{name}") for name in ("one", "two", "three", "count")]


FIRST, SECOND = "hub power_cut in store after one = 1", "hub power_cut in store after two = 1"


def test_cut_shows_between_two_writes_to_persistent_variables() -> None:
    """One cut after each persistent write but the last: a cut elsewhere shows no difference."""
    assert cuts(device()) == [FIRST, SECOND]


def test_chip_that_is_cut_keeps_what_was_written_and_falls_back() -> None:
    """The writes so far stand, volatile variables are afresh, the chip is in its initial state."""
    first, second = device().take(FIRST), device().take(SECOND)
    assert written(first) == [1, 0, 0, 0]
    assert written(second) == [1, 1, 0, 0]
    assert (first.at("hub"), second.at("hub")) == ("idle", "idle")


def test_rule_that_is_cut_sends_and_signals_nothing() -> None:
    """What stands after the cut never happens."""
    moment = device().take(FIRST)
    assert (moment.messages("to_front"), moment.at("front")) == ([], "idle")


def test_rule_that_is_not_cut_is_one_step() -> None:
    """The whole rule is a step as well, in which nothing is cut."""
    moment = device().take("hub store")
    assert written(moment) == [1, 1, 1, 3]
    assert (moment.at("hub"), moment.at("front"), moment.messages("to_front")) == (
        "stored",
        "told",
        ["saved"],
    )


def test_rules_are_whole_unless_they_say_otherwise() -> None:
    """Rules of one chip run to completion: without `steps: separate` there are no cuts."""
    assert cuts(device(steps="text: stores")) == []


def test_cut_is_paid_from_the_budget() -> None:
    """A cut in the middle of a rule is a strike of its group."""
    moment = device().take(FIRST)
    assert cuts(moment) == []
    assert "hub power_cut" not in moment.labels


def test_each_fault_that_can_strike_the_chip_can_cut() -> None:
    """Power cuts and resets cut alike."""
    moment = device(more=", reset: {chips: [hub]}")
    assert len(cuts(moment)) == 4
    assert written(moment.take("hub reset in store after two = 1")) == [1, 1, 0, 0]


def test_chip_that_nothing_strikes_is_not_cut() -> None:
    """`steps: separate` alone cuts nothing."""
    text = DEVICE.format(begins="in: idle", steps="steps: separate", value="1", more="")
    moment = begin(
        text.replace("chips: [hub]", "chips: [front]").replace("signal: [save]", "to: here")
    )
    assert cuts(moment) == []


def test_rule_set_off_by_a_signal_can_be_cut() -> None:
    """The hearer is cut; the one who gave the signal has done its part."""
    moment = device(begins="on: save")
    assert cuts(moment) == [FIRST, SECOND]
    assert written(moment.take(FIRST)) == [1, 0, 0, 0]
    assert "hub store" not in moment.labels


def test_rule_set_off_by_a_delivery_can_be_cut() -> None:
    """The message is gone, its value was written, the rest was not."""
    moment = device(begins="on: write", value="value").take("player write")
    assert cuts(moment)[0] == "hub power_cut in store after one = value"
    cut = moment.take("hub power_cut in store after one = value")
    assert (written(cut), cut.messages("to_hub")) == ([3, 0, 0, 0], [])


def test_cut_chip_hears_nothing_more() -> None:
    """A chip that lost power in the middle of a rule has no part in the rest of the step."""
    moment = begin("""
        device: dead chip
        chips:
          hub:
            variables:
              one: {range: [0, 9], persistent: true}
              two: {range: [0, 9], persistent: true}
            states: {idle: {}}
            rules:
              - {name: store, on: save, do: [one = 1, two = 1], steps: separate}
              - {name: count, on: saved, do: [one = 5]}
          front: {states: {idle: {}}, rules: [{on: save, signal: [saved]}]}
        actors: {player: {states: {here: {}}, rules: [{name: save, signal: [save]}]}}
        faults: {reset: {chips: [hub]}}
    """)
    assert moment.take("player save").value("hub.one") == 5
    cut = moment.take("hub reset in store after one = 1")
    assert (cut.value("hub.one"), cut.value("hub.two")) == (1, 0)


def test_equal_assignments_are_different_places_to_cut() -> None:
    """Where a rule writes the same twice, the cuts are told apart by number."""
    moment = begin("""
        device: twice
        chips:
          hub:
            variables: {n: {range: [0, 9], persistent: true}}
            states: {idle: {}}
            rules: [{name: count, do: [n += 1, n += 1, n += 1], steps: separate}]
        faults: {reset: {chips: [hub]}}
    """)
    counts = {label: moment.take(label).value("hub.n") for label in moment.labels}
    assert counts == {
        "hub count": 3,
        "hub reset in count after n += 1": 1,
        "hub reset in count after n += 1 #2": 2,
        "hub reset": 0,
    }


def test_assignment_that_writes_together_is_not_cut() -> None:
    """A tuple assignment is one write, whatever it assigns."""
    moment = begin("""
        device: together
        chips:
          hub:
            variables: {a: {range: [0, 1], persistent: true}, b: {range: [0, 1], persistent: true}}
            states: {idle: {}}
            rules: [{name: both, do: ["a, b = 1, 1"], steps: separate}]
        faults: {reset: {chips: [hub]}}
    """)
    assert moment.labels == ["hub both", "hub reset"]
