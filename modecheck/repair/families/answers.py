"""What a chip does with a message or a signal that it has no rule for: an answer as it gives it
elsewhere, to discard it, to defer it, or to take notice of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from modecheck.model.copies import unnumbered
from modecheck.model.parts import Chip
from modecheck.repair.changes import Data, RepairChange, Value
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenChip, texts

ANSWER, REPLY = "answers", "replies"


def reply_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """A message that arrived where nothing is said about it is discarded, or deferred."""
    for finding in at.findings:
        if finding.code != "unspecified-reception":
            continue
        chip, state, message = finding.subject.rsplit(".", 2)
        entry = at.written.chips.get(unnumbered(chip))
        if entry is not None:
            yield from _replies(at, entry, state, message)
    for entry in at.entries:
        yield from _fewer_replies(at, entry)


def _replies(
    at: RepairSituation, chip: WrittenChip, state: str, message: str
) -> Iterator[RepairChange]:
    chips = at.written.alike(chip.name)
    for manner, verb in (("discards", "discards"), ("defers", "defers")):
        now = chip.body.get(manner)
        inside = texts(chip.body_of(state).get(manner))
        value: Value = [*inside, message]
        path = (*chip.states.get(state, ()), manner)
        if not chip.states.get(state) or isinstance(chip.body.get("states"), list):
            path, value = (manner,), _with(now, state, message)
        elif isinstance(now, dict):
            path, value = (manner, state), [*texts(now.get(state)), message]
        yield RepairChange(
            REPLY,
            f"{' and '.join(chips)}: in {state}, it {verb} {message}",
            at.written.on_chip(chip.name, path, value, all_alike=True),
            frozenset((one, "") for one in chips),
            rank=0.0 if manner == "discards" else 0.1,
        )


def _with(now: Value, state: str, message: str) -> Value:
    """The replies of a chip whose states are a list, with one more."""
    if now is None:
        return {state: [message]}
    if isinstance(now, dict):
        return {state: [*texts(now.get(state)), message]}
    return [*texts(now), message]


def _fewer_replies(at: RepairSituation, chip: WrittenChip) -> Iterator[RepairChange]:
    """Nothing is discarded in a state any more, so that a rule has to be found for it."""
    places = [((), chip.body), *((path, chip.body_of(s)) for s, path in chip.states.items())]
    for path, body in places:
        for manner in ("discards", "defers"):
            if body.get(manner) is not None:
                where = f" in {path[-1]}" if path else ""
                yield RepairChange(
                    REPLY,
                    f"{chip.name}: it {manner} nothing{where}",
                    at.written.on_chip(chip.name, (*path, manner), None, all_alike=True),
                    frozenset({(chip.name, "")}),
                    rank=4.0,
                )


def answer_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """A new rule for an event that a chip can hear but has no rule for in some state."""
    for finding in at.findings:
        if finding.code == "unspecified-reception":
            name, state, message = finding.subject.rsplit(".", 2)
            entry = at.written.chips.get(unnumbered(name))
            if entry is not None and entry.section == "chips":
                yield from _leading_on(at, entry, state, message)
    for chip in at.entries:
        model = at.chips_of(chip.name)[0]
        yield from _forgetting(at, chip, model)
        yield from _too_late(at, chip, model)
        for signal in sorted(_signals(at, chip)):
            yield from _noticing(at, chip, model, signal)


def _leading_on(
    at: RepairSituation, chip: WrittenChip, state: str, message: str
) -> Iterator[RepairChange]:
    """A message leads out of the state in which it arrives: first to where other rules lead."""
    leaving = [one.data.get("to") for one in chip.rules if state in one.words("in")]
    known = [one for one in dict.fromkeys(leaving) if isinstance(one, str)]
    others = [one for one in chip.states if one not in known]
    for number, target in enumerate([*known, *others]):
        if target != state:
            data: Data = {"in": state, "on": message, "to": target}
            words = f"in {state}, {message} leads to {target}"
            rank = (0.2 if target in known else 0.6) + 0.1 * number
            yield at.new_rule(ANSWER, chip, data, words, rank=rank)


def _signals(at: RepairSituation, chip: WrittenChip) -> set[str]:
    """The signals that scenarios give or that the chip hears in some state."""
    heard = {word for rule in chip.rules for word in rule.words("on")}
    given = {signal for moment in at.moments for signal in moment.rule.signals}
    return {one for one in at.device.signals if one in heard or one in given}


def _noticing(
    at: RepairSituation, chip: WrittenChip, model: Chip, signal: str
) -> Iterator[RepairChange]:
    """It answers in one more state: stays there, which starts its timers again, or leads on."""
    known = [rule for rule in chip.rules if signal in rule.words("on")]
    if any(not rule.words("in") and not rule.inside for rule in known):
        return
    heard = {leaf for rule in known for s in rule.words("in") for leaf in _leaves(model, s)}
    timed = {s for rule in chip.rules if "after" in rule.data for s in rule.words("in")}
    for state in chip.states:
        if heard.issuperset(_leaves(model, state)):
            continue
        leaves = _leaves(model, state)
        here = any((model.name, leaf, signal) in at.shown.heard for leaf in leaves)
        stuck = any((model.name, leaf) in at.stuck for leaf in leaves)
        for target in chip.states:
            near = 0.0 if target == state and state in timed else 0.5
            data: Data = {"in": state, "on": signal, "to": target}
            words = f"in {state}, {signal} leads to {target}"
            if target == state:
                words = f"in {state}, {signal} starts its timers again"
            rank = near + (0.0 if here else 1.5 if stuck else 3.0)
            yield at.new_rule(ANSWER, chip, data, words, rank=rank)


def _leaves(model: Chip, state: str) -> tuple[str, ...]:
    return model.states[state].leaves if state in model.states else (state,)


def _forgetting(at: RepairSituation, chip: WrittenChip, model: Chip) -> Iterator[RepairChange]:
    """An end of a pairing forgets on an event that ends the pairing."""
    for pairing in at.device.pairings.values():
        for end in pairing.ends:
            if end.chip != model.name or end.item is not None:
                continue
            for event in pairing.forgotten_by:
                known = [rule for rule in chip.rules if event in rule.words("on")]
                if not known:
                    data: Data = {"on": event, "do": [f"{end.variable} = none"]}
                    words = f"{event} makes it forget: {end.variable} = none"
                    one = at.new_rule(ANSWER, chip, data, words)
                    yield replace(one, rank=0.0)


def _too_late(at: RepairSituation, chip: WrittenChip, model: Chip) -> Iterator[RepairChange]:
    """What was sent in an older session of a link is skipped."""
    held = {link.name for link in at.device.links.values() if link.when_down == "hold"}
    for link in at.device.links.values():
        if link.receiver != model.name or link.name not in held:
            continue
        for message in link.carries:
            data: Data = {"on": message, "if": "late", "priority": 1}
            words = f"it skips a {message} that was sent in an older session"
            yield at.new_rule(ANSWER, chip, data, words, rank=0.0)
