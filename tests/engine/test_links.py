"""Links: capacity, what a full one does, when one is up, and what happens to it when it is not."""

from __future__ import annotations

import pytest

from modecheck.engine.reference.happenings import Dropped
from tests.stepping import Moment, begin

DEVICE = """
device: link
chips:
  front:
    states: {{idle: {{}}}}
    rules:
      - {{name: ping, send: [ping]}}
      - {{name: pong, send: [pong]}}
      - {{name: two, send: [ping, pong]}}
  hub: {{states: {{idle: {{}}}}, rules: [{{name: take, on: [ping, pong]}}]}}
actors:
  player:
    states: {{near: {{}}, far: {{}}}}
    rules: [{{name: leave, in: near, to: far}}, {{name: come, in: far, to: near}}]
links: {{up: {{from: front, to: hub, carries: [ping, pong], {}}}}}
"""


def link(settings: str) -> Moment:
    return begin(DEVICE.format(settings))


def dropped(moment: Moment, label: str) -> list[str]:
    """What is dropped in a step, and why."""
    messages = moment.product.queues[0].messages
    happenings = moment.step(label).happenings
    return [f"{messages[h.message - 1].name} {h.why}" for h in happenings if isinstance(h, Dropped)]


@pytest.mark.parametrize("capacity", [1, 2, 3, 16])
def test_link_takes_as_many_messages_as_its_capacity(capacity: int) -> None:
    """A full link overflows by default, and not one message earlier: `when_full: error`."""
    moment = link(f"capacity: {capacity}")
    for _ in range(capacity):
        moment = moment.take("front ping")
    assert len(moment.waiting("up")) == capacity
    assert moment.failure("front ping") == "overflow:up.ping"


def test_capacity_is_one_unless_said_otherwise() -> None:
    """A link holds one message by default."""
    assert link("medium: radio").take("front ping").failure("front pong") == "overflow:up.pong"


def test_full_link_that_waits_keeps_the_senders_rule_from_being_enabled() -> None:
    """`when_full: wait`: no step of the sender until there is room."""
    full = link("when_full: wait").take("front ping")
    assert "front pong" not in full.labels
    assert "front pong" in full.take("up to hub take").labels


def test_waiting_sender_needs_room_for_all_that_its_rule_sends() -> None:
    """A rule that sends two edges waits for two places."""
    assert "front two" not in link("capacity: 1, when_full: wait").labels
    roomy = link("capacity: 2, when_full: wait")
    assert roomy.take("front two").messages("up") == ["ping", "pong"]
    assert "front two" not in roomy.take("front ping").labels


def test_full_link_may_drop_the_new_message() -> None:
    """`when_full: drop_new` keeps what waits."""
    full = link("capacity: 2, when_full: drop_new").take("front ping", "front ping")
    assert dropped(full, "front pong") == ["pong full"]
    assert full.take("front pong").messages("up") == ["ping", "ping"]


def test_full_link_may_drop_the_oldest_message() -> None:
    """`when_full: drop_old` makes room at the head."""
    full = link("capacity: 2, when_full: drop_old").take("front ping", "front pong")
    assert dropped(full, "front pong") == ["ping full"]
    assert full.take("front pong").messages("up") == ["pong", "pong"]


def test_link_that_is_down_delivers_nothing() -> None:
    """A message waits out of reach while `up_when` is false, if the link holds."""
    away = link("up_when: player.near, when_down: hold").take("front ping", "player leave")
    assert away.messages("up") == ["ping"]
    assert "up to hub take" not in away.labels
    assert "up to hub take" in away.take("player come").labels


def test_link_that_is_down_accepts_nothing() -> None:
    """What is sent into a link that is down is dropped, be it that it holds or drops."""
    for manner in ("hold", "drop"):
        away = link(f"up_when: player.near, when_down: {manner}").take("player leave")
        assert dropped(away, "front ping") == ["ping down"]
        assert away.take("front ping").messages("up") == []


def test_link_that_goes_down_is_emptied() -> None:
    """`when_down: drop` is the default: what waits is gone."""
    moment = link("capacity: 2, up_when: player.near").take("front ping", "front pong")
    assert dropped(moment, "player leave") == ["ping down", "pong down"]
    assert moment.take("player leave").messages("up") == []


JUDGED = """
device: judged after the step
chips:
  front:
    variables: {powered: {bool: true, start: %s}}
    states: {idle: {}}
    rules: [{name: go, send: [hello], do: [powered = not powered], signal: %s}]
  hub:
    variables: {listens: {bool: true, start: true}}
    states: {idle: {}}
    rules: [{name: deaf, on: turn_off, do: [listens = false]}]
    discards: [hello]
actors:
  player: {states: {here: {}}, rules: [{if: false, signal: [turn_off]}]}
links: {up: {from: front, to: hub, carries: [hello], up_when: front.powered and hub.listens}}
"""


def test_sending_is_judged_after_the_senders_own_assignments() -> None:
    """A chip that switches its transmitter on in a rule can send in that rule; off, it cannot."""
    assert begin(JUDGED % ("false", "[]")).take("front go").messages("up") == ["hello"]
    assert begin(JUDGED % ("true", "[]")).take("front go").messages("up") == []


def test_sending_is_judged_after_what_others_do_in_the_step() -> None:
    """Whether a link takes a message is judged after all who hear the step's signals."""
    assert begin(JUDGED % ("false", "[turn_off]")).take("front go").messages("up") == []


def test_overflow_is_judged_where_the_link_is_up() -> None:
    """A full link that is down drops a message and does not overflow."""
    full = link("up_when: player.near, when_down: hold").take("front ping", "player leave")
    assert dropped(full, "front ping") == ["ping down"]


def test_messages_of_one_rule_are_queued_in_order() -> None:
    """The sends of a rule keep their order in a link."""
    assert link("capacity: 2").take("front two").messages("up") == ["ping", "pong"]


def test_delivery_makes_room_before_the_rule_sends() -> None:
    """A delivery takes the head off first, so that an answer finds its place free."""
    moment = begin("""
        device: loop
        chips:
          one: {states: {idle: {}}, rules: [{name: start, in: idle, send: [ball]}]}
          two: {states: {idle: {}}, rules: [{name: back, on: ball, send: [ball]}]}
        links:
          there: {from: one, to: two, carries: [ball]}
          back: {from: two, to: one, carries: [ball], when_full: wait}
    """).take("one start", "there to two back")
    assert (moment.messages("there"), moment.messages("back")) == ([], ["ball"])
