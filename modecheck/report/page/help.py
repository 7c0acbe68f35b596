"""The guide on a page: its Markdown as blocks of the document tree, each topic folded away."""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.report import document_tree as doc
from modecheck.report.guide_text import (
    ITEM,
    LINK,
    TOPICS,
    blocks_of,
    items_of,
    rows_of,
    topic_source,
    topic_title,
)
from modecheck.report.page.blocks import PageSection

INLINE = re.compile(r"`(?P<code>[^`]+)`|(\*\*?)(?P<stressed>[^*\s][^*]*)\2")


def help_section() -> PageSection:
    """The whole guide, as `modecheck guide` shows it."""
    intro = doc.Paragraph(
        (
            "The guide to modecheck; “",
            topic_title("pictures"),
            "” tells how to use this page. A terminal shows the same with ",
            doc.code("modecheck guide TOPIC"),
            ", and ",
            doc.code("modecheck explain WORD"),
            " explains a finding, a key or a function.",
        )
    )
    return PageSection("help", "Help", (intro, *map(topic_blocks, TOPICS)))


def topic_blocks(name: str) -> doc.Chapter:
    """A topic with its chapters."""
    first, *others = list(_chapters(topic_source(name)))
    blocks = (*first.blocks, *others)
    return doc.Chapter(first.heading, blocks, folded=True, anchor=f"help-{name}")


def _chapters(source: str) -> Iterator[doc.Chapter]:
    heading, blocks = "", list[doc.Block]()
    for block in blocks_of(source):
        if block[0].startswith("#"):
            if heading:
                yield doc.Chapter(heading, tuple(blocks))
            heading, blocks = block[0].lstrip("# ").replace("`", ""), []
        else:
            blocks += _blocks(block)
    yield doc.Chapter(heading, tuple(blocks))


def _blocks(block: list[str]) -> Iterator[doc.Block]:
    if block[0].startswith("```"):
        yield doc.Verbatim("\n".join(block[1:-1]))
    elif block[0].startswith("|"):
        heads, *rows = [list(map(_words, cells)) for cells in rows_of(block)]
        records = tuple(doc.Record(tuple(row[:-1]), row[-1]) for row in rows)
        yield doc.Records(tuple(map(doc.plain, heads)), records)
    else:
        for item in items_of(block):
            mark = ITEM.match(item)
            if mark is None:
                yield doc.Paragraph(_words(item))
            else:
                yield doc.Item(_words(item[mark.end() :]), mark[2].strip())


def _words(text: str) -> doc.Words:
    """Text with code and strong emphasis; of links the words."""
    text = LINK.sub(r"\1", text).replace(r"\|", "|")
    words: list[str | doc.Fragment] = []
    end = 0
    for found in INLINE.finditer(text):
        words.append(text[end : found.start()])
        code = found["code"]
        words.append(doc.code(code) if code else doc.Fragment(found["stressed"], doc.STRONG))
        end = found.end()
    return tuple(one for one in (*words, text[end:]) if one)
