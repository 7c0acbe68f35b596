"""What stands on a page is what the verdict says, and it stands in the promised order."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device
from modecheck.report.document_tree import Block, Fold, Paragraph, Records, plain
from modecheck.report.page import page_as_html
from modecheck.report.page.digest import digest_of
from modecheck.report.page.document import pieces
from modecheck.report.page.outline import sections_of
from modecheck.report.page.payload import PageData
from modecheck.report.page.playing import Player
from modecheck.report.page.requirement_notes import in_words
from tests.cli.running import environment, run, run_alone
from tests.models.bundled import MODELS, STARTER, TANDEM, verdict_on
from tests.page.browsing import opened
from tests.page.conftest import PageOf

SILENT = MODELS / "faulty" / "silent_plug.yaml"

SECTIONS = [
    "verdict", "findings", "requirements", "modes", "walk", "chips", "gaps", "explored", "files",
    "cautions", "help",
]  # fmt: skip

DEVICE = """
device: odds and ends
chips:
  lamp:
    states: [dark, lit]
    rules: [{in: dark, on: knob, to: lit}, {in: lit, on: knob, to: dark}]
actors:
  hand: {states: [there], rules: [{signal: knob}]}
requirements:
  kept: {text: It can be lit, possible: lamp.lit}
  broken: {text: It stays dark, never: lamp.lit}
  fallen: {text: It stays dark for good, never: lamp.lit, builds_on: [broken]}
  lived_with: {text: It stays lit, always: lamp.lit}
  answered: {text: It goes out again, whenever: lamp.lit, then: lamp.dark}
  ordered: {text: First dark, always: lamp.dark, scope: {before: lamp.lit}}
  dimmed: {text: It dims, whenever: lamp.dark and lamp.lit, then: lamp.lit}
accepted:
  - {finding: "broken-requirement:lived_with", reason: it is a lamp}
"""


def odd_verdict(folder: Path, *, states: int | None = None) -> Verdict:
    """On a device with requirements of every outcome; after so many states it is incomplete."""
    (folder / "device.yaml").write_text(DEVICE, encoding="utf-8")
    device = read_device(str(folder / "device.yaml"))
    return check([device], search=Search(limits=Limits(states=states)))


def test_the_sections_stand_in_their_order_with_the_verdict_first(
    browser: Browser, page_of: PageOf
) -> None:
    """A reviewer reads the verdict before anything else."""
    with opened(browser, page_of(SILENT)) as page:
        ids = page.page.evaluate(
            "[...document.querySelectorAll('section[id]')].map(section => section.id)"
        )
        assert [one for one in ids if one in SECTIONS] == SECTIONS
        assert page.page.locator("#verdict h2").inner_text() == "✕ 2 errors found"


def test_each_finding_has_an_article_with_its_sentence_and_steps(
    browser: Browser, page_of: PageOf
) -> None:
    """The text, the place, the details and as many steps as the scenario has."""
    findings = verdict_on(SILENT).findings
    with opened(browser, page_of(SILENT)) as page:
        for finding in findings:
            article = page.page.locator(f'[id="{finding.id}"]')
            assert article.locator("h4").inner_text() == finding.text
            assert article.locator("ol.told > li").count() == finding.steps
            assert [*finding.details] == article.locator(".details > li").all_inner_texts()


def test_a_page_reads_without_scripts(browser: Browser, page_of: PageOf) -> None:
    """Where scripts are off, everything but stepping and walking is there."""
    context = browser.new_context(java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(page_of(SILENT).as_uri())
    assert page.locator("ol.told > li").first.is_visible()
    assert page.locator("#chips svg").first.is_visible()
    page.locator("details.chart > summary").first.click()
    assert page.locator("details.chart svg").first.is_visible()
    assert not page.locator("button.open").first.is_visible()
    context.close()


def rows_of(verdict: Verdict) -> dict[str, tuple[str, tuple[str, ...]]]:
    """What the page says of each requirement: its outcome, and its notes."""
    every = {}
    data = PageData([("", one.exploration) for one in verdict.explored])
    sections = {one.anchor: one.blocks for one in sections_of(verdict, Player(data))}
    for table in tables_in(sections["requirements"]):
        for row in table.rows:
            said = tuple(plain(note.words) for note in row.notes if isinstance(note, Paragraph))
            every[plain(row.cells[0])] = (plain(row.cells[1]), said)
    return every


def tables_in(blocks: Iterable[Block]) -> Iterator[Records]:
    """The tables among blocks, folded or not."""
    for block in blocks:
        if isinstance(block, Fold):
            yield from tables_in(block.blocks)
        elif isinstance(block, Records):
            yield block


def test_requirements_have_their_outcomes(tmp_path: Path) -> None:
    """Holding, broken, accepted, and not decided are told apart; what holds is folded, and last."""
    rows = rows_of(odd_verdict(tmp_path))
    assert {name: outcome for name, (outcome, _) in rows.items()} == {
        "broken": "broken",
        "fallen": "falls",
        "lived_with": "broken",
        "answered": "broken",
        "dimmed": "vacuous",
        "kept": "holds",
        "ordered": "holds",
    }
    assert [*rows][-2:] == ["kept", "ordered"]
    assert rows["lived_with"][1][-1] == "Accepted: it is a lamp"
    assert "see broken-requirement:broken" in rows["broken"][1]
    assert rows["fallen"][1] == ("never: lamp.lit", "builds on broken, which is broken")


def test_an_incomplete_exploration_decides_nothing_that_it_cannot_know(tmp_path: Path) -> None:
    """After one state of two, what was not broken is undecided, and the headline says so."""
    verdict = odd_verdict(tmp_path, states=1)
    rows = rows_of(verdict)
    assert rows["kept"][0] == "undecided"
    assert rows["broken"][0] == "undecided"
    assert "incomplete" in page_as_html(verdict).partition("<main")[0].lower()


def test_what_is_required_is_told_with_its_assumptions(tmp_path: Path) -> None:
    """Patterns with two conditions show both; a scope is an assumption."""
    needs = odd_verdict(tmp_path).device.requirements
    assert in_words(needs["answered"]) == "whenever: lamp.lit, then: lamp.dark"
    rows = rows_of(odd_verdict(tmp_path))
    assert rows["ordered"][1][-1] == "only before lamp.lit"
    assert rows["kept"][1] == ("possible: lamp.lit",)


def test_names_are_broken_only_where_their_words_meet() -> None:
    """Short words stay whole; of a word that is too long for any screen pieces do."""
    assert pieces("front_bridge.boot") == ["front_", "bridge.", "boot"]
    assert pieces("a b_c") == ["a ", "b_", "c"]
    assert [*map(len, pieces("x" * 70))] == [32, 32, 6]


def test_pictures_tell_of_each_mode_and_of_what_was_never_seen() -> None:
    """The links that carry traffic; statecharts with what is dashed, where there is something."""
    text = page_as_html(verdict_on(MODELS / "faulty" / "inverted_plug_detect.yaml"))
    assert 'data-picture="device-in-radio"' in text
    assert 'data-picture="coverage-receiver"' in text
    assert "never-seen" not in page_as_html(verdict_on(STARTER))


def test_every_gap_of_a_chip_is_in_its_table(browser: Browser, page_of: PageOf) -> None:
    """A message without an answer stands in words and as a cell with a sign of its own."""
    with opened(browser, page_of(MODELS / "faulty" / "unheard_of.yaml")) as page:
        table = page.page.locator("#gaps details[open] table.grid").first
        assert table.locator("td .bad-tone").all_text_contents() == ["!"]
        said = page.page.locator("#gaps details[open] li.marked").all_inner_texts()
        assert said == ["! receiver in on_cable has no answer to picture from cord"]
        heads = table.locator("thead th").all_text_contents()
        assert [head.split()[0] for head in heads] == ["on_air", "changing", "on_cable"]


def test_the_digest_can_be_made_again_by_hand() -> None:
    """It is the SHA-256 of the list of files, each with its own SHA-256 (FIPS 180-4)."""
    digest = digest_of(read_device(str(SILENT)))
    paths = ["../starter/device.yaml", "../starter/pedal.yaml", "../starter/receiver.yaml",
             "silent_plug.yaml"]  # fmt: skip
    lines = [
        f"{hashlib.sha256((SILENT.parent / path).read_bytes()).hexdigest()}  {path}\n"
        for path in paths
    ]
    assert [path for path, _ in digest.files] == paths
    assert digest.whole == hashlib.sha256("".join(lines).encode()).hexdigest()


def test_the_digest_changes_with_any_file(tmp_path: Path) -> None:
    """One more comment in a chip's file is a different model."""
    (tmp_path / "device.yaml").write_text(
        "device: d\nchips: {lamp: {file: lamp.yaml}}\n", encoding="utf-8"
    )
    lamp = tmp_path / "lamp.yaml"
    lamp.write_text("chip: lamp\nstates: [dark]\n", encoding="utf-8")
    before = digest_of(read_device(str(tmp_path / "device.yaml")))
    lamp.write_text("chip: lamp\nstates: [dark]  # for good\n", encoding="utf-8")
    assert digest_of(read_device(str(tmp_path / "device.yaml"))).whole != before.whole


def test_the_command_writes_the_same_bytes_wherever_it_runs(tmp_path: Path) -> None:
    """Two runs, from different folders and with different hashing of names."""
    one, two = tmp_path / "one.html", tmp_path / "two.html"
    first = run_alone("page", str(SILENT), "--to", str(one), env={"PYTHONHASHSEED": "1"})
    relative = os.path.relpath(SILENT, tmp_path)
    words = ("page", relative, "--to", "two.html")
    second = run_alone(*words, folder=tmp_path, env={"PYTHONHASHSEED": "2"})
    assert (first.code, second.code) == (1, 1)
    assert one.read_bytes() == two.read_bytes()


def test_the_exit_code_is_that_of_a_check(tmp_path: Path) -> None:
    """Nothing found is 0, a folder that is not there 2, a bound that was hit 3."""
    file = tmp_path / "page.html"
    assert run("page", str(STARTER), "--to", str(file)).code == 0
    assert run("page", str(STARTER), "--to", str(tmp_path / "no" / "page.html")).code == 2
    assert run("page", str(STARTER), "--to", str(file), "--max-states", "3").code == 3


def test_help_loads_no_template_library() -> None:
    """The page's libraries are imported when a page is written, and not before."""
    script = (
        "import sys, modecheck.cli.page_command, modecheck.cli.main\n"
        "print([n for n in ('jinja2', 'numpy', 'modecheck.report.page') if n in sys.modules])"
    )
    shown = subprocess.run(
        [sys.executable, "-c", script],
        env=environment(), capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert shown.stdout.strip() == "[]"


@pytest.mark.parametrize("state", ["clean", "found"])
def test_the_headline_is_said_in_words_beside_its_colour(
    state: str, browser: Browser, page_of: PageOf
) -> None:
    """Nobody has to see a colour to know the verdict."""
    said = {"clean": "Nothing found", "found": "errors found"}[state]
    with opened(browser, page_of(STARTER if state == "clean" else SILENT)) as page:
        assert said in page.page.locator(f"#verdict.{state} h2").inner_text()


@pytest.mark.thorough
def test_the_page_of_tandem_is_small(page_of: PageOf) -> None:
    """Under 3 MB."""
    assert page_of(TANDEM).stat().st_size < 3_000_000
