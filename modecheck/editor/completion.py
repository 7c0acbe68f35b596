"""What can be written at a place: keys with what they mean, and the names that fit there."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from modecheck.editor.cursor import Cursor, cursor_at, keys_below
from modecheck.editor.expression_names import Suggestion, expression_names
from modecheck.editor.positions import Position, TextSpan
from modecheck.editor.scenes import Scene
from modecheck.editor.session import EditorSession
from modecheck.editor.slots import KeysOf, ModelSlot, NamesOf, ValueOf, keys_in, slot_at, words_for
from modecheck.editor.value_names import value_names
from modecheck.editor.workspace import is_overlay, path_of

KEY, NAME = "key", "name"
NEEDS_QUOTES = set(",[]{}#&*!|>'\"%@`:")
REST_OF_WORD, REST_OF_TEXT = re.compile(r"\w*"), re.compile(r"[^\s,{}\"'#]*")
RESTS = {"finding": REST_OF_TEXT, "file": REST_OF_TEXT, "unit": re.compile(r"[\w.]*(?: \w+)?")}
"""Kinds of which all that is written is replaced, not the last word alone: what may stand of it
behind the cursor.
"""
EXPRESSIONS = ("condition", "assignment", "send")
SCALARS = {"recoverable": ValueOf("condition"), "discards": ValueOf("event"),
           "defers": ValueOf("event"), "scope": ValueOf("scope_word")}  # fmt: skip
"""What some keys may have in place of a mapping."""

SHORT_FORMS = {
    "variables": (
        Suggestion("bool", "word", "true or false, at first false"),
        Suggestion("true", "word", "true or false, at first true"),
        Suggestion("false", "word", "true or false, at first false"),
    ),
    "carries": (
        Suggestion("event", "word", "an edge"),
        Suggestion("state", "word", "the newest value replaces one that waits"),
        Suggestion("relative", "word", "an amount, added to one that waits"),
    ),
}
"""What may stand directly behind a name in a section, in place of a mapping."""


@dataclass(frozen=True, slots=True)
class Completion:
    """What is offered: its text, the kind of thing that it is, a line about it, and the text that
    replaces the characters of `span`.
    """

    label: str
    kind: str
    about: str
    text: str
    span: TextSpan


def completions(session: EditorSession, uri: str, position: Position) -> list[Completion]:
    """All that can be written at a position, the likeliest first."""
    path = path_of(uri)
    text = session.workspace.map_of(path)
    offset = text.offset(position)
    cursor = cursor_at(text.text, offset)
    if cursor is None:
        return []
    scene = session.scene(path)
    slot = slot_at(scene.kind, cursor.path)
    if slot is None:
        return []
    found = list(_suggestions(session, scene, slot, cursor, text.text))
    return [_finished(one, cursor, text.text, offset) for one in _once(found)]


def _once(found: Iterable[Suggestion]) -> Iterator[Suggestion]:
    seen = set[str]()
    for one in found:
        if one.label not in seen:
            seen.add(one.label)
            yield one


def _suggestions(
    session: EditorSession, scene: Scene, slot: ModelSlot, cursor: Cursor, text: str
) -> Iterator[Suggestion]:
    shape = slot.shape
    if cursor.at_key:
        if isinstance(shape, KeysOf):
            yield from _keys(shape, {*cursor.beside, *keys_below(text, cursor)})
        elif isinstance(shape, NamesOf):
            names = _names(session, scene, slot, shape)
            yield from (replace(one, text=f"{one.label}: ") for one in names)
        if _is_empty_value(cursor):
            yield from _values(session, scene, slot, cursor)
    else:
        yield from _values(session, scene, slot, cursor)
        if is_overlay(text) and not (cursor.quote or cursor.text.strip()):
            yield Suggestion("null", "word", "removes what the file beneath has here")


def _is_empty_value(cursor: Cursor) -> bool:
    """A line of its own under a key, which may be more of a value or the first item of a list."""
    return not cursor.in_brackets and not cursor.beside


def _keys(shape: KeysOf, taken: set[str]) -> Iterator[Suggestion]:
    for part in shape.parts:
        for name, key in keys_in(part).items():
            if name not in taken:
                yield Suggestion(name, KEY, key.sentence, f"{name}: ")


def _names(
    session: EditorSession, scene: Scene, slot: ModelSlot, shape: NamesOf
) -> list[Suggestion]:
    """Names that a mapping can have: those that it refers to, or that a file beneath declares."""
    found = list(value_names(session, scene, slot, shape.kind, ""))
    if shape.kind in ("link", "pairing", "requirement", "rule"):
        copies = [name for name, chip in scene.names.chips.items() if chip.copied]
        found += (Suggestion(f"each {name}", NAME, "once for each copy") for name in copies)
    return found


def _values(
    session: EditorSession, scene: Scene, slot: ModelSlot, cursor: Cursor
) -> Iterator[Suggestion]:
    shape = slot.shape
    if not isinstance(shape, ValueOf):
        shape = SCALARS.get(slot.key) or ValueOf("text")
        if isinstance(slot.shape, NamesOf) and slot.key not in SCALARS:
            if slot.shape.kind == "message" and slot.key == "carries":
                yield from value_names(session, scene, slot, "any_message", cursor.text)
            return
        yield from SHORT_FORMS.get(slot.key, ()) if isinstance(slot.shape, KeysOf) else ()
    if shape.kind == "signal" and "(" in cursor.text:
        shape = ValueOf("condition")  # the value that it carries
    if shape.kind in EXPRESSIONS:
        yield from expression_names(scene, slot, shape.kind, cursor.text)
    else:
        yield from value_names(session, scene, slot, shape.kind, cursor.text)
    for word in words_for(slot):
        yield Suggestion(word, "word", f"a value of `{slot.key}`")


def _finished(one: Suggestion, cursor: Cursor, text: str, offset: int) -> Completion:
    """The suggestion with what it replaces, in quotes where YAML needs them."""
    written = one.text or one.label
    typed = len(cursor.text) - _begin_of_word(cursor.text, one.kind)
    start = offset - typed
    whole = not cursor.quote and not cursor.at_key and start == cursor.start
    if whole and (one.kind == "finding" or _needs(written, cursor)):
        written = f'"{written}"'
    rest = RESTS.get(one.kind, REST_OF_WORD).match(text, offset)
    end = rest.end() if rest else offset
    return Completion(one.label, one.kind, one.about, written, TextSpan(start, end))


def _needs(written: str, cursor: Cursor) -> bool:
    """Whether a value has to be in quotes here."""
    return written[:1] in NEEDS_QUOTES or (cursor.in_brackets and bool(set("{}[],") & set(written)))


def _begin_of_word(text: str, kind: str) -> int:
    """Where the word begins that is being written, in a text that ends at the cursor."""
    if kind in RESTS:
        return 0
    at = len(text)
    while at and (text[at - 1].isalnum() or text[at - 1] in "_{}"):
        at -= 1
    return at
