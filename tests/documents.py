"""What a user reads to learn the tool, README and guide alike, and the examples in it.

An example is a fenced block below a comment that says what it is for: `<!-- runs -->`, or
`<!-- shown by: modecheck check … -->`. Tests ask for examples by the beginning of that comment.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
GUIDE = ROOT / "modecheck" / "guide"
DOCUMENTS = (README, *sorted(GUIDE.rglob("*.md")))
EXAMPLE = re.compile(r"^<!-- (.+?) -->\n```\w+\n(.*?)^```$", re.DOTALL | re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Example:
    """A block of a document: what its comment says after the words that were asked for, and its
    text.
    """

    document: str
    said: str
    text: str


def examples(mark: str) -> list[Example]:
    """The blocks whose comment is this text, or this text, a colon and more."""
    return [
        Example(path.name, said[len(mark) :].removeprefix(":").strip(), text)
        for path in DOCUMENTS
        for said, text in EXAMPLE.findall(path.read_text(encoding="utf-8"))
        if said == mark or said.startswith(f"{mark}:")
    ]


def marks() -> set[str]:
    """What all comments above blocks say, up to a colon."""
    return {
        said.partition(":")[0]
        for path in DOCUMENTS
        for said, _ in EXAMPLE.findall(path.read_text(encoding="utf-8"))
    }


def the_guide() -> str:
    """All topics, one after the other."""
    return "\n".join(path.read_text(encoding="utf-8") for path in sorted(GUIDE.glob("*.md")))
