"""`modecheck explain` explains every code, key, word of an expression and exit code."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import indent

import pytest

from modecheck.cli import exit_codes
from modecheck.model.finding_kinds import KINDS
from modecheck.model.keys import keys_of, parts
from modecheck.model.syntax import COMPARISONS, EVENT_WORDS, KEYWORDS, OVER_ALL
from modecheck.report.explain_text import OF_PARTS, all_words, explainable, explanation
from modecheck.report.style import Style
from tests.cli.running import MODELS, check, run
from tests.documents import GUIDE, examples
from tests.test_documents import KEYS

PAGES = sorted((GUIDE / "findings").iterdir())
TWIN = str(MODELS / "faulty" / "silent_plug.yaml")
STARTER = str(MODELS / "starter" / "device.yaml")
CODES = {
    exit_codes.NOTHING_FOUND,
    exit_codes.FOUND,
    exit_codes.WRONG_INPUT,
    exit_codes.INCOMPLETE,
    exit_codes.INTERNAL_ERROR,
}
LONGEST_PAGE = 60
"""Lines of an example with its scenario and its cures: two screens and a half."""


def test_every_code_has_a_page() -> None:
    """And no page is left over."""
    assert {path.name for path in PAGES} == {f"{code}.md" for code in KINDS}


@pytest.mark.parametrize("code", KINDS)
def test_an_example_has_exactly_its_finding(code: str, tmp_path: Path) -> None:
    """The scenario shown is the output of check. That there is no other finding, and none once a
    cure is laid over it, is tested with the other examples of the guide.
    """
    (device,) = [one for one in examples("finds") if one.document == f"{code}.md"]
    (shown,) = [one for one in examples("the finding") if one.document == f"{code}.md"]
    cures = [one for one in examples("laid over it, finds") if one.document == f"{code}.md"]
    assert re.fullmatch(rf"{code}:\S+", device.said)
    assert f"\n{device.said}\n" in shown.text
    assert [one.said for one in cures] == ["nothing"] * max(len(cures), 1)
    assert f"\n{indent(shown.text, '  ')}  hint: " in check(device.text, tmp_path).out
    assert len((GUIDE / "findings" / f"{code}.md").read_text("utf-8").splitlines()) <= LONGEST_PAGE


@pytest.mark.parametrize("code", KINDS)
def test_a_code_is_explained_in_full(code: str) -> None:
    """What it means, why it matters, what helps, and an example, as plain text."""
    told = explanation(code, Style())
    text = " ".join(" ".join(told).split())
    kind = KINDS[code]
    for part in (kind.meaning[1:], kind.about, kind.why[1:], *kind.cures):
        assert part in text
    assert told[0].startswith(f"{code}, a")
    assert [line for line in told if len(line) > 80 or line.startswith(("#", "```", "<!--"))] == []


def test_every_key_and_every_word_is_explained() -> None:
    """Keys at any depth, all words of the grammar, and all exit codes."""
    grammar = {
        *KEYWORDS,
        *EVENT_WORDS,
        *COMPARISONS,
        *OVER_ALL,
        "min",
        "max",
        "value",
        "late",
        "+",
        "-",
        "*",
        "//",
        "%",
    }
    groups = explainable()
    assert groups["Keys"].keys() >= KEYS
    assert grammar <= groups["Expressions"].keys()
    assert groups["Exit codes"].keys() == {str(code) for code in CODES}
    assert set(all_words()) == {*KINDS, *KEYS, *grammar, *map(str, CODES)} | {
        "+=", "-=", "true", "false", "none", "globally",
    }  # fmt: skip


def test_a_key_is_explained_for_every_part_that_has_it() -> None:
    """With the sentence that it is declared with."""
    assert set(parts()) == OF_PARTS.keys()
    for part in set(parts()) - {"requirement"}:
        for name, key in keys_of(part).items():
            told = " ".join(explanation(name, Style(width=10_000)))
            assert f"As a key of {OF_PARTS[part]}: {key.sentence}".replace("**", "") in told


def test_without_a_word_all_are_listed() -> None:
    """Each in one line of at most 80 columns."""
    shown = run("explain").out.splitlines()
    listed = [line.split()[0] for line in shown if line.startswith("  ")]
    assert listed == [word for group in explainable().values() for word in group]
    assert max(map(len, shown)) <= 80


def test_a_word_may_have_several_meanings() -> None:
    """As an operator and as a key, or as a pattern and as a scope."""
    told = run("explain", "if")
    assert told.code == 0
    assert "As in an expression: `a if c else b`: a where c holds, otherwise b" in told.out
    assert "As a key of a rule: a condition" in told.out
    assert "As an exit code: incomplete" in run("explain", "3").out


def test_an_id_is_explained_as_its_code() -> None:
    """With the parts that the id names."""
    told = run("explain", "unspecified-reception:hub.menu.note")
    assert told.code == 0
    assert "name a chip, its state and its message" in " ".join(told.out.split())


@pytest.mark.parametrize("word", ["deadlock", "deadlock:receiver.changing"])
def test_with_a_device_it_shows_where(word: str) -> None:
    """The finding with its place and its scenario, then the explanation."""
    told = run("explain", word, TWIN)
    assert told.code == 0
    assert "  receiver in changing waits forever\n  deadlock:receiver.changing\n  at " in told.out
    assert "    1. the player plugs the cable in: " in told.out
    assert told.out.index("hint: ") < told.out.index("Why it matters: ")
    assert "broken-requirement" not in told.out


def test_a_device_without_the_finding_says_so() -> None:
    """For a code; if not everything was explored, the exit code is that of incomplete results."""
    told = run("explain", "deadlock", STARTER)
    assert (told.code, told.out.splitlines()[0]) == (
        0, "starter: no finding has the code deadlock",
    )  # fmt: skip
    stopped = run("explain", "deadlock", STARTER, "--max-states", "3")
    assert stopped.code == 3
    assert "not everything was explored" in stopped.out.splitlines()[0]


@pytest.mark.parametrize(
    ("words", "advice"),
    [
        (["deadlok"], "No word 'deadlok'. Did you mean 'deadlock'?"),
        (["capacit"], "No word 'capacit'. Did you mean 'capacity'?"),
        (["capacit:x"], "No finding has the code 'capacit'."),
        (["drop_new"], "'drop_new' is mentioned in: modecheck guide keys."),
        (["xyzzy"], "modecheck explain lists all words."),
        (["capacity", STARTER], "DEVICE goes with the code or the id of a finding"),
        (["deadlock:receiver.changin", TWIN], "Did you mean 'deadlock:receiver.changing'?"),
        (["deadlock", "nowhere.yaml"], "there is no file 'nowhere.yaml'"),
    ],
)
def test_wrong_words_are_errors_with_advice(words: list[str], advice: str) -> None:
    """Exit code 2, and nothing on standard output."""
    told = run("explain", *words)
    assert (told.code, told.out) == (2, "")
    assert advice in told.err
