"""The events of a step that a requirement can name: `sent(hub.hello)`, `delivered(up.hello)`,
`signalled(plug)`.

    sent       a rule sends the message, whatever happens to it then
    accepted   the message is put into its link
    delivered  it reaches its chip, which takes or discards it
    dropped    it is lost: to a fault, a full link, a link that is down, or a power cut
    signalled  a rule signals it
    taken      the chip takes the rule of that name, or any of its branches; or the branch that is
               named behind it

A message is named with a link, or with a chip: the one that sends it or, for `delivered`, the one
that receives it; for `dropped` either.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from modecheck.model.parts import Chip, Link
from modecheck.model.syntax import Call
from modecheck.model.terms import Happens


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What steps are made of: links, chips with their rules, signals.

    Unless it is `whole`, some chip or link could not be read, so a name that is not found may be
    valid.
    """

    links: Mapping[str, Link]
    chips: Mapping[str, Chip]
    signals: frozenset[str]
    whole: bool = True


@dataclass(eq=False)
class UnknownEvent(Exception):
    """The call names nothing: the message, the word that is wrong, and what it could be."""

    message: str
    expected: str = ""
    word: str = ""
    choices: tuple[str, ...] = ()


def event_of(call: Call, around: Surroundings) -> Happens:
    """What a call stands for. Raises `UnknownEvent`."""
    name = call.name
    if call.word == "signalled":
        return _signal(name.text, around)
    if call.word == "taken" and len(name.parts) == 3:
        return _rule(name.parts[0], ".".join(name.parts[1:]), around)
    if len(name.parts) != 2:
        expected = "chip.rule" if call.word == "taken" else "chip.message or link.message"
        raise UnknownEvent(
            f"{call.word}({name.text}) does not name an event", f"{call.word}({expected})"
        )
    owner, member = name.parts
    if call.word == "taken":
        return _rule(owner, member, around)
    return message_event(call.word, owner, member, around)


def _signal(name: str, around: Surroundings) -> Happens:
    if name not in around.signals:
        message = f"unknown signal {name!r}"
        raise UnknownEvent(message, "a signal of some rule", name, _sorted(around.signals))
    return Happens("signalled", "", name)


def _rule(owner: str, member: str, around: Surroundings) -> Happens:
    chip = around.chips.get(owner)
    if chip is None:
        raise UnknownEvent(f"unknown chip {owner!r}", "", owner, tuple(around.chips))
    titles = tuple(dict.fromkeys(name for one in chip.rules for name in (one.whole, one.title)))
    if member not in titles:
        message = f"{owner} has no rule {member!r}"
        raise UnknownEvent(message, "the name of a rule ('name:')", member, titles)
    return Happens("taken", owner, member)


def message_event(word: str, owner: str, member: str, around: Surroundings) -> Happens:
    """What happens to a message of a chip or link. Raises `UnknownEvent`."""
    called = tuple(dict.fromkeys(link.called for link in around.links.values()))
    links = {*called, *around.links}
    if owner not in around.chips and owner not in links:
        known = (*around.chips, *called)
        raise UnknownEvent(f"unknown chip or link {owner!r}", "", owner, known)
    if owner in around.chips and owner in links:
        message = f"{owner!r} is the name of both a chip and a link"
        raise UnknownEvent(message, "different names")
    carried = [message for link in links_of(word, owner, around.links) for message in link.carries]
    if member not in carried:
        does = {"delivered": "receives"}.get(word, "carries" if owner in links else "sends")
        message = f"{owner} never {does} {member!r}"
        expected = "" if carried else f"a chip or link that {does} messages"
        raise UnknownEvent(message, expected, member, tuple(dict.fromkeys(carried)))
    return Happens(word, owner, member)


def links_of(word: str, owner: str, links: Mapping[str, Link]) -> list[Link]:
    """The links that a chip or link stands for in such a call."""
    called = [link for link in links.values() if owner in (link.called, link.name)]
    if called:
        return called
    sending = [link for link in links.values() if link.sender == owner]
    receiving = [link for link in links.values() if link.receiver == owner]
    return {"delivered": receiving, "dropped": sending + receiving}.get(word, sending)


def _sorted(names: frozenset[str]) -> tuple[str, ...]:
    return tuple(sorted(names))
