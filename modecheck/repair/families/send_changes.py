"""What a rule sends and signals, over which link, and what it still would have to."""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.model.copies import unnumbered
from modecheck.model.parts import Link
from modecheck.repair.changes import Data, RepairChange, Value
from modecheck.repair.families.carried_values import with_other_values
from modecheck.repair.situation import RepairSituation, listed
from modecheck.repair.written import WrittenChip, WrittenRule

SEND = "sends"
VIA = re.compile(r"(.*\bvia\s+)([^\W\d]\w*)(\[[^\]]*\])?\s*")


def send_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """A message more, one less, another link, or another message."""
    awaited = set(awaited_messages(at))
    for chip, rule in at.rules():
        if "choose" not in rule.data:
            yield from _more(at, chip, rule, awaited)
            yield from _less(at, rule)
            yield from _elsewhere(at, rule)
            yield from _instead(at, rule)


def awaited_messages(at: RepairSituation) -> Iterator[tuple[str, str]]:
    """The messages that chips wait for at the end of a scenario: each with who could send it."""
    for name, leaves in at.waiting.items():
        chip = at.device.chips[name]
        for rule in chip.rules:
            here = {x for source in rule.sources for x in chip.states[source].leaves}
            if rule.trigger and (not rule.sources or here & leaves):
                yield from _senders(at, name, {event.name for event in rule.trigger})


def _senders(at: RepairSituation, receiver: str, messages: set[str]) -> Iterator[tuple[str, str]]:
    for link in at.device.links.values():
        if link.receiver == receiver:
            yield from ((link.sender, message) for message in messages & set(link.carries))


def _more(
    at: RepairSituation, chip: WrittenChip, rule: WrittenRule, awaited: set[tuple[str, str]]
) -> Iterator[RepairChange]:
    """A message that another rule of the chip sends, with its value or another one, or that
    somebody waits for.
    """
    for key, verb in (("send", "sends"), ("signal", "signals")):
        now = rule.words(key)
        sent = [text for other in chip.rules for text in other.words(key)]
        for text in dict.fromkeys(sent):
            if text not in now:
                rank = 0.0 if _is_awaited(at, rule, text, awaited) else 0.7
                rank += 0.0 if not now else 1.0
                for less, one in enumerate((text, *with_other_values(at, rule, text))):
                    words = f"{rule.name} also {verb} {one}"
                    data: Data = {key: [*now, one]}
                    yield at.change_rule(SEND, rule, data, words, rank=rank + 0.1 * less)
    now = rule.words("send")
    for text in _unsent(at, rule, awaited):
        words = f"{rule.name} also sends {text}"
        yield at.change_rule(SEND, rule, {"send": [*now, text]}, words, all_alike=False)


def _is_awaited(
    at: RepairSituation, rule: WrittenRule, text: str, awaited: set[tuple[str, str]]
) -> bool:
    message = message_in(text)
    return any((chip.name, message) in awaited for chip in at.chips_of(rule.chip))


def _unsent(at: RepairSituation, rule: WrittenRule, awaited: set[tuple[str, str]]) -> Iterator[str]:
    """Messages without a value that somebody waits for, over links on which the chip never sends
    them.
    """
    model = at.chip_of(rule)
    sent = {(send.message, send.link) for one in model.rules for send in one.sends}
    for sender, message in sorted(awaited):
        for link in at.device.links.values():
            carried = link.carries.get(message) if link.sender == model.name == sender else None
            if carried and carried.type is None and (message, link.name) not in sent:
                yield f"{message} via {unnumbered(link.called)}"


def _less(at: RepairSituation, rule: WrittenRule) -> Iterator[RepairChange]:
    for key, verb in (("send", "send"), ("signal", "signal")):
        texts = rule.words(key)
        for text in texts:
            left: Value = [one for one in texts if one != text] or None
            words = f"{rule.name} does not {verb} {text}"
            yield at.change_rule(SEND, rule, {key: left}, words, rank=1.0)


def _elsewhere(at: RepairSituation, rule: WrittenRule) -> Iterator[RepairChange]:
    """Over another link of the chip that carries it, or that of the copy that the rule is for."""
    texts = rule.words("send")
    for number, text in enumerate(texts):
        match = VIA.fullmatch(text)
        if match is None:
            continue
        others = [one for one in _links_for(at, rule, message_in(text)) if one != match[2]]
        for link in [match[2], *others] if match[3] else others:
            changed: list[Value] = [*texts]
            changed[number] = f"{match[1]}{link}"
            words = f"{rule.name} sends {listed(changed[number])}"
            rank = 0.2 if link == match[2] else 0.4
            yield at.change_rule(SEND, rule, {"send": changed}, words, rank=rank)


def _links_for(at: RepairSituation, rule: WrittenRule, message: str) -> list[str]:
    """The links, as they are written, over which the chip can send a message."""
    names = {chip.name for chip in at.chips_of(rule.chip)}
    links = [one for one in at.device.links.values() if one.sender in names]
    return list(dict.fromkeys(unnumbered(one.called) for one in links if message in one.carries))


def message_in(text: str) -> str:
    """The message of a text such as `picture(foot) via cord`."""
    return re.split(r"[\s(]", text.strip(), maxsplit=1)[0]


def _instead(at: RepairSituation, rule: WrittenRule) -> Iterator[RepairChange]:
    """Another message in place of one, with the same value, over the same link."""
    for number, text in enumerate(texts := rule.words("send")):
        old = message_in(text)
        for link in _links_of(at, rule, old, text):
            now = link.carries[old].type
            others = [m for m, one in link.carries.items() if m != old and one.type == now]
            for other in others:
                changed: list[Value] = [*texts]
                changed[number] = f"{other}{text.strip().removeprefix(old)}"
                words = f"{rule.name} sends {other}, not {old}"
                yield at.change_rule(SEND, rule, {"send": changed}, words, rank=0.5)


def _links_of(at: RepairSituation, rule: WrittenRule, message: str, text: str) -> list[Link]:
    """The link over which a text is sent: that of one copy, if the rule is written for several."""
    sends = (send for one in at.model_rules(rule) for send in one.sends)
    found = (at.device.links[one.link] for one in sends if one.message == message)
    via = VIA.fullmatch(text)
    return [one for one in found if via is None or unnumbered(one.called) == via[2]][:1]
