"""Assembles a page: templates, styles, scripts and data in one self-contained file.

The page's security policy (W3C Content Security Policy Level 3) allows only the script whose
SHA-256 it names, and loads nothing: whatever a model contains stays text.
"""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING

from modecheck.checks.explored import Verdict
from modecheck.checks.gaps import gap_tables
from modecheck.draw.shown import shown
from modecheck.draw.stylesheet import stylesheet
from modecheck.engine.contract.space import Space
from modecheck.model.finding_kinds import KINDS
from modecheck.report import document_tree as doc
from modecheck.report.check_report import findings_counted
from modecheck.report.finding_text import facts_of, scenario_of
from modecheck.report.page.digest import digest_of
from modecheck.report.page.gap_rows import GapSheet, gap_sheet
from modecheck.report.page.outline import anchor_of, limits_in_words, outline_of
from modecheck.report.page.payload import PageData
from modecheck.report.page.pictures import Picture, pictures_of
from modecheck.report.page.requirement_rows import requirement_rows
from modecheck.scenario.telling import condensed
from modecheck.version import __version__

if TYPE_CHECKING:
    from jinja2 import Environment

SCRIPTS = (
    "model.js", "svg.js", "path.js", "viewport.js", "sequence.js",
    "statechart.js", "choices.js", "now.js", "stage.js", "search.js", "printing.js", "start.js",
)  # fmt: skip
"""Plain scripts, in the order in which they are concatenated."""

STYLES = ("look.css", "stage.css", "print.css")
"""Placed after the style sheet of the drawings, which they may override."""

LONGEST_TEXT = 2000
"""Characters shown of any one text of a model."""


def page_as_html(verdict: Verdict) -> str:
    """The page; identical for identical model, bounds and version."""
    payload = PageData(verdict)
    outline = outline_of(verdict, payload)
    pictures = pictures_of(verdict)
    script = _script()
    style = stylesheet() + "".join(asset(name) for name in STYLES)
    return environment().get_template("page.html").render(
        verdict=verdict,
        device=verdict.device,
        outline=outline,
        headline=headline(verdict),
        requirements=requirement_rows(verdict),
        pictures=pictures,
        unseen=_unseen(pictures),
        gaps=[(one.variant, _gap_sheets(one.exploration)) for one in verdict.explored],
        limits=list(limits_in_words(verdict)),
        digest=digest_of(verdict.device),
        data=payload.as_json(),
        walks=payload.walks,
        version=__version__,
        style=style,
        script=script,
        style_digest=digest(style),
        script_digest=digest(script),
    )  # fmt: skip


def _unseen(pictures: dict[str, list[Picture]]) -> list[tuple[str, list[Picture]]]:
    """The statecharts that contain something unreached, by chip."""
    kind = "coverage-"
    return [(key.removeprefix(kind), one) for key, one in pictures.items() if key.startswith(kind)]


@dataclass(frozen=True, slots=True)
class Headline:
    """The verdict in a few words; `kind` is clean, open (incomplete) or found."""

    kind: str
    text: str


def headline(verdict: Verdict) -> Headline:
    """The heading of the page."""
    if verdict.findings:
        so_far = "" if verdict.complete else " so far; the verdict is incomplete"
        return Headline("found", f"{findings_counted(verdict.findings)} found{so_far}")
    if not verdict.complete:
        return Headline("open", "Incomplete: nothing found so far")
    return Headline("clean", "Nothing found")


def _gap_sheets(space: Space) -> list[GapSheet]:
    return [gap_sheet(table) for table in gap_tables(space)]


def _script() -> str:
    """All scripts in one function, so that their names stay private."""
    parts = "".join(asset(name) for name in SCRIPTS)
    return f'(() => {{\n"use strict";\n{parts}}})();\n'


def digest(text: str) -> str:
    """The hash by which a security policy names a script or a style sheet."""
    return b64encode(sha256(text.encode()).digest()).decode()


def asset(name: str) -> str:
    """The text of a style sheet or a script."""
    return files(__package__).joinpath("assets", name).read_text(encoding="utf-8")


def environment() -> Environment:
    """Templates that escape everything; an undefined name in one is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader(__package__, "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "shown": _shown,
        "count": lambda number: f"{number:,}",
        "kind": lambda block: type(block).__name__,
        "fragments": doc.fragments,
        "condensed": condensed,
        "facts": facts_of,
        "scenario": scenario_of,
        "anchor": anchor_of,
    }
    environment.globals["kinds"] = KINDS
    return environment


def _shown(text: object, longest: int = LONGEST_TEXT) -> str:
    return shown(str(text), longest)
