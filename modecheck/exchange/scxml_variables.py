"""The data model of an SCXML document as variables of a chip, with what they can hold.

SCXML does not say what a variable can hold; a model has to. An export of ours says it in an
attribute; otherwise it follows from the literals that are assigned, if nothing else is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from modecheck.exchange.chip_draft import DraftedVariable
from modecheck.exchange.scxml_chart import Chart, name_of_id
from modecheck.exchange.scxml_data import type_in_words
from modecheck.exchange.scxml_words import DATA_MODEL, OURS
from modecheck.exchange.xml_reading import XmlNode
from modecheck.model.errors import Notebook
from modecheck.model.outlines import LONGEST_LIST
from modecheck.model.places import Place
from modecheck.model.values import TRUTH, ValueType, number_type, word_type

LITERAL = re.compile(r"-?\d{1,10}|true|false|'[^\W\d]\w*'|\"[^\W\d]\w*\"")
ARRAY = re.compile(r"\[(.*)\]", re.DOTALL)
HOLDS = "[0, 9], bool, bond 1, or words"


@dataclass(frozen=True, slots=True)
class ChartVariable:
    """A variable of the data model. `reads` is what it holds of another chip, as `chip.member`;
    one that is `scratch` only holds values between two assignments.
    """

    id: str
    place: Place
    drafted: DraftedVariable | None
    reads: str = ""
    scratch: bool = False


def read_variables(
    chart: Chart, assigned: Mapping[str, list[str]], notes: Notebook
) -> dict[str, ChartVariable]:
    """By id; `assigned` are all expressions that are assigned to each, as text."""
    found: dict[str, ChartVariable] = {}
    for node in data_nodes(chart.root):
        identity = node.words("id")
        if identity in found:
            first = found[identity].place.line
            message = f"the variable {identity!r} is declared twice, first in line {first}"
            notes.add(message, node.place, expected="different ids")
            continue
        if identity.startswith("_"):
            message = f"the id {identity!r} begins with an underscore, as only names of SCXML do"
            notes.add(message, node.place, expected="an id that begins with a letter")
        reads = node.words("reads", OURS)
        scratch = node.words("scratch", OURS) == "true"
        drafted = None
        if not scratch:
            drafted = _Variable(node, assigned.get(identity, []), notes).drafted()
        found[identity] = ChartVariable(identity, node.place, drafted, reads, scratch)
    return found


def note_data_model(chart: Chart, notes: Notebook) -> None:
    """Only one data model has expressions that are read here; `null` has next to none."""
    attribute = chart.root.get("datamodel")
    if attribute is None or attribute.text in (DATA_MODEL, "null"):
        return
    message = f"the data model {attribute.text!r}"
    notes.add(message, attribute.whole, word=attribute.text, choices=[DATA_MODEL, "null"])


def data_nodes(node: XmlNode) -> Iterable[XmlNode]:
    """All variables of a document, in document order; they are global (section 5.3)."""
    for child in node.children:
        if child.tag == "data" and node.tag == "datamodel":
            yield child
        else:
            yield from data_nodes(child)


class _Variable:
    def __init__(self, node: XmlNode, assigned: list[str], notes: Notebook) -> None:
        self._node = node
        self._assigned = assigned
        self._notes = notes

    def drafted(self) -> DraftedVariable | None:
        node = self._node
        source = node.get("src")
        if source is not None:
            self._notes.add("no other file is read", source.place, expected='expr="…"')
            return None
        texts = self._first_values()
        if texts is None:
            return None
        array = ARRAY.fullmatch(self._first_text()) is not None
        type_ = self._type(texts)
        if type_ is None:
            return None
        start = tuple(_value(text, type_) for text in texts) or (type_.first,)
        if any(value is None for value in start):
            message = f"{self._first_text()!r} cannot be a first value"
            self._notes.add(message, self._place_of_value(), expected=str(type_))
            return None
        name = node.words("variable", OURS) or name_of_id(node.words("id"))
        known = tuple(value for value in start if value is not None)
        persistent = node.words("persistent", OURS) == "true"
        return DraftedVariable(name, type_, known, len(texts) if array else 0, persistent)

    def _first_text(self) -> str:
        return self._node.words("expr") or self._node.text.strip()

    def _place_of_value(self) -> Place:
        attribute = self._node.get("expr")
        return attribute.whole if attribute is not None else self._node.place

    def _first_values(self) -> list[str] | None:
        """The literals of the first value, none if there is no value."""
        text = self._first_text()
        match = ARRAY.fullmatch(text)
        texts = [one.strip() for one in match[1].split(",")] if match else [text] if text else []
        if len(texts) > LONGEST_LIST:
            message, expected = f"a list of {len(texts)} values", f"at most {LONGEST_LIST}"
            self._notes.add(message, self._place_of_value(), expected=expected)
            return None
        if not all(LITERAL.fullmatch(one) for one in texts):
            expected = "an integer, true, false, a word in quotes, or a list of such values"
            message = f"{text!r} cannot be a first value"
            self._notes.add(message, self._place_of_value(), expected=expected)
            return None
        return texts

    def _type(self, first: list[str]) -> ValueType | None:
        attribute = self._node.get("holds", OURS)
        if attribute is not None:
            type_ = type_in_words(attribute.text.strip())
            if type_ is None:
                message = f"{attribute.text!r} does not say what the variable holds"
                self._notes.add(message, attribute.whole, expected=HOLDS)
            return type_
        literals = [one for one in self._assigned if LITERAL.fullmatch(one)]
        everything = [*first, *literals]
        kinds = {_kind(one) for one in everything}
        if kinds == {"truth"}:
            return TRUTH
        closed = len(literals) == len(self._assigned)
        if len(kinds) == 1 and (closed or self._node.words("reads", OURS)):
            return _spanning(kinds.pop(), everything)
        self._note_unknown(kinds, everything)
        return None

    def _note_unknown(self, kinds: set[str], everything: list[str]) -> None:
        name = self._node.words("id")
        message = f"what {name!r} can hold is not known: it is also assigned what is computed"
        if len(kinds) != 1:
            values = ", ".join(dict.fromkeys(everything)) or "nothing"
            message = f"what {name!r} can hold is not known: it is assigned {values}"
        expected = f'chip:holds="…" ({HOLDS}), and xmlns:chip="{OURS}" in <scxml>'
        self._notes.add(message, self._node.place, expected=expected)


def _kind(literal: str) -> str:
    if literal in ("true", "false"):
        return "truth"
    return "word" if literal[0] in "'\"" else "number"


def _spanning(kind: str, literals: list[str]) -> ValueType:
    if kind == "word":
        return word_type(tuple(dict.fromkeys(one[1:-1] for one in literals)))
    numbers = [int(one) for one in literals]
    return number_type(min(numbers), max(numbers))


def _value(literal: str, type_: ValueType) -> int | None:
    """The value of a literal, or None if the type does not hold it."""
    kind = _kind(literal)
    if kind == "word":
        return type_.value_of(literal[1:-1]) if type_.kind == "word" else None
    if kind == "truth":
        return int(literal == "true") if type_.kind == "truth" else None
    number = int(literal)
    fits = type_.kind in ("number", "bond") and type_.holds(number)
    return number if fits else None
