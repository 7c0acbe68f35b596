"""An answer that goes to a full link: a message waits for it, a signal cannot."""

from __future__ import annotations

from modecheck.engine.contract.encounters import BLOCKED
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from tests.generation.devices import device_from
from tests.stepping import Moment, begin

BOTH_ANSWER = """
device: both answer
chips:
  front: &tile
    states: {{silent: {{}}, playing: {{}}}}
    rules:
      - {{name: begin, in: silent, send: [note], to: playing}}
      - {{name: answer, on: note, {guard} send: [note], to: playing}}
      {more}
    {words}
  rear: *tile
links:
  there: {{from: front, to: rear, carries: [note], when_full: wait}}
  back: {{from: rear, to: front, carries: [note], when_full: wait}}
"""


def both_answer(*, guard: str = "", more: str = "", words: str = "about: a tile") -> str:
    return BOTH_ANSWER.format(guard=guard, more=more, words=words)


def both_full(**changes: str) -> Moment:
    """Both tiles have begun, and neither answer has room."""
    return begin(both_answer(**changes)).take("front begin", "rear begin")


def test_a_message_stays_at_the_head_until_its_answer_has_room() -> None:
    """No step, and no finding: six states and eight steps, by hand. One tile begins, the other
    answers or begins; one note goes to and fro; two notes wait for ever.
    """
    assert both_full().labels == []
    space = explore(compose(device_from(both_answer())))
    assert (space.state_count, space.transitions) == (6, 8)
    assert not space.failures
    assert {met.outcome for met in space.observed.encounters} > {BLOCKED}


def test_an_enabled_rule_wins_over_one_that_waits_for_room() -> None:
    """In the usual order, wherever it stands."""
    moment = both_full(more="- {name: swallow, on: note}")
    assert moment.labels == ["there to rear swallow", "back to front swallow"]


def test_waiting_for_room_goes_before_every_word_on_the_message() -> None:
    """A state that discards what no rule takes does not discard what a rule will take."""
    assert both_full(words="discards: [note]").labels == []
    assert both_full(words="defers: [note]").labels == []


def test_a_rule_whose_own_guard_fails_waits_for_nothing() -> None:
    """Then room would not help, and the message has no answer."""
    moment = both_full(guard="if: state == silent,")
    assert moment.failure("there to rear, discarded") == "unspecified-reception:rear.playing.note"
    assert both_full(guard="if: state == playing,").labels == []


def test_the_message_is_delivered_as_soon_as_there_is_room() -> None:
    """Nothing is lost by waiting."""
    text = both_answer().replace("when_full: wait}", "can: [lose], when_full: wait}")
    moment = begin(text).take("front begin", "rear begin", "there lose")
    assert moment.take("back to front answer").messages("there") == ["note"]


NOTE = """
device: a note for each step
chips:
  tile:
    states: {ready: {}}
    rules: [{name: note, on: step, send: [note via air]}]
  lamp: {states: {dark: {}, lit: {}}, rules: [{in: dark, on: step, to: lit}]}
  hub: {states: {listening: {}}, rules: [{name: hear, on: note}]}
actors:
  player: {states: {here: {}}, rules: [{name: step, signal: [step]}]}
links: {air: {from: tile, to: hub, carries: [note], when_full: wait}}
"""


def test_a_signal_that_finds_no_room_for_its_answer_fails() -> None:
    """The finding names the chip and its rule, the link, and where the rule sends."""
    moment = begin(NOTE).take("player step")
    assert moment.failure("player step") == "blocked-reaction:tile.note"
    (failure,) = {one.failure for one in explore(moment.product).failures.values()}
    assert failure.text == "tile cannot take note: air is full"
    assert failure.place.line == 6
    assert moment.take("air to hub hear", "player step").messages("air") == ["note"]


def test_another_rule_may_answer_the_signal_meanwhile() -> None:
    """A rule without a message says that the step is missed, and that is a decision."""
    text = NOTE.replace("[note via air]}]", "[note via air]}, {name: miss, on: step}]")
    moment = begin(text).take("player step")
    assert moment.take("player step").messages("air") == ["note"]


def test_a_chip_that_does_not_hear_the_signal_is_not_blocked() -> None:
    """Its guard is what decides; a full link alone is no fault."""
    text = NOTE.replace("on: step, send", "on: step, if: lamp.dark, send")
    moment = begin(text).take("player step")
    assert moment.take("player step").messages("air") == ["note"]
