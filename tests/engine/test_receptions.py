"""What becomes of a message that arrives: taken, discarded, deferred or unspecified."""

from __future__ import annotations

from tests.stepping import begin

HUB = """
device: reception
chips:
  front:
    states: {{here: {{}}}}
    rules: [{{name: send, send: [hello]}}, {{name: bye, send: [goodbye]}}]
  hub:
    states:
      online:
        states: {{linked: {{{inner}}}}}
        {outer}
    {chip}
links: {{up: {{from: front, to: hub, carries: [hello, goodbye], capacity: 2}}}}
"""


def device(*, inner: str = "", outer: str = "about: around", chip: str = "about: hub") -> str:
    return HUB.format(inner=inner, outer=outer, chip=chip)


def test_message_without_an_answer_is_unspecified() -> None:
    """No enabled rule and no word on it: an unspecified reception, by chip, state and message."""
    moment = begin(device()).take("front send")
    assert moment.failure("up to hub, discarded") == "unspecified-reception:hub.linked.hello"


def test_rule_whose_guard_fails_is_no_answer() -> None:
    """A rule that is not enabled does not keep a message from being unspecified."""
    moment = begin(device(chip="rules: [{on: hello, if: false}]")).take("front send")
    assert moment.failure("up to hub, discarded") == "unspecified-reception:hub.linked.hello"


def test_discarded_message_is_consumed_and_nothing_else_happens() -> None:
    """`discards` takes the message off its link and changes nothing."""
    moment = begin(device(outer="discards: [hello]"))
    assert moment.take("front send", "up to hub, discarded") == moment


def test_deferred_message_stays_at_the_head_and_blocks_the_link() -> None:
    """`defers` leaves the message at the head: no step, and what waits behind it waits, too."""
    moment = begin(device(outer="defers: [hello]", chip="discards: [goodbye]"))
    moment = moment.take("front send", "front bye")
    assert moment.messages("up") == ["hello", "goodbye"]
    assert not [label for label in moment.labels if label.startswith("up")]


def test_innermost_word_wins() -> None:
    """A state inside may discard what the state around it defers, and the other way round."""
    discarding = begin(device(inner="discards: [hello]", outer="defers: [hello]")).take(
        "front send"
    )
    assert discarding.take("up to hub, discarded").messages("up") == []
    deferring = begin(device(inner="defers: [hello]", outer="discards: [hello]")).take("front send")
    assert "up to hub, discarded" not in deferring.labels


def test_word_of_the_whole_chip_counts_last() -> None:
    """`discards` and `defers` of the chip serve where no state has a word of its own."""
    whole = begin(device(chip="discards: [hello]")).take("front send")
    assert whole.take("up to hub, discarded").messages("up") == []
    inner = begin(device(outer="defers: [hello]", chip="discards: [hello]")).take("front send")
    assert "up to hub, discarded" not in inner.labels


def test_words_can_be_given_for_states_by_name() -> None:
    """`discards: {state: [events]}` at the chip is the word of that state."""
    moment = begin(device(chip="discards: {linked: [hello]}")).take("front send")
    assert moment.take("up to hub, discarded").messages("up") == []


def test_enabled_rule_wins_over_any_word() -> None:
    """Discarding and deferring are for messages that no rule takes, wherever the rule stands."""
    for word in ("discards", "defers"):
        text = device(inner=f"{word}: [hello]", chip="rules: [{name: take, on: hello}]")
        assert "up to hub take" in begin(text).take("front send").labels


TWO_LINKS = """
device: two links
chips:
  front: {states: {here: {}}, rules: [{name: send, send: [hello]}]}
  rear: {states: {here: {}}, rules: [{name: send, send: [hello]}]}
  hub:
    states: {linked: {}, front_said: {}}
    rules: [{name: take, in: linked, on: hello via front_up, to: front_said}]
    discards: [hello via rear_up]
links:
  front_up: {from: front, to: hub, carries: [hello]}
  rear_up: {from: rear, to: hub, carries: [hello]}
"""


def test_via_tells_links_apart() -> None:
    """`hello via front_up` is the message from that link only, for rules and for `discards`."""
    moment = begin(TWO_LINKS).take("front send", "rear send")
    assert moment.take("front_up to hub take").at("hub") == "front_said"
    assert moment.take("rear_up to hub, discarded").at("hub") == "linked"
    said = moment.take("front_up to hub take", "front send")
    assert (
        said.failure("front_up to hub, discarded") == "unspecified-reception:hub.front_said.hello"
    )


def test_messages_arrive_in_the_order_in_which_they_were_sent() -> None:
    """A link is a queue: only its head can be delivered."""
    moment = begin(device(chip="discards: [hello, goodbye]")).take("front bye", "front send")
    assert moment.messages("up") == ["goodbye", "hello"]
    assert moment.take("up to hub, discarded").messages("up") == ["hello"]
