"""What is known of the thing at a position, in a few lines of Markdown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeVar

from modecheck.editor.bounded_check import CheckOutcome
from modecheck.editor.cursor import cursor_at
from modecheck.editor.device_names import ChipNames
from modecheck.editor.entering import entered, rests_in, started_in
from modecheck.editor.expression_words import Named
from modecheck.editor.mentions import Mention, Symbol
from modecheck.editor.navigation import all_mentions, mentions_at
from modecheck.editor.positions import Position, TextSpan
from modecheck.editor.requirement_names import looked_at, touched_by
from modecheck.editor.rule_words import rule_in_words
from modecheck.editor.scenes import Scene
from modecheck.editor.session import EditorSession
from modecheck.editor.slots import KeysOf, keys_in, slot_at
from modecheck.editor.tree_parts import (
    branches_of,
    event_of,
    node_about,
    rules_in,
    states_in,
    texts_in,
)
from modecheck.editor.workspace import path_of
from modecheck.model.finding_kinds import KINDS
from modecheck.model.wording import counted
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode

T = TypeVar("T")

MOST_LINES = 30
FROM_A_CHECK = ("state", "rule", "message", "requirement")
"""Kinds of which is told what the last check has found."""

OLDER = "*the last check is older than the text*"


@dataclass(frozen=True, slots=True)
class Hover:
    """Markdown about the characters of a span."""

    text: str
    span: TextSpan


@dataclass(frozen=True, slots=True)
class _About:
    """What a symbol is told of: its scene, what the last check found, and all mentions."""

    symbol: Symbol
    scene: Scene
    outcome: CheckOutcome | None
    mentions: list[Mention]

    @property
    def chips(self) -> list[ChipNames]:
        """The chips whose it is."""
        return self.scene.names.owned_by(self.symbol.owner)

    def own(self, by_chip: Mapping[str, T]) -> Iterator[tuple[ChipNames, str, T]]:
        """What a check has found of each of these chips, by their names in it."""
        for name, found in by_chip.items():
            chip = self.scene.names.chip_called(name)
            if chip is not None and chip.lowest == self.symbol.owner:
                yield chip, name, found


def hover(session: EditorSession, uri: str, position: Position) -> Hover | None:
    """What is known of the word at a position; None where there is nothing to say."""
    path = path_of(uri)
    found = mentions_at(session, path, position)
    if not found:
        return _of_key(session, path, position)
    scene = session.scene(path)
    known = session.known_of(path)
    outcome = known[0].outcome if known else None
    mentions = [one for many in all_mentions(session, path).values() for one in many]
    parts = []
    for symbol in dict.fromkeys(one.symbol for one in found):
        about = _About(symbol, scene, outcome, mentions)
        lines = (
            [line for line in _TELLERS[symbol.kind](about) if line]
            if symbol.kind in _TELLERS
            else []
        )
        parts.append("\n\n".join(lines[:MOST_LINES]))
    text = "\n\n---\n\n".join(filter(None, parts))
    checked = outcome is not None and any(one.symbol.kind in FROM_A_CHECK for one in found)
    if text and checked and known[0].checked_texts != session.workspace.held().texts:
        text = f"{text}\n\n{OLDER}"
    return Hover(text, found[0].span) if text else None


def _of_key(session: EditorSession, path: str, position: Position) -> Hover | None:
    """The meaning of a key of the language."""
    text = session.workspace.map_of(path)
    offset = text.offset(position)
    start = end = offset
    while start and (text.text[start - 1].isalnum() or text.text[start - 1] == "_"):
        start -= 1
    while end < len(text.text) and (text.text[end].isalnum() or text.text[end] == "_"):
        end += 1
    cursor = cursor_at(text.text, end)
    if cursor is None or not cursor.at_key or start == end:
        return None
    slot = slot_at(session.scene(path).kind, cursor.path)
    if slot is None or not isinstance(slot.shape, KeysOf):
        return None
    word = text.text[start:end]
    for part in slot.shape.parts:
        if word in keys_in(part):
            return Hover(f"**{word}**: {keys_in(part)[word].sentence}", TextSpan(start, end))
    return None


def _head(about: _About, kind: str, node: Node | None = None) -> Iterator[str]:
    names = [chip.name for chip in about.chips] if about.symbol.owner else []
    of = f" of {' and '.join(names)}" if names else ""
    yield f"**{about.symbol.name}**, {kind}{of}"
    yield node_about(node)


def _state(about: _About) -> Iterator[str]:
    name, chips = about.symbol.name, about.chips
    node = next((chip.states[name] for chip in chips if name in chip.states), None)
    yield from _head(about, "a state", node)
    if any(rests_in(chip.body, name) for chip in chips):
        yield "at rest here: the chip may stay forever"
    if isinstance(node, MappingNode):
        yield _listed("concerned with", texts_in(node.get("concerns")))
    for chip in chips[:1]:
        yield _start(chip, name)
        leading = [f"- {rule_in_words(title, rule)}" for title, rule in _leading(chip, name)]
        yield "\n".join(["leads here:", *leading]) if leading else "no rule leads here"
    yield _seen(about, name)


def _start(chip: ChipNames, name: str) -> str:
    """Whether the chip starts in the state."""
    starts = started_in(chip.body)
    if not any(name in states for states in starts):
        return ""
    return "the chip starts here" if len(starts) == 1 else "the chip may start here"


def _leading(chip: ChipNames, name: str) -> Iterator[tuple[str, MappingNode]]:
    """The rules by which the chip enters the state, in which it is not yet."""
    inside = _leaves(chip, name)
    for holder, title, rule in _rules_of(chip):
        sources = {chip.filled(text) for text in texts_in(rule.get("in"))} or {holder}
        for one in branches_of(rule):
            targets = [chip.filled(text) for text in texts_in(one.get("to"))]
            if any(
                target == name or (name in entered(chip.body, target) and not sources <= inside)
                for target in targets
            ):
                yield title, rule
                break


def _rules_of(chip: ChipNames) -> Iterator[tuple[str, str, MappingNode]]:
    """All rules, each with the state in which it stands, if any, and its name."""
    bodies = [("", chip.body), *chip.states.items()]
    for holder, body in bodies:
        if isinstance(body, MappingNode):
            for title, rule in rules_in(body.get("rules")):
                yield holder, title, rule


def _seen(about: _About, name: str) -> str:
    """At which depth the state was first seen, in each chip."""
    if about.outcome is None:
        return ""
    said = []
    for owner, chip, depths in about.own(about.outcome.depths):
        inside = _leaves(owner, name)
        found = [depth for leaf, depth in depths.items() if leaf in inside]
        if found:
            said.append(f"{chip} after {counted(min(found), 'step')}")
        else:
            yet = " so far" if about.outcome.stopped_by else ""
            said.append(f"{chip} never{yet}")
    return f"first seen: {'; '.join(said)}" if said else ""


def _leaves(chip: ChipNames, name: str) -> set[str]:
    node = chip.states.get(name)
    inside = {one for one, _ in states_in(node)} if isinstance(node, MappingNode) else set[str]()
    return {name, *inside}


def _rule(about: _About) -> Iterator[str]:
    name, chips = about.symbol.name, about.chips
    yield from _head(about, "a rule")
    rule = next((chip.rules[name] for chip in chips if name in chip.rules), None)
    if isinstance(rule, MappingNode):
        yield rule_in_words("", rule)
    yield _taken(about, name)
    yield _listed("looked at by", _requirements(about, rule))


def _taken(about: _About, name: str) -> str:
    """How often the rule is taken, in each chip."""
    if about.outcome is None:
        return ""
    said = []
    for _, chip, taken in about.own(about.outcome.taken):
        counts = [count for title, count in taken.items() if is_of_rule(title, name)]
        if not counts:
            continue
        if any(count < 0 for count in counts):
            said.append(f"{chip} takes it")
        elif sum(counts):
            said.append(f"{chip} takes it in {counted(sum(counts), 'transition')}")
        else:
            said.append(f"{chip} never takes it{' so far' if about.outcome.stopped_by else ''}")
    return "; ".join(said)


def is_of_rule(title: str, name: str) -> bool:
    """Whether a title is that of a rule, of a branch of it, or of one for a copy."""
    bare = title.partition("[")[0]
    return name in (title, bare) or bare.startswith(f"{name}.")


def _requirements(about: _About, rule: Node | None) -> list[str]:
    """The requirements that look at what the rule does."""
    names = about.scene.names
    done = set[Named]()
    for chip in about.chips:
        done |= touched_by(names, chip, about.symbol.name, rule)
    needs = names.of("requirements")
    return [name for name, node in needs.items() if done & looked_at(names, node)]


def _message(about: _About) -> Iterator[str]:
    name, names = about.symbol.name, about.scene.names
    yield from _head(about, "a message")
    for link in names.links.values():
        if name not in link.carries:
            continue
        yield f"from {link.sender} to {', '.join(link.receivers)} over {link.name}"
    answers = about.outcome.answers if about.outcome else {}
    for chip, rows in answers.items():
        for label, row in rows.items():
            if label == name or label.startswith(f"{name} via "):
                cells = "\n".join(f"| {leaf} | {told} |" for leaf, told in row.items())
                table = f"| state | answer |\n| --- | --- |\n{cells}"
                yield f"{label} in each state of {chip}:\n\n{table}"


def _signal(about: _About) -> Iterator[str]:
    name, chips = about.symbol.name, about.scene.names.chips
    node = about.scene.names.of("signals").get(name)
    yield from _head(about, "a signal", node)
    yield _as_code(node)
    yield _listed("given by", (one for one, chip in chips.items() if name in chip.signals))
    heard = [
        f"{chip.name} ({title or 'a rule'})"
        for chip in chips.values()
        for _, title, rule in _rules_of(chip)
        if name in [chip.filled(event_of(text)) for text in texts_in(rule.get("on"))]
    ]
    yield _listed("heard by", heard)


def _requirement(about: _About) -> Iterator[str]:
    name = about.symbol.name
    node = about.scene.names.of("requirements").get(name)
    yield f"**{name}**, a requirement"
    text = node.get("text") if isinstance(node, MappingNode) else None
    yield text.text if isinstance(text, ScalarNode) else ""
    judged = about.outcome.requirements.get(name) if about.outcome else None
    if judged is None:
        return
    yield f"verdict: **{judged.verdict}**{f' ({judged.remark})' if judged.remark else ''}"
    if judged.states:
        yield f"cost: {judged.states:,} states, {judged.seconds:.2f} s"
    assumed = "\n".join(f"- {one}" for one in judged.assumes)
    yield f"assuming that each of these eventually happens:\n{assumed}" if assumed else ""


def _chip(about: _About) -> Iterator[str]:
    names = about.scene.names
    chip = names.chips.get(about.symbol.name)
    if chip is None:
        return
    yield from _head(about, "an actor" if chip.actor else "a chip", chip.body)
    yield f"{counted(len(chip.states), 'state')}, {counted(len(chip.rules), 'named rule')}"
    yield _listed("sends over", (link.name for link in names.outgoing(chip.name)))
    yield _listed("receives over", (link.name for link in names.incoming(chip.name)))


def _link(about: _About) -> Iterator[str]:
    link = about.scene.names.links.get(about.symbol.name)
    if link is None:
        return
    yield from _head(about, "a link", link.node)
    yield f"from {link.sender} to {', '.join(link.receivers)}"
    yield _listed("carries", link.carries)
    for key in ("medium", "capacity", "up_when", "when_down", "when_full", "delay"):
        value = ", ".join(texts_in(link.node.get(key)))
        yield f"{key}: `{value}`" if value else ""


def _variable(about: _About) -> Iterator[str]:
    name = about.symbol.name
    node = next((chip.variables.get(name) for chip in about.chips), None)
    yield from _head(about, "a variable", node)
    yield _as_code(node)
    uses = [one for one in about.mentions if one.symbol == about.symbol and not one.declares]
    yield f"used in {counted(len({(one.path, one.span) for one in uses}), 'place')}"


def _own(about: _About) -> Iterator[str]:
    kind = about.symbol.kind.removeprefix("own_")
    nodes = [chip.declared(about.symbol.kind).get(about.symbol.name) for chip in about.chips]
    node = next(iter(nodes), None)
    yield from _head(about, f"a {kind}", node)
    yield _as_code(node)


def _parameter(about: _About) -> Iterator[str]:
    yield from _head(about, "a parameter")
    name = about.symbol.name
    values = [f"- {chip.name}: `{chip.parameters.get(name, name)}`" for chip in about.chips]
    yield "\n".join(values)


def _of_device(section: str, kind: str) -> Callable[[_About], Iterator[str]]:
    def tell(about: _About) -> Iterator[str]:
        node = about.scene.names.of(section).get(about.symbol.name)
        yield from _head(about, kind, node)
        yield _as_code(node)

    return tell


def _as_code(node: Node | None) -> str:
    """What is written of a value, on one line."""
    if isinstance(node, ScalarNode):
        return f"`{' '.join(node.text.split())}`" if node.text else ""
    if isinstance(node, MappingNode):
        told = (f"{key}: {_bare(child)}" for key, child in node.entries.items() if key != "about")
        return f"`{', '.join(told)}`" if node.entries else ""
    return f"`{_bare(node)}`" if node is not None else ""


def _bare(node: Node) -> str:
    if isinstance(node, ScalarNode):
        return " ".join(node.text.split())
    if isinstance(node, MappingNode):
        return f"{{{', '.join(f'{key}: {_bare(child)}' for key, child in node.entries.items())}}}"
    return f"[{', '.join(map(_bare, node.items))}]"


def _code(about: _About) -> Iterator[str]:
    kind = KINDS.get(about.symbol.name)
    if kind is None:
        return
    yield f"**{about.symbol.name}**, {'an error' if kind.severity == 'error' else 'a warning'}"
    yield f"{kind.meaning[0].upper()}{kind.meaning[1:]}. {kind.about}"
    yield f"Why it matters: {kind.why}"
    yield "\n".join(["What usually helps:", *(f"- {cure}" for cure in kind.cures)])


def _listed(what: str, names: Iterable[str]) -> str:
    told = ", ".join(dict.fromkeys(names))
    return f"{what}: {told}" if told else ""


_TELLERS: dict[str, Callable[[_About], Iterator[str]]] = {
    "state": _state,
    "rule": _rule,
    "message": _message,
    "signal": _signal,
    "requirement": _requirement,
    "chip": _chip,
    "link": _link,
    "variable": _variable,
    "timer": _own,
    "own_constant": _own,
    "parameter": _parameter,
    "option": _of_device("options", "an option"),
    "mode": _of_device("modes", "a mode"),
    "pairing": _of_device("pairings", "a pairing"),
    "constant": _of_device("constants", "a constant"),
    "enumeration": _of_device("enumerations", "an enumeration"),
    "list": _of_device("lists", "a list"),
    "question": _of_device("chances", "a question"),
    "code": _code,
}
