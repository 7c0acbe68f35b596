"""Writes what follows from the declared keys: both JSON Schemas, and the tables of the README.

`python -m tests.declared_keys` does so in place. What the schemas say besides, and the README, is
written by hand.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from modecheck.model.keys import DECLARED, Key, keys_of

ROOT = Path(__file__).parent.parent
WIDTH = 120
"""Columns of a line of JSON, so that most keys take one or a few lines."""

Parts = tuple[str, ...]

SCHEMAS: dict[str, dict[Parts, Parts]] = {
    "chip": {
        (): ("chip_file", "behaviour"),
        ("$defs", "variable"): ("variable",),
        ("$defs", "state"): ("state",),
        ("$defs", "rule"): ("rule",),
    },
    "device": {
        (): ("device",),
        ("properties", "faults"): ("faults",),
        ("properties", "clock"): ("clock",),
        ("$defs", "entry"): ("entry", "behaviour"),
        **{
            ("$defs", name): (name,)
            for name in (
                "message", "link", "chance", "pairing", "fault_of_chips", "fault_of_links",
                "requirement", "acceptance", "expectation",
            )
        },
    },
}  # fmt: skip
"""For each schema the places of mappings with known keys, and the parts whose keys they are."""

TABLES = {
    "a chip": ("entry", "behaviour"),
    "a state": ("state",),
    "a rule": ("rule",),
    "a link": ("link",),
    "a pairing": ("pairing",),
}
"""The tables of the README, by the comment before each, and the parts whose keys they list."""


def written(data: Any, indent: int = 0, room: int = WIDTH) -> str:
    """JSON with whatever fits on a line on one line, and everything else spread out."""
    short = json.dumps(data, ensure_ascii=False)
    if not isinstance(data, dict | list) or not data or (indent and len(short) <= room):
        return short
    left = " " * (indent + 2)
    if isinstance(data, list):
        lines = [left + written(item, indent + 2, WIDTH - indent - 3) for item in data]
        return "[\n" + ",\n".join(lines) + "\n" + " " * indent + "]"
    lines = []
    for name, value in data.items():
        start = f"{left}{json.dumps(name, ensure_ascii=False)}: "
        lines.append(start + written(value, indent + 2, WIDTH - len(start) - 1))
    return "{\n" + ",\n".join(lines) + "\n" + " " * indent + "}"


def path_of(name: str) -> Path:
    """The file of a schema."""
    return DECLARED.with_name(f"{name}.json")


def schema_text(name: str) -> str:
    """The schema as it follows from the keys, and from what its file says besides."""
    schema = json.loads(path_of(name).read_text(encoding="utf-8"))
    for place, parts in SCHEMAS[name].items():
        found = schema
        for step in place:
            found = found[step]
        choices = [found, *found.get("anyOf", [])]
        holder = next(choice for choice in choices if "properties" in choice)
        holder["properties"] = {key: dict(said.schema) for key, said in keys_of(*parts).items()}
    text = written(schema)
    return (text.replace('"chip.json#', '"#') if name == "chip" else text) + "\n"


def readme_text() -> str:
    """The README with its tables of keys as they follow from the keys."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for what, parts in TABLES.items():
        opening = f"<!-- the keys of {what} -->\n\n"
        begin = text.index(opening) + len(opening)
        end = text.index("\n\n", begin)
        text = text[:begin] + "\n".join(_table(what, parts)) + text[end:]
    return text


def _table(what: str, parts: tuple[str, ...]) -> Iterator[str]:
    yield from (f"| key of {what} | meaning |", "| --- | --- |")
    for key in keys_of(*parts).values():
        yield f"| `{key.name}` | {guide_of(key)} |"


def guide_of(key: Key) -> str:
    """The line of the guide: its own, or what the schema says, in the style of the tables."""
    if key.guide:
        return key.guide
    said = str(key.schema["description"]).removesuffix(".")
    return re.sub(r"(?<!\w)'([^']+)'", r"`\1`", said[0].lower() + said[1:])


def main() -> None:
    """Write all of them anew."""
    for name in SCHEMAS:
        path_of(name).write_text(schema_text(name), encoding="utf-8")
    (ROOT / "README.md").write_text(readme_text(), encoding="utf-8")


if __name__ == "__main__":
    main()
