"""The keys of a model as declarations: `schema/keys.json` has one entry for each key of each part.

Everything else follows from an entry: that the part may have the key, how it is read and what
`compare` sees of it (by its `kind`), its JSON Schema, and its line in the tables of the guide
(`python -m tests.declared_keys` writes both anew). A key is read by the reader of its part, unless
`key_readers.py` has one for its kind.
"""

from __future__ import annotations

import json
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


@cache
def keys_of(*parts: str) -> dict[str, Key]:
    """The keys of a part, or of several that share one mapping, by name."""
    return {name: key for part in parts for name, key in _declared()[part].items()}


@cache
def _declared() -> dict[str, dict[str, Key]]:
    with DECLARED.open(encoding="utf-8") as file:
        parts = json.load(file)
    return {
        part: {name: _key(name, said) for name, said in keys.items()}
        for part, keys in parts.items()
    }


def _key(name: str, said: dict[str, Any]) -> Key:
    own = {word: said.pop(word) for word in OWN & said.keys()}
    return Key(name, said, **own)
