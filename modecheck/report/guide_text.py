"""The guide as text: its Markdown laid out for the width at hand.

Each topic is a file of `modecheck/guide`. The same files are read in a browser, so that everything
in them is plain Markdown: headings, paragraphs, lists, tables and fenced blocks.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path

from modecheck.report.style import Style

FOLDER = Path(__file__).parents[1] / "guide"
TOPICS = (
    "language",
    "keys",
    "order",
    "expressions",
    "copies",
    "requirements",
    "time",
    "links",
    "tasks",
    "findings",
    "pictures",
    "compare",
    "bench",
    "numbers",
    "faults",
    "large",
    "cluster",
    "ci",
    "library",
    "firmware",
    "formats",
    "implementation",
    "editor",
    "shell",
)
"""In the order in which a newcomer reads them."""

BESIDE = {"large": "cluster"}
"""Topics whose line in the list names a further one: the list has no more lines than a screen."""

WIDEST_COLUMN = 26
"""Cells of all columns but the last are wrapped to this width: the last one explains the others."""

UNBROKEN = "\N{NO-BREAK SPACE}"

ITEM = re.compile(r"( *)(- |\d+\. )")
LINK = re.compile(r"\[([^\]]*)\]\(([^)]*)\)")
STRESSED = re.compile(r"\*\*(.+?)\*\*")


def topic_source(name: str) -> str:
    """The Markdown of a topic."""
    return (FOLDER / f"{name}.md").read_text(encoding="utf-8")


def topic_title(name: str) -> str:
    """What a topic is about, in a line."""
    return topic_source(name).partition("\n")[0].lstrip("# ")


def topics_as_text(style: Style) -> list[str]:
    """Every topic with its title."""
    listed = {one: f"{one}, {BESIDE[one]}" if one in BESIDE else one for one in TOPICS}
    widest = max(map(len, listed.values()))
    return [
        f"  {style.bold(names.ljust(widest))}  {topic_title(name)}"
        for name, names in listed.items()
        if name not in BESIDE.values()
    ]


def topics_about(word: str) -> list[str]:
    """The topics that name a word as code: a key, a finding's code, a command."""
    named = re.compile(rf"`[^`\n]*(?<![\w-]){re.escape(word)}(?![\w-])[^`\n]*`")
    return [name for name in TOPICS if named.search(topic_source(name))]


def topic_as_text(name: str, style: Style) -> list[str]:
    """A topic, laid out."""
    return laid_out(topic_source(name), style)


def laid_out(source: str, style: Style) -> list[str]:
    """Markdown as text; comments and pictures are left out."""
    lines: list[str] = []
    for block in blocks_of(source):
        lines += ["", *_laid_out(block, style)] if lines else _laid_out(block, style)
    return lines


def blocks_of(source: str) -> Iterator[list[str]]:
    """The source divided at blank lines and at the ends of fenced blocks."""
    block: list[str] = []
    fenced = False
    for line in [*source.splitlines(), ""]:
        fence = line.startswith("```")
        if line.startswith(("<!--", "![")) and not fenced:
            continue
        if line.strip() or fenced:
            block.append(line)
        if block and ((fence and fenced) or not (line.strip() or fenced)):
            yield block
            block = []
        fenced ^= fence


def _laid_out(block: list[str], style: Style) -> list[str]:
    first = block[0]
    if first.startswith("```"):
        return _code(block[1:-1], style)
    if first.startswith("#"):
        level, _, title = first.partition(" ")
        rule = "═" if level == "#" else "─"
        return [style.bold(title), style.faint(rule * len(title))]
    if first.startswith("|"):
        return _table(block, style.width)
    return [line for item in items_of(block) for line in _wrapped(item, style)]


def _code(lines: list[str], style: Style) -> list[str]:
    """A program or an output, indented where there is room."""
    room = max(map(len, lines), default=0) + 2 <= style.width
    return textwrap.indent("\n".join(lines), "  ").splitlines() if room else lines


def items_of(block: list[str]) -> Iterator[str]:
    """Each item of a list with its marker, or the paragraph, as one line."""
    item = block[0]
    for line in block[1:]:
        if ITEM.match(line):
            yield item
            item = line
        else:
            item += f" {line.strip()}"
    yield item


def _wrapped(item: str, style: Style) -> list[str]:
    mark = ITEM.match(item)
    indent = " " * len(mark[0]) if mark else ""
    lines = style.wrapped(_plain(item[len(indent) :]), mark[0] if mark else "", indent)
    return [line.replace(UNBROKEN, " ") for line in lines]


def _table(block: list[str], width: int) -> list[str]:
    """A table without its rules; its heading only where it has three columns or more."""
    rows = [list(map(_plain, cells)) for cells in rows_of(block)]
    rows = rows if len(rows[0]) > 2 else rows[1:]
    columns = list(zip(*rows, strict=True))[:-1]
    widths = [min(max(map(len, column)), WIDEST_COLUMN) for column in columns]
    widths.append(width - sum(widths) - 2 * len(widths) - 2)
    lines = []
    for row in rows:
        cells = [
            textwrap.wrap(cell, wide, break_long_words=False, break_on_hyphens=False)
            for cell, wide in zip(row, widths, strict=True)
        ]
        for parts in zip_longest(*cells, fillvalue=""):
            padded = (part.ljust(wide) for part, wide in zip(parts, widths, strict=True))
            lines.append(f"  {'  '.join(padded)}".rstrip().replace(UNBROKEN, " "))
    return lines


def rows_of(block: list[str]) -> list[list[str]]:
    """The cells of a table, with those of its heading."""
    return [
        [cell.strip() for cell in re.split(r"(?<!\\)\|", row.strip()[1:-1])]
        for row in block
        if not re.fullmatch(r"[|\s:-]+", row)
    ]


def _plain(text: str) -> str:
    """Text without links and strong emphasis; short pieces of code are not broken."""
    pieces = re.split(r"(`[^`]*`)", LINK.sub(_link, text))
    return "".join(map(_plain_piece, pieces)).replace(r"\|", "|")


def _plain_piece(piece: str) -> str:
    if not piece.startswith("`"):
        return STRESSED.sub(r"\1", piece)
    return piece.replace(" ", UNBROKEN) if len(piece) < WIDEST_COLUMN else piece


def _link(match: re.Match[str]) -> str:
    """The words of a link; the address of a page elsewhere stays."""
    words, target = match.groups()
    return f"{words} ({target})" if target.startswith("http") and target != words else words
