"""What a rule sends and signals, over which link, and what it still would have to."""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.model.copies import unnumbered
from modecheck.repair.changes import RepairChange, Value
from modecheck.repair.situation import RepairSituation, listed
from modecheck.repair.written import WrittenChip, WrittenRule

SEND = "sends"
VIA = re.compile(r"(.*\bvia\s+)([^\W\d]\w*)(\[[^\]]*\])?\s*")


def send_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """A message more, one less, or another link."""
    awaited = set(awaited_messages(at))
    for chip, rule in at.rules():
        if "choose" not in rule.data:
            yield from _more(at, chip, rule, awaited)
            yield from _less(at, rule)
            yield from _elsewhere(at, rule)


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
    """A message that another rule of the chip sends, or that somebody waits for."""
    for key, verb in (("send", "sends"), ("signal", "signals")):
        now = rule.words(key)
        sent = [text for other in chip.rules for text in other.words(key)]
        for text in dict.fromkeys(sent):
            if text not in now:
                rank = 0.0 if _is_awaited(at, rule, text, awaited) else 0.7
                rank += 0.0 if not now else 1.0
                yield at.change_rule(
                    SEND, rule, {key: [*now, text]}, f"{rule.name} also {verb} {text}", rank=rank
                )
    now = rule.words("send")
    for text in _unsent(at, chip, rule, awaited):
        words = f"{rule.name} also sends {text}"
        yield at.change_rule(SEND, rule, {"send": [*now, text]}, words, all_alike=False)


def _is_awaited(
    at: RepairSituation, rule: WrittenRule, text: str, awaited: set[tuple[str, str]]
) -> bool:
    message = re.split(r"[\s(]", text, maxsplit=1)[0]
    return any((chip.name, message) in awaited for chip in at.chips_of(rule.chip))


def _unsent(
    at: RepairSituation, chip: WrittenChip, rule: WrittenRule, awaited: set[tuple[str, str]]
) -> Iterator[str]:
    """Messages without a value that somebody waits for and that the chip never sends."""
    texts = " ".join(text for other in chip.rules for text in other.words("send"))
    own = at.chip_of(rule).name
    for sender, message in sorted(awaited):
        links = [
            link
            for link in at.device.links.values()
            if link.sender == own == sender and message in link.carries
        ]
        for link in links if not re.search(rf"\b{message}\b", texts) else ():
            if link.carries[message].type is None:
                yield f"{message} via {unnumbered(link.called)}"


def _less(at: RepairSituation, rule: WrittenRule) -> Iterator[RepairChange]:
    for key, verb in (("send", "send"), ("signal", "signal")):
        texts = rule.words(key)
        for text in texts:
            left: Value = [one for one in texts if one != text] or None
            words = f"{rule.name} does not {verb} {text}"
            yield at.change_rule(SEND, rule, {key: left}, words, rank=1.0)


def _elsewhere(at: RepairSituation, rule: WrittenRule) -> Iterator[RepairChange]:
    """Over another link of the chip, or that of the copy that the rule is written for."""
    texts = rule.words("send")
    for number, text in enumerate(texts):
        match = VIA.fullmatch(text)
        if match is None:
            continue
        others = [name for name in at.written.links if name != match[2]]
        for link in [match[2], *others] if match[3] else others:
            changed: list[Value] = [*texts]
            changed[number] = f"{match[1]}{link}"
            words = f"{rule.name} sends {listed(changed[number])}"
            rank = 0.2 if link == match[2] else 2.0
            yield at.change_rule(SEND, rule, {"send": changed}, words, rank=rank)
