"""What people read, as a tree: sections, paragraphs, records, grids, scenarios and findings.

A report builds it once. The terminal, Markdown and the page each render all of it, so what one of
them shows the others show too. Text of a model stays text: whoever renders it escapes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from modecheck.checks.findings import Finding
from modecheck.report.finding_groups import FindingGroup
from modecheck.scenario.telling import ToldStep

STRONG, FAINT, GOOD, BAD, OPEN = "strong", "faint", "good", "bad", "open"
"""Tones. Open is what is unknown, and what is only a warning."""

OLD, NEW = "old", "new"
"""Tones of the two sides of a change; only a page shows them."""


@dataclass(frozen=True, slots=True)
class Fragment:
    """Words within a line: in a tone, or as `code`, that is, verbatim. The id of a finding that is
    `reported` in full leads there on a page.
    """

    text: str
    tone: str = ""
    code: bool = False
    reported: bool = False


Words: TypeAlias = str | Fragment | tuple[str | Fragment, ...]


def fragments(words: Words) -> tuple[Fragment, ...]:
    """The words, fragment by fragment."""
    parts = words if isinstance(words, tuple) else (words,)
    return tuple(one if isinstance(one, Fragment) else Fragment(one) for one in parts)


def plain(words: Words) -> str:
    """The words without tones."""
    return "".join(span.text for span in fragments(words))


def code(text: str, tone: str = "") -> Fragment:
    """A name or a place, verbatim."""
    return Fragment(text, tone, code=True)


@dataclass(frozen=True, slots=True)
class Title:
    """The subject of a report, and what is said of it in a few words."""

    name: str
    said: str = ""
    tone: str = ""


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A sentence or several. A terminal indents it, and its further lines by `hang` more; if it is
    not `wrapped`, it stays one line.
    """

    words: Words
    tone: str = ""
    indent: int = 2
    hang: int = 2
    wrapped: bool = True


BLANK = Paragraph("")
"""A blank line on a terminal; documents part their blocks anyway."""


@dataclass(frozen=True, slots=True)
class Item:
    """An entry of a list, with notes. A terminal sets its bullet before it, if it has one; where
    that is `[ ]` it is a box to check.
    """

    words: Words
    bullet: Words = "-"
    notes: tuple[Words, ...] = ()
    tone: str = ""
    indent: int = 2
    hang: int = 0


@dataclass(frozen=True, slots=True)
class Fold:
    """Paragraphs or other blocks that a summary stands for: a terminal shows only the summary,
    documents open it.
    """

    summary: Paragraph
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Verbatim:
    """Text as it stands in a file."""

    text: str


@dataclass(frozen=True, slots=True)
class Record:
    """Short cells, then a sentence, and below it notes. Links on a page lead to its `anchor`."""

    cells: tuple[Words, ...]
    words: Words = ""
    notes: tuple[Paragraph | Fold, ...] = ()
    anchor: str = ""


@dataclass(frozen=True, slots=True)
class Records:
    """Records with aligned cells. The heads name the columns in a document, the last one those of
    the sentences.
    """

    heads: tuple[str, ...]
    rows: tuple[Record, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows of equally many cells, the first `heads` of them headings. The first column holds names,
    unless `figures` says that it is like the others. Where a terminal is too narrow it shows the
    columns in parts, `spaced` by a blank line. Columns headed by numbers have `names`.
    """

    rows: tuple[tuple[Words, ...], ...]
    heads: int = 1
    figures: bool = False
    tone: str = ""
    spaced: bool = False
    names: tuple[str, ...] = ()

    @property
    def numbered(self) -> str:
        """The names with the numbers of their columns."""
        return ", ".join(f"{number} {name}" for number, name in enumerate(self.names, start=1))


@dataclass(frozen=True, slots=True)
class Measure:
    """What was measured, its figures, remarks, and scenarios that show it."""

    name: str
    figures: tuple[Fragment, ...]
    remarks: tuple[str, ...] = ()
    blocks: tuple[Block, ...] = ()


@dataclass(frozen=True, slots=True)
class Measures:
    """Measures of one kind under the names of their figures; `remark` says how to read them."""

    heads: tuple[str, ...]
    remark: str
    rows: tuple[Measure, ...]


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps of a scenario; none with a number in `breaks` is joined with those before it. A
    terminal leaves out the middle of a long one that is not to be `whole`.
    """

    told: Sequence[ToldStep]
    breaks: tuple[int, ...] = ()
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Findings:
    """Findings of one kind, those of one cause as one entry with the shortest scenario. Unless they
    are to be `whole`, a terminal leaves out the middle of a long scenario, and steps that it has
    shown before.
    """

    code: str
    groups: tuple[FindingGroup, ...]
    whole: bool = False

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Each of them, in the order of their entries."""
        return tuple(one for group in self.groups for one in group.findings)


@dataclass(frozen=True, slots=True)
class Chapter:
    """Blocks under a heading. A document can fold it away if `folded` is not None, and then its
    `summary` may stand for the heading. Links on a page lead to its `anchor`.
    """

    heading: Words
    blocks: tuple[Block, ...]
    remark: str = ""
    tone: str = STRONG
    summary: str = ""
    folded: bool | None = None
    anchor: str = ""


class PageOnly:
    """What only a page shows, and defines."""


Block: TypeAlias = (
    Title
    | Paragraph
    | Item
    | Fold
    | Verbatim
    | Records
    | Grid
    | Measures
    | Steps
    | Findings
    | Chapter
    | PageOnly
)
