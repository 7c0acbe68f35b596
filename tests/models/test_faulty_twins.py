"""The models that are wrong on purpose: one mistake each, and exactly the findings it deserves."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from modecheck.checks.judged import BROKEN
from modecheck.model.copies import unnumbered
from modecheck.model.devices import read_device
from modecheck.model.finding_kinds import KINDS
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode
from modecheck.report.check_report import verdict_report
from modecheck.report.showing import Showing
from modecheck.report.style import PIPED_WIDTH, Style
from modecheck.report.terminal import lines_of
from tests.models.bundled import (
    CLEAN,
    MODELS,
    TANDEM,
    TWINS,
    is_small,
    laid_over,
    name_of,
    verdict_on,
    written,
)
from tests.sweeps import sweep

SCREEN = 24
"""Lines of a usual terminal."""

FEW_OF_TANDEM = {"waits_for_the_cord"}
CHECKED = sweep(TWINS, lambda twin: is_small(twin) or name_of(twin) in FEW_OF_TANDEM)

FRAME = {"device", "about", "based_on", "expect"}
"""Keys that say what a twin is; all others are its mistake."""


def text(node: Node | None) -> str:
    """The scalar's text."""
    assert isinstance(node, ScalarNode)
    return node.text


def base_of(twin: Path) -> Path:
    """The clean model that a twin differs from."""
    return (twin.parent / text(written(twin).get("based_on"))).resolve()


def plain(node: Node) -> object:
    """The node without places, to compare what two nodes say."""
    if isinstance(node, MappingNode):
        return {name: plain(child) for name, child in node.entries.items()}
    if isinstance(node, SequenceNode):
        return [plain(item) for item in node.items]
    return text(node)


@pytest.mark.parametrize("twin", CHECKED, ids=name_of)
def test_a_twin_has_its_expected_findings_and_no_others(twin: Path) -> None:
    """What `expect` says is what is found, with scenarios of exactly that length."""
    verdict = verdict_on(twin)
    expected = {(one.finding, one.steps) for one in verdict.device.expected}
    assert expected
    assert {(finding.id, finding.steps) for finding in verdict.findings} == expected


@pytest.mark.parametrize("twin", CHECKED, ids=name_of)
def test_a_twin_breaks_one_requirement_and_no_other(twin: Path) -> None:
    """Or none, where a check finds the mistake without being asked; models/README.md says which.
    What builds on it falls with it. One that is written for each copy of a chip counts once.
    """
    verdict = verdict_on(twin)
    names = (one.need.name for one in verdict.requirements if one.verdict == BROKEN)
    broken = list(dict.fromkeys(map(unnumbered, names)))
    assert len(broken) <= 1
    assert broken or {finding.code for finding in verdict.findings} - {"broken-requirement"}
    overview = (MODELS / "README.md").read_text(encoding="utf-8")
    (row,) = (line for line in overview.splitlines() if line.startswith(f"| `{name_of(twin)}` |"))
    told = re.findall(r"`(\w+)`", row.split("|")[-2])
    assert told == broken


@pytest.mark.parametrize("twin", TWINS, ids=name_of)
def test_a_twin_is_a_clean_model_with_one_thing_changed(twin: Path) -> None:
    """The mistake is one entry under one key, or the same entry for each of two equal chips."""
    changes = [node for name, node in written(twin).entries.items() if name not in FRAME]
    assert base_of(twin) in CLEAN
    assert len(changes) == 1
    if isinstance(changes[0], MappingNode):
        entries = [plain(child) for child in changes[0].entries.values()]
        assert all(entry == entries[0] for entry in entries)


@pytest.mark.parametrize("twin", TWINS, ids=name_of)
def test_a_twin_says_in_words_what_is_wrong(twin: Path) -> None:
    """A title that names the base, and an account of the mistake."""
    title = text(written(twin).get("device"))
    assert title.startswith(f"{text(laid_over(base_of(twin)).get('device'))}, ")
    assert len(text(written(twin).get("about"))) > 50


@pytest.mark.parametrize("twin", CHECKED, ids=name_of)
def test_the_report_of_a_twin_is_short(twin: Path) -> None:
    """At most five screens of 24 lines; in brief one, where a longer line takes as many as it
    fills.
    """
    report, brief = (
        lines_of(verdict_report(verdict_on(twin), showing=Showing(brief=short)), Style())
        for short in (False, True)
    )
    assert len(report) <= 5 * SCREEN
    assert sum(-(-len(line) // PIPED_WIDTH) or 1 for line in brief) <= SCREEN


def test_every_kind_of_finding_is_shown_by_a_twin() -> None:
    """Whoever wants to see a finding finds a model that has it."""
    shown = {
        one.finding.partition(":")[0] for twin in TWINS for one in read_device(str(twin)).expected
    }
    assert shown == set(KINDS)


def test_patterns_of_requirements_are_broken_by_twins() -> None:
    """What must not be, must be possible, stay within reach, follow, come first, arrive once."""
    broken = set()
    for twin in TWINS:
        device = read_device(str(twin))
        for one in device.expected:
            code, _, subject = one.finding.partition(":")
            if code == "broken-requirement":
                broken.add(device.requirements[subject].pattern)
    assert broken == {
        "never",
        "always",
        "possible",
        "recoverable",
        "whenever",
        "before",
        "exactly_once",
    }


def test_tandem_itself_has_several_twins() -> None:
    """Mistakes are shown in the large, too."""
    assert sum(base_of(twin) == TANDEM for twin in TWINS) >= 4


def test_the_wait_for_the_cord_ends_where_the_hub_waits_alone() -> None:
    """The scenario of the new hot-plug rule ends with the hub parting and the tile asleep."""
    verdict = verdict_on(MODELS / "faulty" / "waits_for_the_cord.yaml")
    (finding,) = (one for one in verdict.findings if one.code == "deadlock")
    exploration = verdict.explored[0].exploration
    assert finding.trace is not None
    chips = {chip.name: chip for chip in exploration.product.chips}
    last = finding.trace.moves[-1].after
    assert last is not None
    where = {name: chip.leaves[last[chip.state_field]] for name, chip in chips.items()}
    assert (where["hub"], where["front_bridge"], where["front_dock"]) == (
        "parting",
        "asleep",
        "apart",
    )


def test_the_overview_lists_every_model() -> None:
    """models/README.md names each clean model and each twin."""
    overview = (MODELS / "README.md").read_text(encoding="utf-8")
    missing = [name_of(path) for path in [*CLEAN, *TWINS] if f"`{name_of(path)}`" not in overview]
    assert missing == []
