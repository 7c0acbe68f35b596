"""Give a part another name, in every file of every device that names it.

A text that describes several chips names theirs with parameters: who calls front_air anew must be
able to write `{side}_…`, and calls rear_air anew, too. Nothing is changed unless all of it can be.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from modecheck.editor.mentions import Mention, Symbol, mentions_in_device, mentions_in_file
from modecheck.editor.navigation import NO_NAMES, mentions_at
from modecheck.editor.positions import Position, TextSpan
from modecheck.editor.real_paths import real_path
from modecheck.editor.scenes import Scene
from modecheck.editor.session import EditorSession
from modecheck.editor.workspace import Workspace, path_of
from modecheck.model.devices import read_device
from modecheck.model.errors import InputError, InvalidInput
from modecheck.model.links import CORRUPTED
from modecheck.model.phrases import BRACED
from modecheck.model.shapes import IDENTIFIER, RESERVED
from modecheck.model.text_files import HeldTexts, instead_of_files

SHARED_NAMES = ("variable", "parameter", "own_constant", "constant", "option", "mode", "list")
"""Kinds whose names stand alone in the same expressions, so no two of them may be the same."""


class CannotRename(Exception):
    """Why a name cannot be given."""


@dataclass(frozen=True, slots=True)
class Edit:
    """A text to be put in the place of another, in the file at a path."""

    path: str
    span: TextSpan
    text: str


def nameable(session: EditorSession, uri: str, position: Position) -> Mention:
    """What can be renamed at a position. Raises `CannotRename`."""
    found = [
        one
        for one in mentions_at(session, path_of(uri), position)
        if one.symbol.kind not in NO_NAMES and one.symbol.name != CORRUPTED
    ]
    if not found:
        raise CannotRename("nothing that is named in the model stands here")
    return found[0]


def renamed(session: EditorSession, uri: str, position: Position, name: str) -> list[Edit]:
    """The edits that give the part at a position another name. Raises `CannotRename`."""
    first = nameable(session, uri, position)
    here = [
        one
        for one in mentions_at(session, path_of(uri), position)
        if one.span == first.span and one.symbol.kind not in NO_NAMES
    ]
    scenes = list(_scenes(session, path_of(uri), {one.symbol for one in here}))
    mentions = [one for one in _mentions(session.workspace, scenes) if not _is_argument(one)]
    plan = _Plan(scenes, mentions)
    for one in here:
        plan.give(one.symbol, plan.filled(name, one))
    plan.close()
    edits = plan.edits()
    _need_readable(session.workspace, scenes, edits)
    return edits


def _mentions(workspace: Workspace, scenes: list[Scene]) -> Iterator[Mention]:
    """The mentions in all files; in a file that several devices read alike, once."""
    known = set[tuple[object, ...]]()
    for scene in scenes:
        for path in workspace.files_of(scene.names.path):
            readers = _readers(scene, real_path(path))
            if readers and (real_path(path), readers) in known:
                continue
            known.add((real_path(path), readers))
            yield from mentions_in_file(workspace, scene, path)


def _is_argument(mention: Mention) -> bool:
    """Whether a chip or a link is named by a parameter alone: it changes where that is given."""
    return mention.symbol.kind in ("chip", "link") and bool(BRACED.fullmatch(mention.written))


def _readers(scene: Scene, path: str) -> tuple[object, ...]:
    """The chips that a file describes, with their parameters."""
    chips = scene.names.described_in(path)
    return tuple((chip.name, *sorted(chip.parameters.items())) for chip in chips)


def _all(workspace: Workspace, scene: Scene) -> list[Mention]:
    return [one for found in mentions_in_device(workspace, scene).values() for one in found]


def _scenes(session: EditorSession, path: str, symbols: set[Symbol]) -> Iterator[Scene]:
    """The scenes of all devices near the file that share a file which names one of the symbols."""
    workspace = session.workspace
    home = session.scene(path)
    yield home
    naming = {real_path(one.path) for one in _all(workspace, home) if one.symbol in symbols}
    for device in workspace.devices_beside(path):
        if real_path(device) == real_path(home.names.path):
            continue
        if naming & set(map(real_path, workspace.files_of(device))):
            yield session.scene(device, device)


@dataclass(slots=True)
class _Plan:
    """New names of symbols, which make others necessary."""

    scenes: list[Scene]
    mentions: list[Mention]
    names: dict[Symbol, str] = field(default_factory=dict)
    forms: dict[tuple[str, TextSpan], str] = field(default_factory=dict)

    def filled(self, text: str, mention: Mention) -> str:
        return BRACED.sub(lambda match: self._value(mention.chip, match[1]) or match[0], text)

    def _value(self, chip: str, parameter: str) -> str:
        for scene in self.scenes:
            known = scene.names.chip_called(chip)
            if known is not None:
                return known.parameters.get(parameter, "")
        return ""

    def give(self, symbol: Symbol, name: str) -> None:
        """Plan a new name for a symbol."""
        if self.names.get(symbol, name) != name:
            raise CannotRename(
                f"{symbol.name!r} would be called {name!r} and {self.names[symbol]!r}"
            )
        if not IDENTIFIER.fullmatch(name):
            expected = "letters, digits and _, not starting with a digit"
            raise CannotRename(f"{name!r} cannot be a name; expected {expected}")
        if name in RESERVED:
            raise CannotRename(f"{name!r} is a reserved word in expressions")
        self.names[symbol] = name

    def close(self) -> None:
        """Add all names that change because a text writes several of them at once."""
        at_place: dict[tuple[str, TextSpan], list[Mention]] = {}
        for one in self.mentions:
            if "{" in one.written:
                at_place.setdefault((real_path(one.path), one.span), []).append(one)
        while True:
            before = len(self.names)
            for place, found in at_place.items():
                for one in found:
                    if one.symbol in self.names:
                        self._follow(one, place, found)
            if len(self.names) == before:
                break
        self._need_free()

    def _follow(self, mention: Mention, place: tuple[str, TextSpan], found: list[Mention]) -> None:
        self.forms[place] = form = self._form(mention)
        for other in found:
            self.give(other.symbol, self.filled(form, other))

    def _form(self, mention: Mention) -> str:
        """The new name with the parameters of the old one in braces."""
        name = self.names[mention.symbol]
        rest, form = name, ""
        for match in BRACED.finditer(mention.written):
            value = self._value(mention.chip, match[1])
            before = mention.written[: match.start()].rpartition("}")[2]
            at = len(before) if rest.startswith(value, len(before)) else rest.find(value)
            if not value or at < 0:
                raise CannotRename(
                    f"{mention.path} writes {mention.written}, so the new name has to contain "
                    f"{value!r}, as {mention.symbol.name} does"
                )
            form += rest[:at] + match[0]
            rest = rest[at + len(value) :]
        return form + rest

    def _need_free(self) -> None:
        """No two parts of a kind in one place may have the same name."""
        taken = {self._place(one.symbol): one.symbol for one in self.mentions if one.declares}
        for symbol, name in self.names.items():
            place = self._place(Symbol(symbol.kind, symbol.owner, name))
            other = taken.get(place)
            if other is not None and other not in self.names and name != symbol.name:
                raise CannotRename(f"there is {_a(other.kind)} {name!r} already")

    @staticmethod
    def _place(symbol: Symbol) -> tuple[str, str, str]:
        kind = "name" if symbol.kind in SHARED_NAMES else symbol.kind
        return kind, symbol.owner, symbol.name

    def edits(self) -> list[Edit]:
        """The edits, each place once. Raises `CannotRename` where two would differ."""
        found: dict[tuple[str, TextSpan], Edit] = {}
        for one in self.mentions:
            if one.symbol not in self.names:
                continue
            place = real_path(one.path), one.span
            text = self.forms.get(place, self.names[one.symbol])
            known = found.setdefault(place, Edit(one.path, one.span, text))
            if known.text != text:
                raise CannotRename(f"{one.path} writes {one.written!r} for several parts")
        return list(found.values())


def _a(kind: str) -> str:
    word = kind.removeprefix("own_")
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"


def with_edits(text: str, edits: list[Edit]) -> str:
    """A text with the edits made that are its own."""
    for one in sorted(edits, key=lambda one: -one.span.start):
        text = text[: one.span.start] + one.text + text[one.span.end :]
    return text


def _need_readable(workspace: Workspace, scenes: list[Scene], edits: list[Edit]) -> None:
    """Read every device with the edits made: there must be no error that there was not before."""
    texts = dict(workspace.held().texts)
    changed = dict(texts)
    for path in {one.path for one in edits}:
        own = [one for one in edits if real_path(one.path) == real_path(path)]
        changed[real_path(path)] = with_edits(workspace.text_of(path) or "", own)
    touched = {real_path(one.path) for one in edits}
    shared = set(map(real_path, workspace.files_of(scenes[0].names.path)))
    for scene in scenes:
        alone = set(map(real_path, workspace.files_of(scene.names.path))) - shared
        if scene is not scenes[0] and not alone & touched:
            continue  # what it shares with the first is read there
        before = _errors(scene.names.path, texts)
        after = _errors(scene.names.path, changed)
        if len(after) > len(before):
            known = {one.message for one in before}
            new = next((one for one in after if one.message not in known), after[0])
            raise CannotRename(f"then {new.place or scene.names.path}: {new.message}")


def _errors(path: str, texts: Mapping[str, str]) -> tuple[InputError, ...]:
    try:
        with instead_of_files(HeldTexts(texts)):
            read_device(path)
    except InvalidInput as wrong:
        return wrong.errors
    return ()
