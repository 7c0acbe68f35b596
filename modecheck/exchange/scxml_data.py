"""Variables of a chip in the data model of SCXML: their names, first values, and what they hold."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from modecheck.exchange.ecmascript_terms import spelled_in_ecmascript
from modecheck.exchange.scxml_words import KEYWORDS
from modecheck.model.parts import Chip
from modecheck.model.values import TRUTH, ValueType, bond_type, number_type, word_type

RANGE = re.compile(r"\[(-?\d{1,10}), (-?\d{1,10})\]")
BOND = re.compile(r"bond ([1-7])")


def variable_ids(chip: Chip) -> dict[str, str]:
    """The id of each variable: its name, unless that means something in ECMAScript, begins as only
    names of SCXML itself do (section 5.10), or is the id of a state (section 3.14).
    """
    taken = {*KEYWORDS, *chip.states}
    kept = {name: name for name in chip.variables if free_id(name, taken) == name}
    taken |= {*kept}
    found = {}
    for name in chip.variables:
        found[name] = kept.get(name) or free_id(name, taken)
        taken.add(found[name])
    return found


def free_id(name: str, taken: Collection[str] = ()) -> str:
    """An id like a name that begins with no underscore and is not taken."""
    found = f"v{name}" if name.startswith("_") else name
    while found in taken:
        found += "_"
    return found


def literal(values: Sequence[int], type_: ValueType, length: int) -> str:
    """First values as an expression: one value, or an array."""
    texts = [spelled_in_ecmascript(value, type_) for value in values]
    return f"[{', '.join(texts)}]" if length else texts[0]


def words_of_type(type_: ValueType) -> str:
    """What a variable holds, for the attribute `chip:holds`."""
    if type_.kind == "truth":
        return "bool"
    if type_.kind == "bond":
        return f"bond {type_.high}"
    return " ".join(type_.words) if type_.kind == "word" else f"[{type_.low}, {type_.high}]"


def type_in_words(text: str) -> ValueType | None:
    """The type that `words_of_type` wrote, or None."""
    if text == "bool":
        return TRUTH
    if match := RANGE.fullmatch(text):
        low, high = int(match[1]), int(match[2])
        return number_type(low, high) if low <= high else None
    if match := BOND.fullmatch(text):
        return bond_type(int(match[1]))
    words = text.split()
    known = all(re.fullmatch(r"[^\W\d]\w*", word) for word in words)
    return word_type(tuple(words)) if words and known and len(set(words)) == len(words) else None
