"""Every place at which something is named: where it is declared, and where it is used.

A symbol is what is named; what several chips of one file share is one symbol. A place in such a
file can mention a symbol of each of its chips: `{side}_air` is front_air and rear_air.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from modecheck.editor.cursor import ITEM
from modecheck.editor.device_names import ChipNames
from modecheck.editor.expression_words import WORD, Named, words_in
from modecheck.editor.positions import TextMap, TextSpan
from modecheck.editor.real_paths import real_path
from modecheck.editor.scenes import Scene
from modecheck.editor.slots import KeysOf, ModelSlot, NamesOf, ValueOf, slot_at
from modecheck.editor.tree_parts import unit_of
from modecheck.editor.workspace import Workspace, kind_of_file
from modecheck.model.copies import OWN_NUMBER, is_each, unnumbered
from modecheck.model.errors import InvalidInput, Notebook
from modecheck.model.finding_ids import BETWEEN
from modecheck.model.finding_kinds import KINDS
from modecheck.model.overlays import beside
from modecheck.model.phrases import BRACED
from modecheck.model.starts import ANY
from modecheck.model.text_files import instead_of_files
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode, read_yaml

EXPRESSIONS = ("condition", "assignment", "send", "signal")
NUMBERS = ("bound", "start")
OF_A_CHIP = ("state", "variable", "timer", "rule", "own_constant", "parameter")
EVENT = re.compile(rf"({WORD})(?:\[[^\]]*\])?(?:\s+via\s+({WORD}))?")


@dataclass(frozen=True, slots=True)
class Symbol:
    """What is named. `owner` is what those chips share whose it is, empty for the device's."""

    kind: str
    owner: str
    name: str


@dataclass(frozen=True, slots=True)
class Mention:
    """A symbol named at a place, where `written` stands; `chip` is the one that reads it so."""

    symbol: Symbol
    path: str
    span: TextSpan
    written: str
    declares: bool = False
    chip: str = ""


def mentions_in_device(workspace: Workspace, scene: Scene) -> dict[str, list[Mention]]:
    """All mentions in the files of a device, by real path."""
    if set(scene.mentioned) < set(map(real_path, workspace.files_of(scene.names.path))):
        for path in workspace.files_of(scene.names.path):
            mentions_in_file(workspace, scene, path)
    return scene.mentioned


def mentions_in_file(workspace: Workspace, scene: Scene, path: str) -> list[Mention]:
    """The mentions in one file of a device."""
    known = scene.mentioned.get(real_path(path))
    if known is None:
        known = list(dict.fromkeys(_mentions_in(workspace, scene, path)))
        scene.mentioned[real_path(path)] = known
    return known


def _mentions_in(workspace: Workspace, scene: Scene, path: str) -> Iterator[Mention]:
    text = workspace.text_of(path)
    tree = tree_of(scene, path)
    if text is None or tree is None:
        return
    kind = kind_of_file(text)
    if not kind:
        kind = "device" if real_path(path) == real_path(scene.names.path) else "chip"
    own = replace(scene, path=path, kind=kind)
    yield from _Walk(own, TextMap(text)).under(tree, ())


def tree_of(scene: Scene, path: str) -> Node | None:
    """The tree of a file, mended where it is half written."""
    try:
        with instead_of_files(scene.held):
            return read_yaml(path, Notebook())
    except InvalidInput:
        return None


class _Walk:
    """Goes through the tree of one file."""

    def __init__(self, scene: Scene, text: TextMap) -> None:
        self._scene = scene
        self._names = scene.names
        self._text = text

    def under(self, node: Node, path: tuple[str, ...]) -> Iterator[Mention]:
        slot = slot_at(self._scene.kind, path)
        if slot is None:
            return
        if isinstance(node, MappingNode):
            for name, child in node.entries.items():
                if isinstance(slot.shape, NamesOf):
                    yield from self._key(slot, slot.shape, node.keys[name])
                yield from self.under(child, (*path, name))
        elif isinstance(node, SequenceNode):
            for child in node.items:
                yield from self.under(child, (*path, ITEM))
        elif not node.is_null:
            yield from self._scalar(slot, node)

    def _key(self, slot: ModelSlot, shape: NamesOf, key: ScalarNode) -> Iterator[Mention]:
        if is_each(key.text):
            for name in re.findall(r"\w+", key.text)[1:2]:
                yield from self._named(key, name, "chip", "")
            return
        name, kind = unnumbered(key.text), shape.kind
        chips = self._scene.chips_at(slot.into(key.text) or slot if kind == "chip" else slot)
        declares = shape.declares and name == key.text
        if kind in OF_A_CHIP:
            for chip in chips:
                own = name if kind == "parameter" else chip.filled(name)
                symbol = Symbol(kind, chip.lowest, own)
                yield self._mention(symbol, key, name, declares=declares, chip=chip.name)
        else:
            yield from self._named(key, name, kind, "", declares=declares)

    def _scalar(self, slot: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        shape = slot.shape
        if isinstance(shape, NamesOf):
            if shape.declares or shape.kind == "state":
                yield from self._list_item(slot, shape, node)
            return
        kind = shape.kind if isinstance(shape, ValueOf) else ""
        if isinstance(shape, KeysOf) and slot.key == "recoverable":
            kind = "condition"
        if kind in EXPRESSIONS:
            yield from self._expression(slot, node, kind)
        else:
            yield from _BY_KIND.get(kind, _Walk._plain)(self, slot, node)

    def _list_item(self, slot: ModelSlot, shape: NamesOf, node: ScalarNode) -> Iterator[Mention]:
        """A name in a list: a state, a message, the name of a rule; or an event for all states."""
        if not shape.declares:
            yield from self._event(slot, node)
        elif shape.kind in OF_A_CHIP and (shape.kind == "state" or slot.key == "name"):
            for chip in self._scene.chips_at(slot):
                symbol = Symbol(shape.kind, chip.lowest, node.text)
                yield self._mention(symbol, node, node.text, declares=True, chip=chip.name)
        elif shape.kind == "message":
            yield from self._named(node, node.text, "message", "", declares=True)

    def _expression(self, slot: ModelSlot, node: ScalarNode, kind: str) -> Iterator[Mention]:
        chips = self._scene.chips_at(slot)
        for word in words_in(node.text, kind, self._names, chips):
            spans = find_word(self._text, node, word.text, word.offset)
            for named in word.means:
                symbol = Symbol(named.kind, self._owner(named), named.name)
                reader = self._reader(chips, word.text, named)
                declares = kind == named.kind == "signal"  # who gives a signal declares it
                yield Mention(symbol, self._scene.path, spans, word.text, declares, reader)
            yield from self._braces(spans, word.text, chips)

    def _reader(self, chips: list[ChipNames], text: str, named: Named) -> str:
        """The chip in whose parameters a word means this."""
        fitting = (chip.name for chip in chips if chip.filled(text) == named.name)
        return next(fitting, named.chip)

    def _owner(self, named: Named) -> str:
        chip = self._names.chip_called(named.chip)
        return chip.lowest if chip is not None else ""

    def _braces(self, span: TextSpan, text: str, chips: Iterable[ChipNames]) -> Iterator[Mention]:
        """Parameters in braces within a word; the number of a copy is none."""
        for match in BRACED.finditer(text):
            if match[1] == OWN_NUMBER:
                continue
            inner = TextSpan(span.start + match.start(1), span.start + match.end(1))
            for chip in chips:
                symbol = Symbol("parameter", chip.lowest, match[1])
                yield Mention(symbol, self._scene.path, inner, match[1], chip=chip.name)

    def _named(
        self, node: ScalarNode, name: str, kind: str, owner: str, *, declares: bool = False
    ) -> Iterator[Mention]:
        yield self._mention(Symbol(kind, owner, name), node, name, declares=declares)

    def _mention(
        self,
        symbol: Symbol,
        node: ScalarNode,
        name: str,
        *,
        declares: bool = False,
        chip: str = "",
    ) -> Mention:
        span = find_word(self._text, node, name, max(node.text.find(name), 0))
        return Mention(symbol, self._scene.path, span, name, declares, chip)

    def _per_chip(
        self, slot: ModelSlot, node: ScalarNode, word: str, offset: int, kind: str
    ) -> Iterator[Mention]:
        """A word that names a part of the chip, or something of the device with a parameter."""
        chips = self._scene.chips_at(slot)
        span = find_word(self._text, node, word, offset)
        yield from self._braces(span, word, chips)
        if not chips:
            if kind not in OF_A_CHIP:
                for exact in self._exact(kind, word):
                    yield Mention(Symbol(exact, "", word), self._scene.path, span, word)
            return
        for chip in chips:
            if word in chip.parameters:
                symbol = Symbol("parameter", chip.lowest, word)
                yield Mention(symbol, self._scene.path, span, word, chip=chip.name)
                continue
            name = unnumbered(chip.filled(word))
            owner = chip.lowest if kind in OF_A_CHIP else ""
            for exact in self._exact(kind, name):
                symbol = Symbol(exact, owner, name)
                yield Mention(symbol, self._scene.path, span, word, chip=chip.name)

    def _exact(self, kind: str, name: str) -> tuple[str, ...]:
        """An event is a message or a signal, or both."""
        if kind != "event":
            return (kind,)
        both = ("message", name in self._names.messages), ("signal", name in self._names.signals)
        return tuple(one for one, known in both if known)

    def _event(self, slot: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        match = EVENT.match(node.text)
        if match is None:
            return
        yield from self._per_chip(slot, node, match[1], match.start(1), "event")
        if match[2] is not None:
            yield from self._per_chip(slot, node, match[2], match.start(2), "link")

    def _of_kind(self, slot: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        shape = slot.shape
        assert isinstance(shape, ValueOf)
        kind = "chip" if shape.kind == "actor" else shape.kind
        match = re.match(WORD, node.text)
        if match is not None and not (slot.key == "initial" and match[0] == ANY):
            yield from self._per_chip(slot, node, match[0], 0, kind)

    def _plain(self, slot: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        """The parameters in a text, in braces; and a value that is one, or a constant."""
        if slot.key == "about":
            return
        chips, word = self._scene.chips_at(slot), node.text.strip()
        for match in BRACED.finditer(node.text):
            span = find_word(self._text, node, match[0], match.start())
            yield from self._braces(span, match[0], chips)
        if slot.key == "text":
            return
        number = isinstance(slot.shape, ValueOf) and slot.shape.kind in NUMBERS
        own = [(chip, kind) for chip in chips if (kind := _kind_of_value(chip, word, number))]
        for chip, kind in own:
            yield self._mention(Symbol(kind, chip.lowest, word), node, word, chip=chip.name)
        if number and not own and word in self._names.of("constants"):
            yield from self._named(node, word, "constant", "")

    def _dotted(self, slot: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        """`hub.front_bond` or `hub.note`."""
        owner, dot, member = node.text.partition(".")
        owner, chip = owner.strip(), self._names.chip_called(owner)
        if chip is None and owner not in self._names.links:
            return
        yield from self._named(node, unit_of(owner), "chip" if chip else "link", "")
        name = member.partition("[")[0].strip()
        if not dot or not name:
            return
        span = find_word(self._text, node, name, len(node.text) - len(member))
        exchanged = isinstance(slot.shape, ValueOf) and slot.shape.kind == "exchanged"
        kind, owned = ("message", "") if exchanged else ("variable", chip.lowest if chip else "")
        yield Mention(Symbol(kind, owned, name), self._scene.path, span, name)

    def _argument(self, _: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        """The value of a parameter may be the name of a chip or a link."""
        name = unit_of(node.text)
        for kind, known in (("chip", self._names.chips), ("link", self._names.links)):
            if name in known:
                yield from self._named(node, name, kind, "")
                return

    def _enumeration(self, _: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        if node.text in self._names.of("enumerations"):
            yield from self._named(node, node.text, "enumeration", "")

    def _file(self, _: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        path = real_path(beside(node, node.text))
        yield self._mention(Symbol("file", "", path), node, node.text, declares=False)

    def _finding(self, _: ModelSlot, node: ScalarNode) -> Iterator[Mention]:
        """The parts that the id of a finding names."""
        code, colon, subject = node.text.partition(":")
        yield self._mention(Symbol("code", "", code), node, code, declares=False)
        if code not in KINDS or not colon:
            return
        offset = len(code) + 1
        between = BETWEEN.get(code, "+")
        for part in subject.split(between):
            for form in KINDS[code].subject:
                found = list(self._subject(form.split("."), part, node, offset))
                if found:
                    yield from found
                    break
            offset += len(part) + len(between)

    def _subject(
        self, form: list[str], part: str, node: ScalarNode, offset: int
    ) -> Iterator[Mention]:
        words = part.split(".", len(form) - 1)
        chip = self._names.chip_called(words[0]) if form[0] == "chip" else None
        known = self._names.links if form[0] == "link" else self._names.of(f"{form[0]}s")
        if (chip is None and form[0] == "chip") or (form[0] != "chip" and words[0] not in known):
            return
        if chip is not None and form[1:] == ["variable"] and words[-1] not in chip.variables:
            return  # it may be a signal
        for kind, word in zip(form, words, strict=False):
            owner = chip.lowest if chip is not None and kind in OF_A_CHIP else ""
            name = unnumbered(word) if kind == "chip" else word
            span = find_word(self._text, node, name, offset)
            yield Mention(Symbol(kind, owner, name), self._scene.path, span, name)
            offset += len(word) + 1


def _kind_of_value(chip: ChipNames, word: str, number: bool) -> str:
    """What a value of a chip is, if it is a name: a parameter of it, or a number with a name."""
    if word in chip.parameters:
        return "parameter"
    return "own_constant" if number and word in chip.constants else ""


def find_word(texts: TextMap, node: ScalarNode, word: str, offset: int) -> TextSpan:
    """Where a word of a scalar is in the text, which may be folded or escaped there."""
    text, begin = texts.text, texts.start_of(node.place) + (not node.plain)
    if text.startswith(word, begin + offset) and "\n" not in text[begin : begin + offset]:
        return TextSpan(begin + offset, begin + offset + len(word))
    before = len(re.findall(_whole(word), node.text[:offset]))
    found = re.finditer(_whole(word), text[begin : begin + 3 * len(node.text) + 400])
    for number, match in enumerate(found):
        if number == before:
            return TextSpan(begin + match.start(), begin + match.end())
    return TextSpan(begin, begin)


def _whole(word: str) -> str:
    if not re.match(r"[\w{]", word):
        return re.escape(word)
    return rf"(?<![\w}}]){re.escape(word)}(?![\w{{])"


_BY_KIND = {
    "state": _Walk._of_kind,
    "timer": _Walk._of_kind,
    "link": _Walk._of_kind,
    "chip": _Walk._of_kind,
    "actor": _Walk._of_kind,
    "requirement": _Walk._of_kind,
    "event": _Walk._event,
    "bond": _Walk._dotted,
    "exchanged": _Walk._dotted,
    "argument": _Walk._argument,
    "enumeration": _Walk._enumeration,
    "file": _Walk._file,
    "finding": _Walk._finding,
}
"""By the kind of a value, what it mentions."""
