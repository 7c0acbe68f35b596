"""What a word means: a finding's code, a key of a model, a word of an expression, an exit code.

Nothing is said twice: codes are explained by their kind and by a page of examples in
`guide/findings`, keys by their declaration, the other words by the rows of the guide's tables.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from modecheck.model.finding_kinds import KINDS, FindingKind
from modecheck.model.keys import keys_of, parts
from modecheck.model.wording import listed
from modecheck.report.guide_text import FOLDER, laid_out, topic_source
from modecheck.report.style import Style

OF_PARTS = {
    "device": "a device",
    "chip_file": "a file of a chip or an actor",
    "entry": "a chip or an actor in the device file",
    "behaviour": "a chip or an actor",
    "state": "a state",
    "variable": "a variable",
    "rule": "a rule",
    "branch": "a branch of a rule",
    "link": "a link",
    "message": "a message",
    "signal": "a signal",
    "pairing": "a pairing",
    "requirement": "a requirement",
    "chance": "a question about probabilities",
    "clock": "the clock",
    "faults": "the faults",
    "fault_of_chips": "a power cut or a reset",
    "fault_of_links": "a loss or a duplication",
    "acceptance": "an accepted finding",
    "expectation": "an expected finding",
}
"""The parts that have keys, as `modecheck.model.keys` declares them."""

TOPIC_OF_PART = {
    "requirement": "requirements",
    "chance": "numbers",
    "clock": "time",
    "acceptance": "findings",
    "expectation": "findings",
}
"""Where the guide says more; for all other parts it is `keys`."""

TABLES = {
    "expression": ("expressions", "in an expression", "Expressions"),
    "event": ("requirements", "an event, in a requirement", "Expressions"),
    "pattern": ("requirements", "a pattern of a requirement", "Keys"),
    "`scope`": ("requirements", "a scope of a requirement", "Keys"),
    "exit code": ("ci", "an exit code", "Exit codes"),
}
"""Tables of the guide, by their first heading: the topic, what their words are, and the group."""

ANY_WORD = re.compile(r"(?<!\d )[a-z_]{2,}|^\d+$|[=<>!+*/%-]+")
"""What a cell of a table explains; single letters in it stand for anything, as do quantities."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a word means in one place: `role` says what it is there, `topic` explains more."""

    role: str
    text: str
    topic: str
    group: str


def explainable() -> dict[str, dict[str, str]]:
    """Every word that is explained, with a sentence, in groups."""
    groups: dict[str, dict[str, str]] = {
        "Findings": {code: kind.meaning for code, kind in KINDS.items()},
        "Keys": {},
        "Expressions": {},
        "Exit codes": {},
    }
    for word, meanings in _meanings().items():
        for one in meanings:
            groups[one.group].setdefault(word, one.text)
    return groups | {"Keys": dict(sorted(groups["Keys"].items()))}


def all_words() -> tuple[str, ...]:
    """Every word that is explained, once."""
    return tuple(dict.fromkeys(word for group in explainable().values() for word in group))


def words_as_text(style: Style) -> list[str]:
    """Every word in a line of its own, with as much of its sentence as fits."""
    lines: list[str] = []
    for group, words in explainable().items():
        wide = max(map(len, words))
        lines += ["", style.bold(group)]
        for word, text in words.items():
            short = textwrap.shorten(
                text.replace("`", ""), style.width - wide - 4, placeholder=" …"
            )
            lines.append(f"  {word:<{wide}}  {short}")
    return lines


def explanation(word: str, style: Style) -> list[str]:
    """The explanation of a known word, or of the id of a finding, laid out."""
    code, colon, _ = word.partition(":")
    sources = []
    if code in KINDS:
        sources.append(_of_code(code, KINDS[code], word if colon else ""))
    if not colon and word in _meanings():
        sources.append(_of_word(word))
    return laid_out("\n\n".join(sources), style)


def _of_code(code: str, kind: FindingKind, finding: str) -> str:
    """Markdown that explains a code, and its smallest example."""
    cures = "\n".join(f"- {cure}" for cure in kind.cures)
    parts_of_it = [
        f"# {code}, {'an error' if kind.severity == 'error' else 'a warning'}",
        f"{_sentence(kind.meaning)} {kind.about}",
        f"Why it matters: {kind.why[0].lower()}{kind.why[1:]}",
        *([_of_id(finding, kind)] if finding else []),
        "## What usually helps",
        cures,
        example_source(code).replace(f"# {code}: ", "## For example: ", 1),
        f"With each change shown here, `modecheck check device.yaml --with FILE` finds nothing. "
        f"`modecheck explain {code} DEVICE` shows the findings of this kind in a device of yours.",
    ]
    return "\n\n".join(parts_of_it)


def example_source(code: str) -> str:
    """The Markdown of a smallest device that has this finding, and of its cures."""
    return (FOLDER / "findings" / f"{code}.md").read_text(encoding="utf-8")


def _of_id(finding: str, kind: FindingKind) -> str:
    """What the second half of an id names."""
    forms = ", or ".join(_form(form.split(".")) for form in kind.subject) or "the part"
    return f"In `{finding}`, the words after the colon name {forms}."


def _form(words: list[str]) -> str:
    first = f"{'an' if words[0][0] in 'aeiou' else 'a'} {words[0]}"
    return listed([first, *(f"its {word}" for word in words[1:])])


def _of_word(word: str) -> str:
    """Markdown with a line for each meaning of a word."""
    meanings = _meanings()[word]
    lines = "\n".join(f"- As {one.role}: {one.text}" for one in meanings)
    topics = dict.fromkeys(one.topic for one in meanings)
    more = listed([f"`modecheck guide {topic}`" for topic in topics])
    return "\n\n".join([f"# {word}", lines, f"More: {more}"])


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."


@cache
def _meanings() -> dict[str, list[Meaning]]:
    """The meanings of every key and of every word that a table explains."""
    found: dict[str, list[Meaning]] = {}
    for heading in TABLES:
        for word, one in _rows(heading):
            found.setdefault(word, []).append(one)
    required = keys_of("requirement")
    by_pattern = {word for word, _ in _rows("pattern")} & required.keys()
    for part in parts():
        topic, role = TOPIC_OF_PART.get(part, "keys"), f"a key of {OF_PARTS[part]}"
        for name, key in keys_of(part).items():
            if part != "requirement" or name not in by_pattern:
                found.setdefault(name, []).append(Meaning(role, key.sentence, topic, "Keys"))
    return found


def _rows(heading: str) -> Iterator[tuple[str, Meaning]]:
    """The words of the first column of a table of the guide, each with what its row says."""
    topic, role, group = TABLES[heading]
    table = topic_source(topic).partition(f"| {heading} | ")[2].partition("\n\n")[0]
    for row in table.splitlines()[2:]:
        form, text = (cell.strip() for cell in re.split(r"(?<!\\)\|", row.strip()[1:-1]))
        code = re.sub(r"\([^)]*\)|\[[^\]]*\]", "", " ".join(re.findall(r"`([^`]*)`", form)))
        for word in dict.fromkeys(ANY_WORD.findall(code)):
            told = text if form == f"`{word}`" else f"{form}: {text}"
            yield word, Meaning(role, told, topic, group)
