"""What a link does: how much it holds, what becomes of a message that has no room or no link, and
when it is up.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.model.parts import Link
from modecheck.repair.changes import Data, Matters, RepairChange, Value, nested
from modecheck.repair.situation import RepairSituation

LINK = "links"
POLICIES = {
    "drop_old": "drops the oldest message when it is full",
    "drop_new": "drops what finds no room",
    "wait": "makes its sender wait while it is full",
    "error": "must never be full",
}
SHORT_OF_ROOM = ("overflow", "blocked-reaction", "time-stop")
MOST_MORE = 1
"""Places that a link gets in addition."""


def link_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Capacity, policies, ends and conditions of each link."""
    about = " ".join(one.subject for one in at.findings)
    for name, (path, data) in at.written.links.items():
        links = [one for one in at.device.links.values() if _called(one) == name]
        if not links:
            continue
        near = name in about or any(one.name in at.shown.dropped for one in links)
        used = any(one.sender in at.named or one.receiver in at.named for one in links)
        rank = 0.0 if near else 0.8 if used else 2.0
        for extra, keys, words in _changes(at, data, links[0]):
            yield RepairChange(
                LINK, f"{name} {words}", nested(path, keys), frozenset({("", name)}),
                rank=rank + extra, matters=Matters.WHERE_USED,
            )  # fmt: skip


def _called(link: Link) -> str:
    return re.sub(r"\[\d+\]$", "", link.called)


def _changes(at: RepairSituation, data: Data, link: Link) -> Iterator[tuple[float, Data, str]]:
    short = any(one.code in SHORT_OF_ROOM for one in at.findings)
    for more in range(1, MOST_MORE + 1):
        places = link.capacity + more
        yield (0.0 if short else 0.5) + 0.1 * more, {"capacity": places}, f"holds {places} messages"
    for rank, (policy, words) in enumerate(POLICIES.items()):
        if policy != link.when_full:
            yield 0.3 + 0.1 * rank, {"when_full": policy}, words
    down = "drop" if link.when_down == "hold" else "hold"
    told = "loses what waits in it" if down == "drop" else "keeps what waits in it"
    yield 0.3, {"when_down": down}, f"{told} when it goes down"
    if link.order == "any":
        yield 0.5, {"order": "sent"}, "delivers in the order of sending"
    yield from _up(at, data, link)
    yield from _neighbours(data)


def _up(at: RepairSituation, data: Data, link: Link) -> Iterator[tuple[float, Data, str]]:
    """It is up on the opposite condition, or only if its ends are in some state."""
    now = data.get("up_when")
    text = now if isinstance(now, str) else ""
    base = f"({text}) and " if " or " in text else f"{text} and " if text else ""
    if text:
        negated = text[4:] if re.fullmatch(r"not [\w.]+", text) else f"not {text}"
        if not re.fullmatch(r"(not )?[\w.]+", text):
            negated = f"not ({text})"
        yield 0.6, {"up_when": negated}, f"is up if {negated}"
    for end in (link.sender, link.receiver):
        chip = at.device.chips[end]
        for state in chip.states:
            for condition in (f"{end}.{state}", f"not {end}.{state}"):
                both: Value = f"{base}{condition}"
                yield 0.8, {"up_when": both}, f"is up only if {condition}"


def _neighbours(data: Data) -> Iterator[tuple[float, Data, str]]:
    """It leads to another neighbour among copies."""
    for end, words in (("to", "leads to"), ("from", "comes from")):
        text = data.get(end)
        match = (
            re.fullmatch(r"(\w+)\[i\s*([+-])\s*(\d+)\]", text) if isinstance(text, str) else None
        )
        if match is None:
            continue
        step = int(f"{match[2]}{match[3]}")
        for other in (step - 1, step + 1, -step):
            if other:
                changed = f"{match[1]}[i{other:+d}]"
                yield 0.0, {end: changed}, f"{words} {changed}"
