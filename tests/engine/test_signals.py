"""Signals: who hears them, what hearers see, cascades."""

from __future__ import annotations

import pytest

from modecheck.engine.reference.happenings import SignalEmitted, Took
from modecheck.model.errors import InvalidInput
from tests.stepping import Moment, begin


def story(moment: Moment, label: str) -> list[str]:
    """Who moved and what was raised, in order."""
    product, told = moment.product, []
    for happening in moment.step(label).happenings:
        if isinstance(happening, Took):
            told.append(product.chips[happening.chip].name)
        elif isinstance(happening, SignalEmitted):
            told.append(f"!{product.signals[happening.signal]}")
    return told


def test_every_chip_with_an_enabled_rule_moves_in_the_same_step() -> None:
    """All hearers move at once, the others stay, and nobody minds."""
    moment = begin("""
        device: hearing
        chips:
          front: {states: {idle: {}, woken: {}}, rules: [{on: wake, to: woken}]}
          rear: {states: {idle: {}, woken: {}}, rules: [{on: wake, if: false, to: woken}]}
          hub: {states: {idle: {}, woken: {}}, rules: [{in: idle, on: wake, to: woken}]}
        actors:
          player: {states: {here: {}}, rules: [{name: press, signal: [wake]}]}
    """).take("player press")
    assert moment.world.at == {"front": "woken", "rear": "idle", "hub": "woken", "player": "here"}
    assert story(moment, "player press") == ["player", "!wake", "front"]


SWAP = """
device: snapshot
chips:
  front:
    variables: {card: {range: [0, 9], start: 3}}
    states: {a: {}, b: {}}
    rules: [{in: a, on: swap, do: [card = rear.card], to: b}]
  rear:
    variables: {card: {range: [0, 9], start: 7}}
    states: {a: {}, b: {}}
    rules: [{in: a, on: swap, if: front.state == a, do: [card = front.card], to: b}]
actors:
  player: {states: {here: {}}, rules: [{name: call, signal: [swap]}]}
"""


def test_hearers_are_judged_on_the_same_snapshot() -> None:
    """Chips that move together do not see each other half moved: two can swap their values."""
    moment = begin(SWAP).take("player call")
    assert (moment.value("front.card"), moment.value("rear.card")) == (7, 3)
    assert (moment.at("front"), moment.at("rear")) == ("b", "b")


def test_hearers_see_what_the_signaller_has_done() -> None:
    """The raiser's assignments and its new state come before its signals."""
    moment = begin(
        """
        device: seen
        chips:
          hub:
            variables: {level: {range: [0, 3]}}
            states: {idle: {}, on_cable: {}}
            rules: [{on: plugged, if: cable.state == in and cable.volts == 5, to: on_cable}]
        actors:
          cable:
            variables: {volts: {range: [0, 5]}}
            states: {out: {}, plug_in: {}}
            rules: [{name: plug, in: out, do: [volts = 5], to: plug_in, signal: [plugged]}]
    """.replace("cable.state == in ", "cable.state == plug_in ")
    ).take("cable plug")
    assert moment.at("hub") == "on_cable"


def test_chip_does_not_hear_its_own_signal() -> None:
    """A rule for the signal that a chip gives itself stays quiet."""
    moment = begin("""
        device: own
        chips:
          hub:
            states: {idle: {}, shouting: {}, heard: {}}
            rules: [{name: shout, in: idle, signal: [ping], to: shouting}, {on: ping, to: heard}]
          front: {states: {idle: {}, heard: {}}, rules: [{on: ping, to: heard}]}
    """).take("hub shout")
    assert (moment.at("hub"), moment.at("front")) == ("shouting", "heard")


CASCADE = """
device: cascade
chips:
  one: {states: {idle: {}}, rules: [{on: first, signal: [third]}]}
  two: {states: {idle: {}}, rules: [{on: second, signal: [fourth]}]}
  three:
    variables: {log: {range: [0, 4], list: 3}, count: {range: [0, 3]}}
    states: {idle: {}}
    rules:
      - {on: second, do: ["log[count] = 2", count += 1]}
      - {on: third, do: ["log[count] = 3", count += 1]}
      - {on: fourth, do: ["log[count] = 4", count += 1]}
actors:
  player: {states: {here: {}}, rules: [{name: call, signal: [first, second]}]}
"""


def test_cascades_follow_after_what_was_signalled_before() -> None:
    """Signals are heard in the order in which they were given; what hearers signal comes after."""
    moment = begin(CASCADE)
    signalled = ["player", "!first", "!second", "one", "!third", "two", "!fourth", "three"]
    assert story(moment, "player call") == [*signalled, "three", "three"]
    assert moment.take("player call").items("three.log") == (2, 3, 4)


def test_chip_may_move_more_than_once_in_a_cascade() -> None:
    """Each signal is judged anew, in the state that the one before has left."""
    moment = begin("""
        device: twice
        chips:
          hub:
            states: {a: {}, b: {}, c: {}}
            rules: [{in: a, on: go, to: b}, {in: b, on: gone, to: c}]
        actors:
          player: {states: {here: {}}, rules: [{name: call, signal: [go, gone]}]}
    """)
    assert moment.take("player call").at("hub") == "c"


def test_signaller_hears_what_others_signal_in_its_step() -> None:
    """A chip hears the signals of the chips that it has set off."""
    moment = begin("""
        device: answer
        chips:
          hub:
            states: {idle: {}, asking: {}, answered: {}}
            rules:
              - {name: ask, in: idle, signal: [question], to: asking}
              - {in: asking, on: answer, to: answered}
          front: {states: {idle: {}}, rules: [{on: question, signal: [answer]}]}
    """)
    assert moment.take("hub ask").at("hub") == "answered"


def test_signal_that_could_lead_to_itself_is_an_error() -> None:
    """Cascades are allowed when the graph of signals has no cycle, which is checked at load."""
    with pytest.raises(InvalidInput, match="signals trigger each other forever"):
        begin("""
            device: circle
            chips:
              hub: {states: {idle: {}}, rules: [{on: ping, signal: [pong]}, {signal: [ping]}]}
              front: {states: {idle: {}}, rules: [{on: pong, signal: [ping]}]}
        """)


BOTH = """
device: both
chips:
  front: {states: {idle: {}}, rules: [{name: send, send: [hello]}, {name: call, signal: [hello]}]}
  hub: {states: {idle: {}, greeted: {}}, rules: [{name: greet, in: idle, on: hello, to: greeted}]}
links: {up: {from: front, to: hub, carries: [hello]}}
"""


def test_rule_hears_a_message_and_a_signal_of_one_name() -> None:
    """A name may be a message and a signal: the rule hears both."""
    moment = begin(BOTH)
    assert moment.take("front call").at("hub") == "greeted"
    assert moment.take("front send", "up to hub greet").at("hub") == "greeted"


def test_signal_is_not_unspecified() -> None:
    """Who has no enabled rule for a signal just stays."""
    moment = begin(BOTH).take("front call", "front call")
    assert moment.at("hub") == "greeted"


def test_signals_have_no_payload_and_are_never_late() -> None:
    """A rule set off by a signal does not see the message that began the step."""
    moment = begin("""
        device: relay
        chips:
          front: {states: {idle: {}}, rules: [{name: send, send: [hello]}]}
          hub: {states: {idle: {}}, rules: [{name: relay, on: hello, if: late, signal: [relayed]}]}
          rear:
            variables: {was_late: bool}
            states: {idle: {}, reached: {}}
            rules: [{on: relayed, do: [was_late = late], to: reached}]
        links: {up: {from: front, to: hub, carries: [hello]}}
        faults: {reset: {chips: [front]}}
    """).take("front send", "front reset", "up to hub relay")
    assert (moment.at("rear"), moment.value("rear.was_late")) == ("reached", 0)
