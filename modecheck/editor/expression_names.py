"""The names that can go on an expression that is being written, from what stands before them.

What stands there is read token by token, since an unfinished expression has no tree.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from modecheck.editor.device_names import ChipNames, LinkNames
from modecheck.editor.expression_words import FUNCTIONS, IS, TOKEN, WORD
from modecheck.editor.scenes import Scene, written_forms
from modecheck.editor.tree_parts import is_bond, is_truth, node_about, texts_in
from modecheck.model.copies import OWN_NUMBER
from modecheck.model.syntax import EVENT_WORDS, KEYWORDS

if TYPE_CHECKING:
    from modecheck.editor.slots import ModelSlot

OPEN_BRACE = re.compile(rf"(?:{WORD})?\{{\w*$")
"""The word that is being written, if the name of a parameter is not closed in it."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Something that can be written: `text` is what is inserted, if that is not the label."""

    label: str
    kind: str
    about: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class _Place:
    """The chips whose rules the expression belongs to (none for the device's own), and the tokens
    before the word that is being written.
    """

    scene: Scene
    slot: ModelSlot
    chips: list[ChipNames]
    before: list[str]


def expression_names(scene: Scene, slot: ModelSlot, kind: str, text: str) -> Iterator[Suggestion]:
    """What can follow `text`, which ends with the word that is being written; `kind` is the kind
    of the expression, "condition", "assignment" or "send".
    """
    text = OPEN_BRACE.sub("", text)
    tokens = _without_copies([match[0] for match in TOKEN.finditer(text)])
    if tokens and re.fullmatch(WORD, tokens[-1]) and not text[-1:].isspace():
        tokens.pop()
    place = _Place(scene, slot, scene.chips_at(slot), tokens)
    if kind == "send":
        yield from _of_send(place)
    elif kind == "assignment" and not {"=", "+=", "-="} & set(tokens):
        yield from _variables(place.chips)
    else:
        yield from _of_condition(place)


def _without_copies(tokens: list[str]) -> list[str]:
    """The tokens without the numbers of copies: `tile[2].bond` has the members of `tile`."""
    found: list[str] = []
    for one in tokens:
        if one == "." and found[-1:] == ["]"] and "[" in found:
            del found[_last(found, "[") :]
        found.append(one)
    return found


def _of_send(place: _Place) -> Iterator[Suggestion]:
    before = place.before
    if before[-1:] == ["via"]:
        yield from links_of(place.scene, place.chips, before[0], outgoing=True)
    elif "(" in before and ")" not in before:
        yield from _of_condition(place)
    elif not before:
        for link in _links(place, outgoing=True):
            about = f"over {link.name} to {', '.join(link.receivers)}"
            for message in link.carries:
                yield Suggestion(message, "message", about, f"{message} via {link.name}")
        yield from messages_of(place.scene, place.chips, outgoing=True)
    else:
        yield Suggestion("via", "keyword", "the link that carries the message")


def _links(place: _Place, *, outgoing: bool) -> list[LinkNames]:
    """The links of a chip that has its text for itself."""
    if len(place.chips) != 1 or place.chips[0].parameters:
        return []
    names, name = place.scene.names, place.chips[0].name
    return names.outgoing(name) if outgoing else names.incoming(name)


def messages_of(scene: Scene, chips: list[ChipNames], *, outgoing: bool) -> Iterator[Suggestion]:
    """The messages that links carry from these chips, or to them."""
    names = scene.names
    per_chip = []
    for chip in chips:
        links = names.outgoing(chip.name) if outgoing else names.incoming(chip.name)
        per_chip.append((chip, {message for link in links for message in link.carries}))
    for form in written_forms(per_chip):
        yield Suggestion(form, "message", "a message that a link of this chip carries")


def links_of(
    scene: Scene, chips: list[ChipNames], message: str, *, outgoing: bool
) -> Iterator[Suggestion]:
    """The links over which these chips can send a message, or get it."""
    per_chip = []
    for chip in chips:
        all_links = scene.names.outgoing(chip.name) if outgoing else scene.names.incoming(chip.name)
        carrying = [link for link in all_links if chip.filled(message) in link.carries]
        per_chip.append((chip, {link.name for link in carrying or all_links}))
    for form in written_forms(per_chip):
        yield Suggestion(form, "link", f"a link {'from' if outgoing else 'to'} this chip")


def _of_condition(place: _Place) -> Iterator[Suggestion]:
    """What can follow in a condition, or in any other expression."""
    before = place.before
    if before[-1:] == ["."]:
        yield from _members(place, before[-2] if len(before) > 1 else "")
        return
    compared = _compared(before)
    if compared[-1:] == ["state"]:
        yield from _states(place, _owner(compared))
        return
    yield from _words_wanted(place, compared)
    if before[-1:] == ["("] and before[-2:-1] and before[-2] in EVENT_WORDS:
        yield from _happenings(place, before[-2])
        return
    yield from _plain(place)


def _compared(before: list[str]) -> list[str]:
    """The tokens up to the name with which what comes next is compared, or to which it is assigned;
    none if that is not so.
    """
    rest = list(before)
    if "[" in rest and "]" not in rest[_last(rest, "[") :]:
        rest = rest[: _last(rest, "[")]
        if rest[-1:] != ["in"]:
            return []
        rest.pop()
        if rest[-1:] == ["not"]:
            rest.pop()
    elif rest[-1:] and rest[-1] in IS:
        rest.pop()
    elif rest[-1:] in (["="], ["else"]) and "=" in rest:
        rest = rest[: rest.index("=")]
    else:
        return []
    return rest[: _last(rest, "[")] if rest[-1:] == ["]"] and "[" in rest else rest


def _last(tokens: list[str], token: str) -> int:
    """Where a token is that is among them, the last time."""
    return len(tokens) - 1 - tokens[::-1].index(token)


def _owner(tokens: list[str]) -> str:
    """The chip before the dot of the last name; empty if it has none."""
    return tokens[-3] if tokens[-2:-1] == ["."] and len(tokens) > 2 else ""


def _chips_called(place: _Place, word: str) -> list[ChipNames]:
    """The chips that a word means, in each of the chips that the text describes."""
    texts = [chip.filled(word) for chip in place.chips] or [word]
    called = map(place.scene.names.chip_called, dict.fromkeys(texts))
    return list({chip.name: chip for chip in called if chip is not None}.values())


def _states(place: _Place, owner: str) -> Iterator[Suggestion]:
    chips = _chips_called(place, owner) if owner else place.chips
    for chip in chips:
        for name, node in chip.states.items():
            yield Suggestion(name, "state", node_about(node) or f"a state of {chip.name}")


def _members(place: _Place, owner: str) -> Iterator[Suggestion]:
    """What can follow `hub.`: its states and variables, or within `sent(…)` its messages."""
    before = place.before
    event = before[-4] if before[-3:-2] == ["("] and len(before) > 3 else ""
    if event in EVENT_WORDS:
        yield from _members_happening(place, event, owner)
        return
    for chip in _chips_called(place, owner):
        yield Suggestion("state", "keyword", f"the state of {chip.name}, to be compared")
        yield from _variables([chip])
        for name, node in chip.states.items():
            yield Suggestion(name, "state", node_about(node) or f"{chip.name} is in this state")


def _members_happening(place: _Place, event: str, owner: str) -> Iterator[Suggestion]:
    names = place.scene.names
    for chip in _chips_called(place, owner):
        if event == "taken":
            for title in chip.rules:
                yield Suggestion(title, "rule", f"a rule of {chip.name}")
            continue
        links = names.outgoing(chip.name) if event == "sent" else names.incoming(chip.name)
        for message in dict.fromkeys(m for link in links for m in link.carries):
            yield Suggestion(message, "message", f"{event} by {chip.name}")
    if owner in names.links:
        for message in names.links[owner].carries:
            yield Suggestion(message, "message", f"a message over {owner}")


def _happenings(place: _Place, event: str) -> Iterator[Suggestion]:
    """What can stand in parentheses behind the word of an event."""
    names = place.scene.names
    if event == "signalled":
        for signal in sorted(names.signals):
            yield Suggestion(signal, "signal", "a signal of the device")
        return
    for name, chip in names.chips.items():
        yield Suggestion(name, "chip", node_about(chip.body), f"{name}.")
    if event != "taken":
        for name in names.links:
            yield Suggestion(name, "link", "a link", f"{name}.")


def _words_wanted(place: _Place, compared: list[str]) -> Iterator[Suggestion]:
    """The values of a variable that is compared or assigned."""
    if not compared:
        return
    owner, name = _owner(compared), compared[-1]
    if not owner:
        choices = texts_in(place.scene.names.of("options").get(name))
        yield from (Suggestion(one, "word", f"a choice of {name}") for one in choices)
    for chip in _chips_called(place, owner) if owner else place.chips:
        node = chip.variables.get(name)
        for word in place.scene.names.words_of(chip, name):
            yield Suggestion(word, "word", f"a value of {name}")
        if is_bond(node):
            yield Suggestion("none", "word", f"{name} holds no key")
        if is_truth(node):
            yield from (Suggestion(word, "word", f"a value of {name}") for word in _TRUTHS)


_TRUTHS = ("true", "false")


def _variables(chips: Iterable[ChipNames]) -> Iterator[Suggestion]:
    chips = list(chips)
    for chip in chips[:1]:
        for name, node in chip.variables.items():
            yield Suggestion(name, "variable", node_about(node) or f"a variable of {chip.name}")


def _plain(place: _Place) -> Iterator[Suggestion]:
    """Names that can stand alone."""
    names = place.scene.names
    for chip in place.chips[:1]:
        yield from _variables([chip])
        yield Suggestion("state", "keyword", "the own state, to be compared")
        yield from (Suggestion(one, "parameter", "a parameter") for one in chip.parameters)
        yield from (Suggestion(one, "constant", "a constant") for one in chip.constants)
    if "each" in place.slot.within or any(chip.copied for chip in place.chips):
        yield Suggestion(OWN_NUMBER, "keyword", "the number of the copy")
    if place.slot.part in ("rule", "branch"):
        yield Suggestion("value", "keyword", "the value of the message")
        yield Suggestion("late", "keyword", "the message was sent in an earlier session")
    yield from (Suggestion(one, "option", "an option") for one in names.of("options"))
    yield from (Suggestion(one, "constant", "a constant") for one in names.of("constants"))
    if not place.chips:
        yield from (Suggestion(one, "mode", "a mode") for one in names.of("modes"))
        yield from (Suggestion(one, "list", "a list") for one in names.of("lists"))
        if place.slot.part in ("requirement", "scope", "chance"):
            yield from (Suggestion(one, "function", "in a step", f"{one}(") for one in EVENT_WORDS)
    per_chip = [(chip, set(names.chips)) for chip in place.chips]
    for name in written_forms(per_chip) if per_chip else names.chips:
        known = names.chips.get(name)
        yield Suggestion(name, "chip", node_about(known.body) if known else "a chip", f"{name}.")
    yield from (Suggestion(one, "function", "a function", f"{one}(") for one in FUNCTIONS)
    yield from (Suggestion(one, "keyword") for one in sorted({*KEYWORDS, *_TRUTHS} - {"via"}))
