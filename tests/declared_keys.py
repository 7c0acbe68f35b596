"""Writes what follows from the declared keys: both JSON Schemas, and the tables of the guide.

`python -m tests.declared_keys` does so in place. What the schemas and the guide say besides is
written by hand.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from modecheck.model.keys import DECLARED, keys_of

TOPIC = DECLARED.parents[2] / "guide" / "keys.md"
WIDTH = 120
"""Columns of a line of JSON, so that most keys take one or a few lines."""

Parts = tuple[str, ...]

SCHEMAS: dict[str, dict[Parts, Parts]] = {
    "chip": {
        (): ("chip_file", "behaviour"),
        ("$defs", "variable"): ("variable",),
        ("$defs", "state"): ("state",),
        ("$defs", "rule"): ("rule",),
        ("$defs", "branch"): ("branch",),
    },
    "device": {
        (): ("device",),
        ("properties", "faults"): ("faults",),
        ("properties", "clock"): ("clock",),
        ("$defs", "entry"): ("entry", "behaviour"),
        **{
            ("$defs", name): (name,)
            for name in (
                "message", "signal", "link", "chance", "pairing", "fault_of_chips",
                "fault_of_links", "requirement", "acceptance", "expectation",
            )
        },
    },
}  # fmt: skip
"""For each schema the places of mappings with known keys, and the parts whose keys they are."""

TABLES = {
    "The device": ("device",),
    "Chips and actors": ("chip_file", "entry", "behaviour"),
    "States": ("state",),
    "Rules": ("rule",),
    "Branches of a rule": ("branch",),
    "Links": ("link",),
    "Pairings and modes": ("pairing",),
}
"""The tables of the guide, by the heading above each, and the parts whose keys they list."""


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


def guide_text() -> str:
    """The topic of the guide with its tables as they follow from the keys."""
    text = TOPIC.read_text(encoding="utf-8")
    for heading, parts in TABLES.items():
        above = f"## {heading}\n\n"
        begin = text.index(above) + len(above)
        end = text.index("\n\n", begin)
        rows = [f"| `{key.name}` | {key.sentence} |" for key in keys_of(*parts).values()]
        text = text[:begin] + "\n".join(["| key | meaning |", "| --- | --- |", *rows]) + text[end:]
    return text


def main() -> None:
    """Write all of them anew."""
    for name in SCHEMAS:
        path_of(name).write_text(schema_text(name), encoding="utf-8")
    TOPIC.write_text(guide_text(), encoding="utf-8")


if __name__ == "__main__":
    main()
