"""What becomes of a message that arrives: taken, ignored, deferred or unhandled."""

from __future__ import annotations

from tests.stepping import begin

HUB = """
device: reception
chips:
  left:
    states: {{here: {{}}}}
    rules: [{{name: send, send: [hello]}}, {{name: bye, send: [goodbye]}}]
  hub:
    states:
      online:
        states: {{linked: {{{inner}}}}}
        {outer}
    {chip}
links: {{up: {{from: left, to: hub, carries: [hello, goodbye], capacity: 2}}}}
"""


def device(*, inner: str = "", outer: str = "about: around", chip: str = "about: hub") -> str:
    return HUB.format(inner=inner, outer=outer, chip=chip)


def test_message_without_an_answer_is_unhandled() -> None:
    """No enabled rule and no word on it: an unspecified reception, by chip, state and message."""
    moment = begin(device()).take("left send")
    assert moment.failure("up to hub, ignored") == "unhandled-message:hub.linked.hello"


def test_rule_whose_guard_fails_is_no_answer() -> None:
    """A rule that is not enabled does not keep a message from being unhandled."""
    moment = begin(device(chip="rules: [{on: hello, if: false}]")).take("left send")
    assert moment.failure("up to hub, ignored") == "unhandled-message:hub.linked.hello"


def test_ignored_message_is_consumed_and_nothing_else_happens() -> None:
    """`ignores` takes the message off its link and changes nothing."""
    moment = begin(device(outer="ignores: [hello]"))
    assert moment.take("left send", "up to hub, ignored") == moment


def test_deferred_message_stays_at_the_head_and_blocks_the_link() -> None:
    """`defers` leaves the message at the head: no step, and what waits behind it waits, too."""
    moment = begin(device(outer="defers: [hello]", chip="ignores: [goodbye]"))
    moment = moment.take("left send", "left bye")
    assert moment.messages("up") == ["hello", "goodbye"]
    assert not [label for label in moment.labels if label.startswith("up")]


def test_innermost_word_wins() -> None:
    """A state inside may ignore what the state around it defers, and the other way round."""
    ignoring = begin(device(inner="ignores: [hello]", outer="defers: [hello]")).take("left send")
    assert ignoring.take("up to hub, ignored").messages("up") == []
    deferring = begin(device(inner="defers: [hello]", outer="ignores: [hello]")).take("left send")
    assert "up to hub, ignored" not in deferring.labels


def test_word_of_the_whole_chip_counts_last() -> None:
    """`ignores` and `defers` of the chip serve where no state has a word of its own."""
    whole = begin(device(chip="ignores: [hello]")).take("left send")
    assert whole.take("up to hub, ignored").messages("up") == []
    inner = begin(device(outer="defers: [hello]", chip="ignores: [hello]")).take("left send")
    assert "up to hub, ignored" not in inner.labels


def test_words_can_be_given_for_states_by_name() -> None:
    """`ignores: {state: [events]}` at the chip is the word of that state."""
    moment = begin(device(chip="ignores: {linked: [hello]}")).take("left send")
    assert moment.take("up to hub, ignored").messages("up") == []


def test_enabled_rule_wins_over_any_word() -> None:
    """Ignoring and deferring are for messages that no rule takes, wherever the rule stands."""
    for word in ("ignores", "defers"):
        text = device(inner=f"{word}: [hello]", chip="rules: [{name: take, on: hello}]")
        assert "up to hub take" in begin(text).take("left send").labels


TWO_LINKS = """
device: two links
chips:
  left: {states: {here: {}}, rules: [{name: send, send: [hello]}]}
  right: {states: {here: {}}, rules: [{name: send, send: [hello]}]}
  hub:
    states: {linked: {}, left_said: {}}
    rules: [{name: take, in: linked, on: hello via left_up, to: left_said}]
    ignores: [hello via right_up]
links:
  left_up: {from: left, to: hub, carries: [hello]}
  right_up: {from: right, to: hub, carries: [hello]}
"""


def test_via_tells_links_apart() -> None:
    """`hello via left_up` is the message from that link only, for rules and for `ignores`."""
    moment = begin(TWO_LINKS).take("left send", "right send")
    assert moment.take("left_up to hub take").at("hub") == "left_said"
    assert moment.take("right_up to hub, ignored").at("hub") == "linked"
    said = moment.take("left_up to hub take", "left send")
    assert said.failure("left_up to hub, ignored") == "unhandled-message:hub.left_said.hello"


def test_messages_arrive_in_the_order_in_which_they_were_sent() -> None:
    """A link is a queue: only its head can be delivered."""
    moment = begin(device(chip="ignores: [hello, goodbye]")).take("left bye", "left send")
    assert moment.messages("up") == ["goodbye", "hello"]
    assert moment.take("up to hub, ignored").messages("up") == ["hello"]
