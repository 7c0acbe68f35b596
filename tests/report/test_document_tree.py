"""A report is built once: the terminal, Markdown and the page say the same of it."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from modecheck.report import document_tree as doc
from modecheck.report.markdown import markdown_of
from modecheck.report.page.document import environment
from modecheck.report.style import Style
from modecheck.report.terminal import lines_of
from tests.cli.running import MODELS, run

STARTER = str(MODELS / "starter" / "device.yaml")
SILENT = str(MODELS / "faulty" / "silent_plug.yaml")
SLUMBER = str(MODELS / "small" / "slumber.yaml")
PEDAL = str(MODELS / "chances" / "pedal.yaml")

REPORTS = {
    "check": ("check", SILENT, "--costs", "--no-cache"),
    "check with": ("check", STARTER, "--with", SILENT, "--no-cache"),
    "compare": ("compare", STARTER, SILENT, "--no-cache"),
    "gaps": ("gaps", STARTER),
    "times": ("times", SLUMBER, "--scenarios"),
    "tours": ("tours", STARTER),
    "words": ("tours", STARTER, "--distinguish"),
    "roam": ("roam", SILENT, "--runs", "64", "--engine", "plain"),
    "chances": ("chances", PEDAL),
}


def words(text: str) -> set[str]:
    """Its words and numbers, without marks and small letters only."""
    text = re.sub(r"</?[a-z]+( open)?>", " ", text.replace("\\", ""))
    found = re.findall(r"[\w.%≠→]+", text.lower())
    return {word.rstrip(".") for word in found}


@pytest.mark.parametrize("name", REPORTS)
def test_markdown_says_whatever_the_terminal_says(name: str, tmp_path: Path) -> None:
    """Every word of it, for each command that prints a report."""
    page = tmp_path / "report.md"
    result = run(*REPORTS[name], "--markdown", str(page))
    assert result.out
    told = words(page.read_text(encoding="utf-8"))
    # Marks of a terminal: a box that is ticked by hand, the line above a loop, and the option that
    # shows what documents open.
    marks = {"from", "here", "on", "repeating", "forever", "full", "shows", "what", "is", "folded"}
    assert words(result.out) - told <= marks


def test_the_page_of_a_comparison_says_whatever_the_terminal_says(tmp_path: Path) -> None:
    """Every word of it."""
    page = tmp_path / "page.html"
    result = run(*REPORTS["compare"], "--page", str(page))
    source = page.read_text(encoding="utf-8")
    text = re.sub(
        r"<(svg|style).*?</\1>|<[^>]*>", " ", source.replace("<wbr>", ""), flags=re.DOTALL
    )
    assert words(result.out) - words(html.unescape(text)) <= {"hint"}


def test_text_of_a_model_stays_text() -> None:
    """In every block: Markdown and a page escape it, and a terminal shows it as it is."""
    odd = "*a* | <b> `c`"
    blocks: list[doc.Block] = [
        doc.Title(odd, odd),
        doc.Paragraph((odd, doc.code(odd))),
        doc.Item(odd, notes=(odd,)),
        doc.Verbatim(odd),
        doc.Records(("one", "two"), (doc.Record((odd,), odd, (doc.Paragraph(odd),)),)),
        doc.Grid((("", odd), (odd, odd))),
        doc.Chapter(odd, (doc.Paragraph(odd),), odd, folded=True),
        doc.Chapter(odd, (doc.Paragraph(odd),), odd),
    ]
    shown = "\n".join(lines_of(blocks, Style()))
    written = markdown_of(blocks)
    assert shown.count(odd) == 19
    assert written.count(r"\*a\* \| &lt;b&gt; \`c\`") + written.count("*a* | &lt;b&gt; `c`") == 19
    assert "<b>" not in written
    on_page = [one for one in blocks if not isinstance(one, doc.Title | doc.Verbatim)]
    template = '{% from "tree.html" import blocks %}{{ blocks(tree, 2) }}'
    source = environment().from_string(template).render(tree=on_page)
    assert source.replace("<wbr>", "").count("*a* | &lt;b&gt; `c`") == 16
    assert "<b>" not in source
