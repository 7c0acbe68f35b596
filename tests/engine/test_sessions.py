"""Sessions: what was sent in the old one and arrives in the new is late."""

from __future__ import annotations

from tests.stepping import Moment, begin

DEVICE = """
device: sessions
chips:
  front:
    states: {{idle: {{}}}}
    rules: [{{name: send, send: [{send}]}}]
  hub:
    variables: {{was_late: bool}}
    states: {{idle: {{}}}}
    rules: [{{name: take, on: hello, do: [{do}]}}]
actors:
  player:
    states: {{near: {{}}, far: {{}}}}
    rules: [{{name: leave, in: near, to: far}}, {{name: come, in: far, to: near}}]
links:
  up:
    from: front
    to: hub
    carries: {{hello: {carries}}}
    capacity: 2
    up_when: player.near
    when_down: hold
faults:
  power_cut: {{chips: [front]}}
  reset: {{chips: [hub]}}
"""


def device(send: str = "hello", carries: str = "event", do: str = "was_late = late") -> Moment:
    return begin(DEVICE.format(send=send, carries=carries, do=do))


def late(moment: Moment) -> list[bool]:
    return [waiting.late for waiting in moment.waiting("up")]


def test_message_of_the_running_session_is_not_late() -> None:
    """What is delivered in the session in which it was sent is on time."""
    moment = device().take("front send", "up to hub take")
    assert moment.value("hub.was_late") == 0


def test_what_waits_when_the_sender_loses_power_becomes_late() -> None:
    """A power cut begins a new session of the links out of the chip."""
    moment = device().take("front send", "front power_cut")
    assert late(moment) == [True]
    assert moment.take("up to hub take").value("hub.was_late") == 1


def test_what_is_sent_in_the_new_session_is_not_late() -> None:
    """Only what was sent in the old session is late; the order of arrival stays."""
    moment = device().take("front send", "front power_cut", "front send")
    assert late(moment) == [True, False]
    first = moment.take("up to hub take")
    assert first.value("hub.was_late") == 1
    assert first.take("up to hub take").value("hub.was_late") == 0


def test_link_that_holds_while_it_is_down_begins_a_new_session() -> None:
    """What a link held while it was down is late when it is up again."""
    moment = device().take("front send", "player leave")
    assert late(moment) == [True]
    assert moment.take("player come", "up to hub take").value("hub.was_late") == 1


def test_receivers_power_cut_empties_its_queue() -> None:
    """What waits for a chip that falls back is gone, not late."""
    assert device().take("front send", "hub reset").messages("up") == []


def test_newer_picture_belongs_to_the_new_session() -> None:
    """A picture that replaces a late one is on time."""
    moment = device("hello(true)", "{kind: state, bool: true}")
    moment = moment.take("front send", "front power_cut", "front send")
    assert late(moment) == [False]


def test_sum_with_a_late_part_is_late() -> None:
    """An amount that adds to a late one keeps the mark: a part of it is of the old session."""
    moment = device("hello(1)", "{kind: relative, range: [0, 3]}")
    moment = moment.take("front send", "front power_cut", "front send")
    assert [(one.value, one.late) for one in moment.waiting("up")] == [(2, True)]


def test_asking_for_lateness_does_not_change_what_merges() -> None:
    """Whether any rule asks if a message is late makes no difference to queues."""
    for carries in ("{kind: state, bool: true}", "{kind: relative, range: [0, 3]}"):
        send = "hello(true)" if "bool" in carries else "hello(1)"
        for do in ("was_late = late", "was_late = false"):
            moment = device(send, carries, do).take("front send", "front power_cut", "front send")
            assert moment.messages("up") == ["hello"]


def test_lateness_that_is_asked_for_in_an_index_is_kept() -> None:
    """A rule that asks only in the index of what it writes asks all the same."""
    moment = begin("""
        device: index
        chips:
          front: {states: {idle: {}}, rules: [{name: send, send: [hello]}]}
          hub:
            variables: {seen: {bool: true, list: 2}}
            states: {idle: {}}
            rules: [{name: take, on: hello, do: ["seen[1 if late else 0] = true"]}]
        links: {up: {from: front, to: hub, carries: [hello]}}
        faults: {reset: {chips: [front]}}
    """).take("front send", "front reset", "up to hub take")
    assert moment.items("hub.seen") == (0, 1)


def test_doubled_message_is_as_late_as_its_original() -> None:
    """A copy belongs to the session of what was copied."""
    text = DEVICE.format(send="hello", carries="event", do="was_late = late")
    moment = begin(text + "  duplicate: {links: [up]}\n").take("front send", "front power_cut")
    assert late(moment.take("up duplicate")) == [True, True]
