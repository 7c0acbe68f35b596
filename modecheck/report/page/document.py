"""Assembles a page: templates, styles, scripts and data in one self-contained file.

The page's security policy (W3C Content Security Policy Level 3) allows only the script whose
SHA-256 it names, and loads nothing: whatever a model contains stays text.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING

from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.cutsets.fault_table import FaultTable
from modecheck.draw.shown import shown
from modecheck.draw.stylesheet import stylesheet
from modecheck.model.finding_kinds import KINDS
from modecheck.model.places import Place
from modecheck.report import document_tree as doc
from modecheck.report.check_report import exploration_in_words, findings_counted, remarks
from modecheck.report.finding_text import facts_of, scenario_of
from modecheck.report.page.blocks import PageSection
from modecheck.report.page.digest import seen_from
from modecheck.report.page.help import help_section
from modecheck.report.page.index import index_of
from modecheck.report.page.outline import (
    anchor_of,
    reasons_of,
    scenarios_of,
    sections_of,
    walks_in_words,
)
from modecheck.report.page.payload import PageData
from modecheck.report.page.playing import Player
from modecheck.scenario.telling import condensed
from modecheck.version import __version__

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

SCRIPTS = (
    "model.js", "svg.js", "path.js", "viewport.js", "sequence.js",
    "statechart.js", "choices.js", "now.js", "stage.js", "search.js", "printing.js", "start.js",
)  # fmt: skip
"""Plain scripts, in the order in which they are concatenated."""

STYLES = ("look.css", "tree.css", "stage.css", "print.css")
"""Placed after the style sheet of the drawings, which they may override."""

LONGEST_TEXT = 2000
"""Characters shown of any one text of a model."""

LONGEST_UNBROKEN = 32
"""Letters of a name that stay together on a line."""

Facts = Callable[[Finding], Iterator[doc.Block]]

SIGNS = {"clean": "✓", "open": "?", "found": "✕"}


@dataclass(frozen=True, slots=True)
class PageContent:
    """What a page says. `kind` is clean, open (incomplete) or found, `said` the verdict in a few
    words and `lines` what stands below it. By the ids of findings: what is reported of them before
    everything else (`reasons`), and their `scenarios`.
    """

    eyebrow: str
    name: str
    about: str
    kind: str
    said: str
    lines: tuple[doc.Block, ...]
    sections: list[PageSection]
    scenarios: dict[str, tuple[doc.Block, ...]]
    reasons: Mapping[str, doc.Block]
    walked: tuple[str, ...] = ()

    @property
    def sign(self) -> str:
        return SIGNS[self.kind]


def page_as_html(verdict: Verdict, faults: FaultTable | None = None) -> str:
    """The page of a verdict, with the fault table if there is one; identical for identical model,
    bounds and version.
    """
    data = PageData([(one.variant, one.exploration) for one in verdict.explored])
    player = Player(data)
    scenarios = scenarios_of(verdict, player)
    sections = sections_of(verdict, player, faults)
    data.index += index_of(verdict)
    data.grow()
    kind, said = headline(verdict)
    lines = [line for one in verdict.explored for line in exploration_in_words(one)]
    if verdict.not_evaluated:
        lines.append(f"Undecided requirements: {', '.join(verdict.not_evaluated)}.")
    content = PageContent(
        eyebrow="Model review",
        name=verdict.device.name,
        about=verdict.device.about,
        kind=kind,
        said=said,
        lines=tuple(remarks([*lines, *verdict.remarks])),
        sections=sections,
        scenarios=scenarios,
        reasons=reasons_of(verdict),
        walked=tuple(walks_in_words(verdict, player)),
    )

    def place_in(place: Place) -> str:
        return f"{seen_from(verdict.device, place.file)}:{place.line}:{place.column}"

    return rendered(content, data, partial(facts_of, seen=place_in))


def headline(verdict: Verdict) -> tuple[str, str]:
    """The kind of a verdict, and its heading."""
    if verdict.findings:
        so_far = "" if verdict.complete else " so far; the verdict is incomplete"
        return "found", f"{findings_counted(verdict.findings)} found{so_far}"
    if not verdict.complete:
        return "open", "Incomplete: nothing found so far"
    return "clean", "Nothing found"


def rendered(content: PageContent, data: PageData, facts: Facts) -> str:
    """The HTML of a page."""

    def facts_on(finding: Finding) -> list[doc.Block]:
        reason = content.reasons.get(finding.id)
        return [*([reason] if reason else []), *facts(finding)]

    templates = environment()
    templates.filters |= {
        "facts": facts_on,
        "scenario": lambda finding: content.scenarios.get(finding.id, ()),
    }
    templates.globals["walked"] = content.walked
    style, script = stylesheet() + "".join(map(asset, STYLES)), _script()
    return templates.get_template("page.html").render(
        page=content,
        help=help_section(),
        data=data.as_json(),
        version=__version__,
        style=style,
        script=script,
        style_digest=digest(style),
        script_digest=digest(script),
    )


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
        "shown": lambda text, longest=LONGEST_TEXT: shown(str(text), longest),
        "breakable": _breakable,
        "kind": lambda block: type(block).__name__,
        "fragments": doc.fragments,
        "condensed": condensed,
        "facts": facts_of,
        "scenario": scenario_of,
        "anchor": anchor_of,
    }
    environment.globals |= {"kinds": KINDS, "walked": ()}
    return environment


def _breakable(text: str) -> Markup:
    from markupsafe import Markup, escape

    return Markup("<wbr>").join(map(escape, pieces(text)))


def pieces(name: str) -> list[str]:
    """A name in pieces between which a line may be broken: its words, where they are not long."""
    words = re.findall(r".+?(?:[_./:\\\s-]+|$)", name, flags=re.DOTALL)
    return [
        word[at : at + LONGEST_UNBROKEN]
        for word in words
        for at in range(0, len(word), LONGEST_UNBROKEN)
    ]


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
