"""Links: who talks to whom, what is carried, and what can go wrong on the way."""

from __future__ import annotations

import pytest

from modecheck.model.parts import Link, Message
from modecheck.model.values import TRUTH, ValueType, number_type, word_type
from tests.model.folder import Folder

TEXT = """\
device: d
chips:
  hub: {{states: [s], variables: {{ready: bool}}, rules: [{{send: {sent}}}]}}
  tile: {{states: [s], discards: [hello]}}
links:
  down: {{from: hub, to: tile, {more}}}
"""


def link_of(folder: Folder, more: str, sent: str = "hello") -> Link:
    return folder.device(TEXT.format(more=more, sent=sent)).links["down"]


def test_a_link_says_little_by_default(folder: Folder) -> None:
    """One message, inside the housing, always up, and a finding when it is full."""
    link = link_of(folder, "carries: hello")
    assert (link.sender, link.receiver, link.medium, link.capacity) == (
        "hub",
        "tile",
        "internal",
        1,
    )
    assert (link.when_down, link.when_full, link.up_when) == ("drop", "error", None)
    assert not link.loses
    assert not link.duplicates


def test_a_link_says_all_that_it_can(folder: Folder) -> None:
    """Medium, capacity, faults, and what it does when it is down or full."""
    link = link_of(
        folder,
        "carries: [hello, bye], medium: radio, capacity: 16, can: [lose, duplicate], "
        "up_when: hub.ready, when_down: hold, when_full: drop_old, about: the air",
    )
    assert (link.medium, link.capacity, link.loses, link.duplicates) == ("radio", 16, True, True)
    assert (link.when_down, link.when_full, link.up_text) == ("hold", "drop_old", "hub.ready")
    assert list(link.carries) == ["hello", "bye"]


@pytest.mark.parametrize("choice", ["error", "wait", "drop_new", "drop_old"])
def test_a_full_link_does_what_it_is_told(folder: Folder, choice: str) -> None:
    """Four ways, and no other."""
    assert link_of(folder, f"carries: hello, when_full: {choice}").when_full == choice


@pytest.mark.parametrize(
    ("carries", "sent", "kind", "type_"),
    [
        ("hello", "hello", "event", None),
        ("[hello]", "hello", "event", None),
        ("{hello: }", "hello", "event", None),
        ("{hello: state}", "hello", "state", None),
        ("{hello: {kind: state, bool: true}}", "hello(hub.ready)", "state", TRUTH),
        ("{hello: {range: [0, 3]}}", "hello(1)", "event", number_type(0, 3)),
        ("{hello: {one_of: [up, down]}}", "hello(up)", "event", word_type(("up", "down"))),
        ("{hello: {kind: relative, range: [-9, 9]}}", "hello(-1)", "relative", number_type(-9, 9)),
    ],
)
def test_a_message_has_a_kind_and_perhaps_a_value(
    folder: Folder, carries: str, sent: str, kind: str, type_: ValueType | None
) -> None:
    """An edge, the newest picture, or an amount; the value's type is declared like a variable's."""
    message = link_of(folder, f"carries: {carries}", f"'{sent}'").carries["hello"]
    stated = kind != "event"  # here every other kind is said, and so is what the link is there for
    assert message == Message("hello", kind, type_, message.place, payload=stated)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ("carries: []", "a list cannot be used as carries"),
        ("carries: {}", "a mapping cannot be used as carries"),
        ("carries: ~", "an empty value cannot be used as carries"),
        ("carries: [1]", "'1' cannot be the name of a message"),
        ("carries: {1: event}", "'1' cannot be a name in carries"),
        ("carries: [hello, hello]", "'hello' is given twice"),
        ("carries: [[hello]]", "a list cannot be used as a message"),
        ("carries: {hello: [a]}", "a list cannot be used as the message 'hello'"),
        ("carries: {hello: evnt}", "did you mean 'event'?"),
        ("carries: {hello: {kind: relative}}", "has no amount"),
        ("carries: {hello: {kind: relative, bool: true}}", "has no amount"),
        ("carries: {hello: {range: [3, 0]}}", "in the wrong order"),
        ("carries: {hello: {bool: true, range: [0, 1]}}", "'hello' has two types"),
        ("carries: {hello: {start: 3}}", "unknown key 'start' in the message 'hello'"),
        ("carries: hello, capacity: 0", "an integer from 1 to 16"),
        ("carries: hello, capacity: 17", "an integer from 1 to 16"),
        ("carries: hello, capacity: [1]", "a list cannot be used as a capacity"),
        ("carries: hello, medium: [a]", "a list cannot be used as a medium"),
        ("carries: hello, can: [loose]", "did you mean 'lose'?"),
        ("carries: hello, can: {a: b}", "a mapping cannot be used as a fault"),
        ("carries: hello, up_when: hub.redy", "did you mean 'ready'?"),
        ("carries: hello, up_when: [a]", "a list cannot be used as a condition"),
        ("carries: hello, when_down: keep", "one of drop, hold"),
        ("carries: hello, when_full: stop", "one of drop_new, drop_old, error, wait"),
        ("carries: hello, when_full: [a]", "a list cannot be used as when_full"),
        ("carries: hello, delay: [2 ms, 1 ms]", "the latest time is before the earliest"),
        ("carries: hello, frm: hub", "did you mean 'from'?"),
        ("carries: hello, about: {}", "a mapping cannot be used as about"),
    ],
)
def test_links_that_are_none_are_told(folder: Folder, more: str, told: str) -> None:
    """A link with an error is told once: the rules that use it are not blamed for it."""
    assert told in folder.error(TEXT.format(more=more, sent="hello"))


@pytest.mark.parametrize(
    ("link", "told"),
    [
        ("{from: hbu, to: tile, carries: [hello]}", "did you mean 'hub'?"),
        ("{from: [hub], to: tile, carries: [hello]}", "a list cannot be used as from"),
        ("{from: hub, carries: [hello]}", "the link 'down' lacks 'to'"),
        ("{from: , to: tile, carries: [hello]}", "an empty value cannot be used as from"),
        ("{from: hub, to: hub, carries: [hello]}", "the link leads from hub to itself"),
        ("[a]", "a list cannot be used as the link 'down'"),
        ("~", "an empty value cannot be used as the link 'down'"),
    ],
)
def test_a_link_has_two_ends(folder: Folder, link: str, told: str) -> None:
    """Both are chips of the device, and one of them sends."""
    text = TEXT.format(more="carries: hello", sent="hello via down")
    head, _, _ = text.partition("{from")
    assert told in folder.error(f"{head}{link}\n")
