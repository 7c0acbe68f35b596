"""`modecheck compare OLD NEW`: what a change did, as text, JSON, Markdown and a page."""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from html.parser import HTMLParser
from pathlib import Path
from unittest import mock

import pytest

from modecheck.cli.main import main
from tests.cli.running import MODELS, Run, run
from tests.cli.sample import SAMPLE
from tests.compare.changing import Edits, edited
from tests.review.broken import SILENT

STARTER = str(MODELS / "starter" / "device.yaml")
RENAME: Edits = ((r"\bchanging\b", "waiting"),)
LINK = "  back: {from: receiver, to: pedal, medium: radio, carries: [bell], when_full: drop_new}\n"
BELL: Edits = (
    (r"to: changing, text", "to: changing, send: [bell via back], text"),
    (r"(?m)^links:\n", f"links:\n{LINK}"),
    (r"chip: pedal\n", "chip: pedal\ndiscards: [bell]\n"),
)
"""The receiver rings a bell by radio when the cable is plugged in: nothing breaks by that."""


def here(folder: Path, *arguments: str) -> Run:
    """The command in this process, which has loaded everything already."""
    out, err = io.StringIO(), io.StringIO()
    argv = ["modecheck", "compare", *arguments]
    with (
        chdir(folder),
        redirect_stdout(out),
        redirect_stderr(err),
        mock.patch.object(sys, "argv", argv),
        pytest.raises(SystemExit) as ended,
    ):
        main()
    return Run(int(ended.value.code or 0), out.getvalue(), err.getvalue())


def compare(folder: Path, edits: Edits, *arguments: str) -> Run:
    """The starter compared with an edited copy."""
    return here(folder, STARTER, str(edited(folder / "new", edits)), *arguments)


def head(result: Run) -> str:
    """What stands before the first blank line, on one line."""
    return " ".join(result.out.partition("\n\n")[0].split())


def test_a_renaming_is_told_and_is_no_finding(tmp_path: Path) -> None:
    """Exit code 0, in lines that fit a terminal; with --quiet nothing is said."""
    result = compare(tmp_path, RENAME)
    assert (result.code, result.err) == (0, "")
    assert head(result).startswith("starter: no new findings, behaviour unchanged old:")
    assert "renamed  state receiver.changing → receiver.waiting" in result.out
    assert "= messages over radio: unchanged in every mode and as a whole" in result.out
    assert re.search(r"radio +untouched\n +cable +untouched\n +bench: no rule", result.out)
    changed = [line for line in result.out.splitlines() if "/" not in line]
    assert max(map(len, changed)) <= 80
    new = str(tmp_path / "new" / "device.yaml")
    quiet = run("compare", STARTER, new, "--quiet", "--same", folder=tmp_path)
    assert quiet == Run(0, "", "")


def test_what_is_newly_broken_is_told_and_fails(tmp_path: Path) -> None:
    """In full, with its scenario; every output says the same."""
    outputs = ("--json", "told.json", "--markdown", "told.md", "--page", "told.html")
    result = compare(tmp_path, SILENT, *outputs)
    assert (result.code, result.err) == (1, "")
    assert "2 new findings" in head(result)
    told = json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))
    broken = [one["id"] for one in told["findings"]["new"]]
    assert broken == ["deadlock:receiver.changing", "broken-requirement:note_ends"]
    assert [(one["what"], one["new"]) for one in told["text"]] == [("changed", "pedal.plug")]
    assert told["text"][0]["keys"] == [
        {"key": "send", "before": "picture(foot) via cord", "after": ""}
    ]
    assert told["complete"]
    assert told["broken"]
    markdown = (tmp_path / "told.md").read_text(encoding="utf-8")
    page = (tmp_path / "told.html").read_text(encoding="utf-8")
    for text in (result.out, markdown, page):
        assert all(one.partition(":")[2].partition("_")[0] in text for one in broken)
        assert "deadlock:receiver.changing" in text
    concerns = {one["concern"]: one for one in told["retest"]["concerns"]}
    assert concerns["cable"]["new_findings"] == ["deadlock:receiver.changing"]
    assert concerns["radio"]["new_findings"] == []
    without = told["retest"]["new_findings_without_concern"]
    assert without == ["broken-requirement:note_ends"]
    assert re.search(r"cable +touched\n +new findings: deadlock:receiver.changing\n", result.out)
    assert "| new findings: <code>deadlock:receiver.changing</code>; in the text:" in markdown
    assert '<article class="finding error" id="deadlock:receiver.changing"' in page
    assert '<a href="#deadlock%3Areceiver.changing"><code>' in page
    for text in (result.out, markdown, page):
        said = text.replace("\\", "")
        assert "new findings that belong to no concern: broken-requirement:note_ends" in said


def test_a_changed_duration_is_no_proof_of_sameness(tmp_path: Path) -> None:
    """Nothing is broken, and whoever asks for the same behaviour gets no answer: exit code 3."""
    link = "air: {from: a, to: b, medium: radio, carries: [bell], when_full: drop_new}"
    rule = "{in: s, after: 5 ms, send: bell via air}"
    a, b = f"a: {{states: {{s: {{}}}}, rules: [{rule}]}}", "b: {states: {t: {}}, discards: [bell]}"
    text = f"device: d\nchips:\n  {a}\n  {b}\nlinks:\n  {link}\n"
    (tmp_path / "old.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "new.yaml").write_text(text.replace("5 ms", "7 ms"), encoding="utf-8")
    told = here(tmp_path, "old.yaml", "new.yaml", "--page", "told.html")
    assert told.code == 0
    assert "behaviour unchanged except for durations" in head(told)
    assert "not compared, because time is not counted without a clock: ≠ rule a." in " ".join(
        told.out.split()
    )
    page = (tmp_path / "told.html").read_text(encoding="utf-8")
    assert 'class="verdict open"' in page
    assert here(tmp_path, "old.yaml", "new.yaml", "--same").code == 3
    (tmp_path / "new.yaml").write_text(f"{text}clock: {{tick: 1 ms}}\n", encoding="utf-8")
    told = here(tmp_path, "old.yaml", "new.yaml")
    assert "not compared, because time is not counted without a clock: ≠ the device" in " ".join(
        told.out.split()
    )


def test_a_behaviour_that_differs_fails_only_when_it_must_be_the_same(tmp_path: Path) -> None:
    """Nothing is broken by a bell; whoever says --same wants to know of it."""
    result = compare(tmp_path, BELL)
    assert result.code == 0
    assert "no new findings, behaves differently in" in head(result)
    said = " ".join(result.out.split())
    assert re.search("the new device can do “[^”]*sent bell via back”", said)
    assert "1. the player plugs the cable in" in result.out
    for arguments, code in ((("--same",), 1), (("--same", "--see", "cord"), 0)):
        shutil.rmtree(tmp_path / "new")
        assert compare(tmp_path, BELL, *arguments).code == code


@pytest.mark.parametrize(
    ("equivalence", "title"),
    [
        ("strong", "strong bisimulation"),
        ("divergence", "branching bisimulation with explicit divergence"),
        ("weak", "weak bisimulation"),
    ],
)
def test_another_equivalence_can_be_chosen(equivalence: str, title: str, tmp_path: Path) -> None:
    """It is named where the answer stands."""
    result = compare(tmp_path, RENAME, "--alike", equivalence)
    assert result.code == 0
    assert f"behaviour ({title})" in result.out


WAITING = """\
device: a hub that asks its tile
chips:
  hub:
    states: {asking: {rest: true}, hearing: {rest: true}, done: {rest: true}}
    rules:
      ask: {in: asking, to: hearing, signal: asked}
      give_up: {in: hearing, to: done, signal: gave_up}
"""


def test_silent_steps_forever_are_shown_as_a_loop(tmp_path: Path) -> None:
    """Only with divergence do they count; every output says where the loop begins (invented)."""
    (tmp_path / "old.yaml").write_text(WAITING, encoding="utf-8")
    loop = "      again: {in: hearing, to: hearing}\n"
    (tmp_path / "new.yaml").write_text(WAITING + loop, encoding="utf-8")
    asked = ("old.yaml", "new.yaml", "--see", "asked, gave_up", "--same")
    assert here(tmp_path, *asked).code == 0
    outputs = ("--json", "told.json", "--markdown", "told.md", "--page", "told.html")
    result = here(tmp_path, *asked, "--alike", "divergence", *outputs)
    assert result.code == 1
    said = (
        "after “signalled asked”, the new device can go on forever without a visible event, and "
        "the old device cannot"
    )
    markdown = (tmp_path / "told.md").read_text(encoding="utf-8")
    page = (tmp_path / "told.html").read_text(encoding="utf-8")
    for text in (result.out, markdown, page):
        assert said in " ".join(text.split())
    assert re.search(r"from here on, repeating forever:\n +2\. hub", result.out)
    assert "2. (repeats forever) hub" in markdown
    told = json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))
    (one,) = told["behaviours"]
    assert told["equivalence"] == "divergence"
    assert (one["difference"]["how"], one["loop_from"]) == ("divergence", 2)
    assert [step["label"] for step in one["scenario"]] == ["hub ask", "hub again"]


def test_silent_steps_forever_are_no_event_that_is_quoted(tmp_path: Path) -> None:
    """Where the old hub can be deaf forever, the new one can always still give up (invented)."""
    loops = "      again: {in: hearing, to: hearing}\n      idle: {in: done, to: done}\n"
    (tmp_path / "new.yaml").write_text(WAITING + loops, encoding="utf-8")
    doze = "      doze: {in: hearing, to: done}\n"
    (tmp_path / "old.yaml").write_text(WAITING + loops + doze, encoding="utf-8")
    seen = ("--see", "asked, gave_up", "--alike", "divergence")
    result = here(tmp_path, "old.yaml", "new.yaml", *seen)
    assert (
        "after “signalled asked”, the old device can reach a state in which only silent steps "
        "forever can follow; the new device can then always do something else"
    ) in " ".join(result.out.split())


def test_a_bound_makes_it_incomplete(tmp_path: Path) -> None:
    """Exit code 3, and nothing is called the same; what is not broken is so as far as one knows."""
    outputs = ("--markdown", "told.md", "--page", "told.html")
    result = compare(tmp_path, RENAME, "--max-states", "5", *outputs)
    assert result.code == 3
    assert "no new findings so far" in head(result)
    markdown = (tmp_path / "told.md").read_text(encoding="utf-8")
    assert "no new findings so far" in markdown.splitlines()[0]
    page = (tmp_path / "told.html").read_text(encoding="utf-8")
    said = re.search(r'<h2 id="verdict-said">.*</h2>', page)
    assert said is not None
    assert "no new findings so far" in said[0]
    assert said[0].endswith("; incomplete</h2>")
    assert "incomplete" in head(result)
    assert "? messages over radio: unknown in every mode and as a whole" in result.out
    assert "untouched" not in result.out


def test_every_option_is_compared(tmp_path: Path) -> None:
    """A device whose second choice behaves otherwise is only found out with --every-option."""
    link = """\
links:
  out:
    from: hub
    to: ear
    medium: radio
    carries: {word: {one_of: [dark, light]}}
    when_full: drop_new
"""
    ear = "  ear: {states: {on: {rest: true}}, discards: [word]}\nmodes:"
    rule = '      tell: {in: radio_up, if: not lit, send: "word(MESSAGE) via out"}\nmodes:'
    text = link + SAMPLE.replace("modes:", rule).replace("modes:", ear)
    for name, message in (("old", "dark"), ("new", "light")):
        (tmp_path / f"{name}.yaml").write_text(text.replace("MESSAGE", message), encoding="utf-8")
    alone = here(tmp_path, "old.yaml", "new.yaml", "--same")
    assert alone.code == 0
    every = here(tmp_path, "old.yaml", "new.yaml", "--same", "--every-option")
    assert every.code == 1
    assert "on_unplug=fall_back, brightness=low: messages over radio" in every.out


class _Page(HTMLParser):
    """Which elements a page has, and what it would load."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.loads += [value or "" for name, value in attrs if name in ("src", "href", "action")]


def test_the_page_shows_both_charts_with_marks_in_words(tmp_path: Path) -> None:
    """Old and new, each with what is gone or new; it loads nothing."""
    edits = (
        (r"(?m)^  lift_cable:(?:\n    .*)+\n", "  nap: {in: by_air, to: asleep}\n"),
        (r"  by_cable: \{rest: true\}\n", "  by_cable: {rest: true}\n  asleep: {rest: true}\n"),
        *RENAME,
    )
    compare(tmp_path, edits, "--page", "told.html")
    text = (tmp_path / "told.html").read_text(encoding="utf-8")
    page = _Page()
    page.feed(text)
    assert all(target.startswith("#") for target in page.loads)
    old, new = re.search(
        r"<h3><bdi>pedal</bdi></h3>(.*?)<h4><bdi>New: (.*?)<h3>", text, re.DOTALL
    ).groups()  # type: ignore[union-attr]
    assert old.count("<svg") == new.count("<svg") == 1
    assert "− gone" in old
    assert "− gone" not in new
    assert "+ new" in new
    assert "+ new" not in old
    assert 'class="rest added"' in new
    assert 'class="arrow move added"' in new
    assert "→ renamed" in text


def repository(folder: Path) -> None:
    """The starter in a repository of its own, and in it one commit."""
    if shutil.which("git") is None:
        pytest.skip("git is not installed")
    shutil.copytree(MODELS / "starter", folder / "sub" / "starter")
    git = ["git", "-c", "user.name=somebody", "-c", "user.email=somebody@example.com"]
    for arguments in (["init", "--quiet"], ["add", "."], ["commit", "--quiet", "-m", "First"]):
        subprocess.run([*git, *arguments], cwd=folder, check=True)


def test_a_file_is_compared_with_its_revision(tmp_path: Path) -> None:
    """The files that it names are those of the revision, too; the working files are not touched."""
    repository(tmp_path)
    chip = tmp_path / "sub" / "starter" / "pedal.yaml"
    plug = re.sub(*SILENT[0], chip.read_text(encoding="utf-8"))
    chip.write_text(plug, encoding="utf-8")
    device = str(Path("sub", "starter", "device.yaml"))
    result = here(tmp_path, "--from", "HEAD", device, "--json", "told.json")
    assert result.code == 1
    assert f"old: HEAD:{device}, 16 states" in result.out
    told = json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))
    (change,) = told["text"]
    assert change["old_place"].startswith("HEAD:sub/starter/pedal.yaml:")
    assert change["new_place"].startswith("sub/starter/pedal.yaml:")
    assert chip.read_text(encoding="utf-8") == plug
    state = subprocess.run(
        ["git", "status", "--porcelain"], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert state.stdout.splitlines() == [" M sub/starter/pedal.yaml", "?? told.json"]
    same = here(chip.parent, "--from", "HEAD", "device.yaml")
    assert same.code == 1


def test_a_revision_that_cannot_be_had_is_told(tmp_path: Path) -> None:
    """No such revision, no such file in it, an error in it, or no repository: exit code 2."""
    lone = tmp_path / "lone"
    lone.mkdir()
    shutil.copy(STARTER, lone / "device.yaml")
    result = here(lone, "--from", "HEAD", "device.yaml")
    assert result.code == 2
    assert "'device.yaml' is not in a git repository" in result.err
    root = tmp_path / "root"
    root.mkdir()
    repository(root)
    folder = root / "sub" / "starter"
    for revision in ("never", "--output=x", ""):
        result = here(folder, f"--from={revision}", "device.yaml")
        assert result.code == 2
        assert f"there is no revision {revision!r}" in result.err
        assert "such as HEAD" in result.err
    (folder / "other.yaml").write_text("device: d\n", encoding="utf-8")
    result = here(folder, "--from", "HEAD", "other.yaml")
    assert result.code == 2
    assert "there is no 'sub/starter/other.yaml' in HEAD" in result.err
    broken = (
        (folder / "receiver.yaml").read_text(encoding="utf-8").replace("to: on_air", "to: nowhere")
    )
    (folder / "receiver.yaml").write_text(broken, encoding="utf-8")
    author = ["-c", "user.name=somebody", "-c", "user.email=somebody@example.com"]
    subprocess.run(["git", *author, "commit", "-aqm", "Break"], cwd=folder, check=True)
    subprocess.run(
        ["git", "checkout", "-q", "HEAD~1", "--", "receiver.yaml"], cwd=folder, check=True
    )
    result = here(folder, "--from", "HEAD", "device.yaml")
    assert result.code == 2
    assert result.err.startswith("HEAD:sub/starter/receiver.yaml:15:")
    assert "modecheck-" not in result.err


def test_wrong_arguments_are_told_before_anything_is_explored(tmp_path: Path) -> None:
    """How many devices, what is seen, and where to write."""
    for arguments, said in (
        ((STARTER,), "1 devices given; expected OLD and NEW, or --from REV"),
        ((STARTER, STARTER, "--from", "HEAD"), "2 devices given; expected NEW alone"),
        ((STARTER, STARTER, "--see", "pictur"), "did you mean 'picture'"),
        ((STARTER, STARTER, "--see", ","), "is nothing that can be seen"),
        ((STARTER, STARTER, "--page", "no/such/page.html"), "there is no folder 'no/such'"),
        (
            (STARTER, STARTER, "--page", "x", "--json", "x"),
            "'x' is given to both --json and --page",
        ),
        ((STARTER, "none.yaml"), "there is no file 'none.yaml'"),
    ):
        result = here(tmp_path, *arguments)
        assert result.code == 2, arguments
        assert said in result.err
        assert "Traceback" not in result.err
        assert list(tmp_path.iterdir()) == []


def test_a_difference_that_shows_alike_over_several_media_is_told_once(tmp_path: Path) -> None:
    """A step that can fail is seen by whoever looks, over whatever medium."""
    text = (
        "device: d\nchips:\n"
        "  a: {states: {s: {rest: true}}, rules: [{on: ask, send: [x via air, y via cord]}]}\n"
        "  b: {states: {t: {rest: true}}, variables: {n: {range: [0, 1]}},"
        " rules: [{on: count, do: n = 1}], discards: [x, y]}\n"
        "actors: {player: {states: [here], rules: [{signal: ask}, {signal: count}]}}\n"
        "links:\n"
        "  air: {from: a, to: b, medium: radio, carries: [x], when_full: drop_new}\n"
        "  cord: {from: a, to: b, medium: cable, carries: [y], when_full: drop_new}\n"
    )
    (tmp_path / "old.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "new.yaml").write_text(text.replace("n = 1", "n += 1"), encoding="utf-8")
    told = here(tmp_path, "old.yaml", "new.yaml").out
    assert "\nmessages over radio and cable, as a whole\n" in told
    assert told.count("from the start, a step of the new device can fail") == 1
