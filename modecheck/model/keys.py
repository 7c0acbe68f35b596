"""The keys of a model as declarations: `schema/keys.json` has one entry for each key of each part.

Everything else follows from an entry: that the part may have the key, how it is read and what
`compare` sees of it (by its `kind`), its JSON Schema, and its line in the tables of the guide
(`python -m tests.declared_keys` writes both anew). A key is read by the reader of its part, unless
`key_readers.py` has one for its kind.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

DECLARED = Path(__file__).parent / "schema" / "keys.json"
OWN = {"kind", "field", "words", "beside", "only_with", "mark", "guide"}
"""What an entry says besides the JSON Schema of the value."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a part. `field` is the attribute that holds its value, `words` the one with its
    text, if any. It needs one of the keys `beside`, if there are any; of a part of several kinds,
    it goes with those in `only_with`. With a `mark` it stands on statecharts, `{key: value}`.
    `guide` is its line in the guide, if that says more than `schema`.
    """

    name: str
    schema: Mapping[str, Any]
    kind: str = ""
    field: str = ""
    words: str = ""
    beside: Sequence[str] = ()
    only_with: Sequence[str] = ()
    mark: bool = False
    guide: str = ""

    @property
    def attribute(self) -> str:
        return self.field or self.name

    @property
    def sentence(self) -> str:
        """Its line in the guide, or what the schema says, in the style of the guide."""
        if self.guide:
            return self.guide
        schema = self.schema if "description" in self.schema else definition(self.schema["$ref"])
        said = str(schema["description"]).removesuffix(".")
        return re.sub(r"(?<!\w)'([^']+)'", r"`\1`", said[0].lower() + said[1:])


@cache
def keys_of(*of: str) -> dict[str, Key]:
    """The keys of a part, or of several that share one mapping, by name."""
    return {name: key for part in of for name, key in _declared()[part].items()}


def parts() -> tuple[str, ...]:
    """The parts that have keys, in the order in which they are declared."""
    return tuple(_declared())


@cache
def _declared() -> dict[str, dict[str, Key]]:
    with DECLARED.open(encoding="utf-8") as file:
        declared = json.load(file)
    return {
        part: {name: _key(name, said) for name, said in keys.items()}
        for part, keys in declared.items()
    }


@cache
def definition(reference: str) -> Mapping[str, Any]:
    """What a schema refers to, such as `chip.json#/$defs/text`; without a file, in the device's."""
    file, _, name = reference.partition("#/$defs/")
    with DECLARED.with_name(file or "device.json").open(encoding="utf-8") as schema:
        found: Mapping[str, Any] = json.load(schema)["$defs"][name]
    return found


def _key(name: str, said: dict[str, Any]) -> Key:
    own = {word: said.pop(word) for word in OWN & said.keys()}
    return Key(name, said, **own)
