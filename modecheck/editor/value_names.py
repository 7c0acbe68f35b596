"""The names that fit where a key names something: a state, a link, a finding."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from modecheck.editor.device_names import ChipNames
from modecheck.editor.expression_names import Suggestion, links_of, messages_of
from modecheck.editor.scenes import Scene, written_forms
from modecheck.editor.tree_parts import entries_of, is_bond, is_truth, node_about
from modecheck.editor.workspace import ENDINGS
from modecheck.model.finding_kinds import KINDS
from modecheck.model.phrases import FOREVER, SECONDS
from modecheck.model.starts import ANY

if TYPE_CHECKING:
    from modecheck.editor.session import EditorSession
    from modecheck.editor.slots import ModelSlot

SECTION_OF = {
    "mode": "modes", "pairing": "pairings", "requirement": "requirements", "option": "options",
    "constant": "constants", "enumeration": "enumerations", "list": "lists", "question": "chances",
}  # fmt: skip
OWN = {"state": "states", "variable": "variables", "timer": "timers", "rule": "rules",
       "own_constant": "constants"}  # fmt: skip
"""What a chip declares itself."""
ITS = {**OWN, "signal": "signals"}
"""What findings can be about in a chip."""

MOST_FILES = 200


@dataclass(frozen=True, slots=True)
class _At:
    """Where a name is wanted: the chips that the text describes there, and what is written."""

    scene: Scene
    slot: ModelSlot
    chips: list[ChipNames]
    text: str


def value_names(
    session: EditorSession, scene: Scene, slot: ModelSlot, kind: str, text: str
) -> Iterator[Suggestion]:
    """The names of a kind; `text` is what stands before the cursor."""
    chips = scene.chips_at(slot)
    if kind in _MAKERS:
        yield from _MAKERS[kind](_At(scene, slot, chips, text))
    elif kind in OWN:
        yield from _own(chips, kind)
    elif kind in SECTION_OF:
        for name, node in scene.names.of(SECTION_OF[kind]).items():
            yield Suggestion(name, kind, node_about(node) or f"a {kind} of the device")
    elif kind == "finding":
        yield from _findings(session, scene, text)


def _own(chips: list[ChipNames], kind: str) -> Iterator[Suggestion]:
    for chip in chips:
        nodes = getattr(chip, OWN[kind])
        for name, node in nodes.items():
            yield Suggestion(name, kind, node_about(node) or f"a {kind} of {chip.name}")


def _states(at: _At) -> Iterator[Suggestion]:
    yield from _own(at.chips, "state")
    if at.slot.key == "initial" and at.slot.part == "behaviour":
        yield Suggestion(ANY, "word", "any state that has no states inside")


def _chips(at: _At) -> Iterator[Suggestion]:
    for name, chip in at.scene.names.chips.items():
        kind = "actor" if chip.actor else "chip"
        what = "an actor" if chip.actor else "a chip"
        yield Suggestion(name, kind, node_about(chip.body) or what)


def _actors(at: _At) -> Iterator[Suggestion]:
    yield from (one for one in _chips(at) if one.kind == "actor")


def _links(at: _At) -> Iterator[Suggestion]:
    for name, link in at.scene.names.links.items():
        yield Suggestion(name, "link", f"from {link.sender} to {', '.join(link.receivers)}")


def _events(at: _At) -> Iterator[Suggestion]:
    words = at.text.split()
    if "via" in words[1:]:
        yield from links_of(at.scene, at.chips, words[0], outgoing=False)
        return
    if len(words) > 1 or (words and at.text[-1:].isspace()):
        yield Suggestion("via", "keyword", "only from this link")
        return
    yield from messages_of(at.scene, at.chips, outgoing=False)
    names = at.scene.names
    if at.chips:
        others = [
            (chip, {s for c in names.chips.values() if c.name != chip.name for s in c.signals})
            for chip in at.chips
        ]
        yield from (Suggestion(one, "signal", "a signal") for one in written_forms(others))
        return
    yield from (Suggestion(one, "signal", "a signal") for one in sorted(names.signals))
    yield from (Suggestion(one, "message", "a message") for one in sorted(names.messages))


def _signals(at: _At) -> Iterator[Suggestion]:
    """Signals that the device has already, and events that nobody gives yet."""
    known = at.scene.names.signals | at.scene.names.nowhere_from
    per_chip = [(chip, known) for chip in at.chips]
    yield from (Suggestion(one, "signal", "a signal") for one in written_forms(per_chip))


def _bonds(at: _At) -> Iterator[Suggestion]:
    owner, dot, _ = at.text.rpartition(".")
    for name, chip in at.scene.names.chips.items():
        bonds = [one for one, node in chip.variables.items() if is_bond(node)]
        if dot and name == owner.strip():
            yield from (Suggestion(one, "variable", f"a bond of {name}") for one in bonds)
        elif not dot:
            yield from (Suggestion(f"{name}.{one}", "variable", "a bond") for one in bonds)


def _exchanged(at: _At) -> Iterator[Suggestion]:
    owner, dot, _ = at.text.rpartition(".")
    names = at.scene.names
    for name in names.chips:
        links = names.outgoing(name) if at.slot.key == "sent" else names.incoming(name)
        messages = dict.fromkeys(message for link in links for message in link.carries)
        if dot and name == owner.strip():
            yield from (Suggestion(one, "message", f"{at.slot.key} by {name}") for one in messages)
        elif not dot:
            yield from (
                Suggestion(f"{name}.{one}", "message", f"{at.slot.key} by {name}")
                for one in messages
            )


def _files(at: _At) -> Iterator[Suggestion]:
    """Files in the folder that is written so far."""
    folder = os.path.dirname(at.scene.path)
    within = os.path.dirname(at.text)
    try:
        names = sorted(os.listdir(os.path.join(folder, within) or "."))[:MOST_FILES]
    except (OSError, ValueError):
        return
    for name in names:
        path = os.path.join(folder, within, name)
        written = os.path.join(within, name)
        if name.endswith(ENDINGS) and os.path.realpath(path) != os.path.realpath(at.scene.path):
            yield Suggestion(written, "file", "a model")
        elif os.path.isdir(path) and not name.startswith((".", "_")):
            yield Suggestion(f"{written}/", "file", "a folder")


def _durations(at: _At) -> Iterator[Suggestion]:
    number = at.text.strip().rstrip("usmhin µ")
    if number.replace(".", "", 1).isdigit():
        for unit in SECONDS:
            yield Suggestion(f"{number.strip()} {unit}", "unit", "a duration")
        return
    for chip in at.chips[:1]:
        yield from (Suggestion(one, "parameter", "a parameter") for one in chip.parameters)
    if at.slot.key in ("after", "period", "delay"):
        yield Suggestion(FOREVER, "word", "no latest moment, behind the earliest")


def _starts(at: _At) -> Iterator[Suggestion]:
    name = at.slot.within.get("variable", "")
    for chip in at.chips[:1]:
        yield from (
            Suggestion(one, "word", f"a value of {name}")
            for one in at.scene.names.words_of(chip, name)
        )
        if is_bond(chip.variables.get(name)):
            yield Suggestion("none", "word", "no key")
        if is_truth(chip.variables.get(name)):
            yield from (Suggestion(one, "word", "the value at first") for one in ("true", "false"))
    yield Suggestion(ANY, "word", "any value of its type")
    yield from _bounds(at)


def _bounds(at: _At) -> Iterator[Suggestion]:
    """Numbers with a name; of a chip, its parameters, too."""
    for chip in at.chips[:1]:
        yield from (Suggestion(one, "constant", "a constant") for one in chip.constants)
        yield from (Suggestion(one, "parameter", "a parameter") for one in chip.parameters)
    for one in at.scene.names.of("constants"):
        yield Suggestion(one, "constant", "a constant of the device")


def _parameters(at: _At) -> Iterator[Suggestion]:
    for chip in at.chips[:1]:
        for name, _ in entries_of(chip.body.get("parameters")):
            yield Suggestion(name, "parameter", f"a parameter of {chip.name}")


def _arguments(at: _At) -> Iterator[Suggestion]:
    """The value of a parameter: what it is for other at.chips, or the name of one."""
    name = at.slot.within.get("parameter", "")
    values = {chip.parameters.get(name, "") for chip in at.scene.names.chips.values()} - {""}
    yield from (Suggestion(one, "word", f"as {name} of another chip") for one in sorted(values))
    yield from (Suggestion(one, "chip", "a chip") for one in at.scene.names.chips)
    yield from (Suggestion(one, "link", "a link") for one in at.scene.names.links)


def _any_message(at: _At) -> Iterator[Suggestion]:
    names = at.scene.names
    for one in sorted(names.messages | names.nowhere_from):
        yield Suggestion(one, "message", "a message")


def _globally(at: _At) -> Iterator[Suggestion]:  # noqa: ARG001 - as the others
    yield Suggestion("globally", "word", "in the whole run, which is the default")


_MAKERS = {
    "state": _states, "chip": _chips, "actor": _actors, "link": _links, "event": _events,
    "signal": _signals, "bond": _bonds, "exchanged": _exchanged, "file": _files,
    "duration": _durations, "start": _starts, "bound": _bounds, "parameter": _parameters,
    "argument": _arguments, "any_message": _any_message, "message": _any_message,
    "scope_word": _globally,
}  # fmt: skip


def _findings(session: EditorSession, scene: Scene, text: str) -> Iterator[Suggestion]:
    """Those that the last check has found, then what a code can be about."""
    for known in session.known_of(scene.path):
        for found in known.outcome.findings if known.outcome else ():
            yield Suggestion(found.id, "finding", found.text)
    code, colon, _ = text.partition(":")
    if not colon:
        for one, kind in KINDS.items():
            yield Suggestion(f"{one}:", "finding", kind.meaning)
    elif code in KINDS:
        for subject in _subjects(scene, KINDS[code].subject):
            yield Suggestion(f"{code}:{subject}", "finding", KINDS[code].meaning)


def _subjects(scene: Scene, forms: Iterable[str]) -> Iterator[str]:
    names = scene.names
    for form in forms:
        first, *rest = form.split(".")
        if first == "chip":
            for chip in names.chips.values():
                yield from _in_chip(scene, chip, rest)
        elif first == "link":
            for link in names.links.values():
                yield from (f"{link.name}.{message}" for message in link.carries)
        else:
            yield from names.of(SECTION_OF[first])


def _in_chip(scene: Scene, chip: ChipNames, rest: list[str]) -> Iterator[str]:
    if not rest:
        yield chip.name
        return
    for name in getattr(chip, ITS[rest[0]]):
        if len(rest) == 1:
            yield f"{chip.name}.{name}"
            continue
        for link in scene.names.incoming(chip.name):
            yield from (f"{chip.name}.{name}.{message}" for message in link.carries)
