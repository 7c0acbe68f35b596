"""`check DEVICE --with FILE`: what a file changes, short, and without touching the device."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import MODELS, Run, run
from tests.cli.sample import BROKEN, SAMPLE

STARTER = MODELS / "starter" / "device.yaml"
MUTE = "chips: {pedal: {rules: {plug: {send: null}}}}\n"
"""The mistake of the faulty twin silent_plug."""


def laid(over: str, folder: Path, *arguments: str, device: str = "") -> Run:
    """Check a device, the starter or one with this text, with a file laid over it."""
    (folder / "rule.yaml").write_text(over, encoding="utf-8")
    (folder / "device.yaml").write_text(device, encoding="utf-8")
    path = "device.yaml" if device else str(STARTER)
    return run("check", path, "--with", "rule.yaml", *arguments, folder=folder)


def head(result: Run) -> str:
    """What stands before the first blank line, on one line."""
    return " ".join(result.out.partition("\n\n")[0].split())


def test_what_is_newly_broken_is_told_in_full(tmp_path: Path) -> None:
    """Each with place and scenario, and exit code 1."""
    result = laid(MUTE, tmp_path)
    assert (result.code, result.err) == (1, "")
    assert head(result).startswith("starter with rule.yaml: 2 new findings 16 states")
    assert "deadlock:receiver.changing" in result.out
    assert "1. the player plugs the cable in" in result.out
    assert "note_ends: holds → broken" in result.out
    assert "fixed" not in result.out


def test_what_is_mended_and_what_is_the_same_is_told_by_name(tmp_path: Path) -> None:
    """No scenario is needed for that, and the exit code is 0."""
    twin = (MODELS / "faulty" / "silent_plug.yaml").read_text("utf-8")
    twin = twin.replace("../starter", str(MODELS / "starter"))
    over = "chips: {receiver: {rules: {give_up: {in: changing, after: 9 ms, to: on_cable}}}}\n"
    result = laid(over, tmp_path, device=twin)
    assert result.code == 0
    assert result.err == "rule.yaml:1:28: note: overlay adds rule 'give_up' to chip receiver\n"
    assert "no new findings, 1 fixed, 1 unchanged" in head(result)
    assert "fixed\n  deadlock:receiver.changing\n" in result.out
    assert "unchanged\n  broken-requirement:note_ends\n" in result.out
    assert "1. the player" not in result.out


def test_a_file_that_repeats_what_is_there_is_said_to_change_nothing(tmp_path: Path) -> None:
    """Nothing was found because nothing is new; a changed text is a change, if not of states."""
    same = laid("chips: {pedal: {rules: {plug: {to: by_cable}}}}\n", tmp_path)
    assert same.code == 0
    assert "the file changes neither the device nor what is required" in head(same)
    other = laid("chips: {pedal: {rules: {plug: {text: hears the cable}}}}\n", tmp_path)
    assert "changes neither" not in other.out


def test_a_file_that_changes_nothing_breaks_nothing(tmp_path: Path) -> None:
    """And is told in two lines."""
    result = laid("about: the same\n", tmp_path)
    assert result.code == 0
    assert result.out.splitlines() == [
        "starter with rule.yaml: no new findings",
        "  16 states without the file, 16 states with it",
    ]
    assert laid("about: the same\n", tmp_path, "--quiet") == Run(0, "", "")


def test_the_device_is_not_touched(tmp_path: Path) -> None:
    """Neither its file nor those that it names."""
    folder = STARTER.parent
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    laid(MUTE, tmp_path)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert {path.name for path in tmp_path.iterdir()} == {"device.yaml", "rule.yaml"}


@pytest.mark.parametrize("twin", ["silent_plug", "unheard_of", "inverted_plug_detect"])
def test_a_file_laid_over_says_what_a_variant_says(twin: str, tmp_path: Path) -> None:
    """A file that is based on a device, and the same file laid over it, are one device."""
    path = MODELS / "faulty" / f"{twin}.yaml"
    base = path.parent / path.read_text("utf-8").split("based_on: ")[1].splitlines()[0]
    lines = path.read_text("utf-8").splitlines(keepends=True)
    over = "".join(line for line in lines if not line.startswith("based_on"))
    (path_over := tmp_path / "over.yaml").write_text(over, encoding="utf-8")
    one, two = tmp_path / "1", tmp_path / "2"
    run("check", str(path), "--json", str(one))
    run("check", str(base), "--with", str(path_over), "--json", str(two))
    told = [json.loads(file.read_text("utf-8")) for file in (one, two)]
    for need in (need for each in told for need in each["requirements"]):
        del need["cost"]["seconds"]
    for key in ("states", "transitions", "depth", "requirements"):
        assert told[0][key] == told[1][key]
    ids = [[finding["id"] for finding in each["findings"]] for each in told]
    assert ids[0] == ids[1] != []


def test_requirements_can_be_added_and_removed(tmp_path: Path) -> None:
    """One that is broken from its beginning is newly broken; one that is gone is not asked."""
    over = """\
requirements:
  heard: null
  note_ends: {builds_on: null}
  mute: {text: Nothing ever sounds, never: receiver.sounding}
"""
    result = laid(over, tmp_path)
    assert result.code == 1
    assert "1 new finding" in head(result)
    assert "heard: holds → not asked" in result.out
    assert "mute: not asked → broken" in result.out


def test_what_was_stopped_mends_nothing(tmp_path: Path) -> None:
    """What was not seen again may still be there; the exit code is 3."""
    twin = (MODELS / "faulty" / "silent_plug.yaml").read_text("utf-8")
    twin = twin.replace("../starter", str(MODELS / "starter"))
    over = "chips: {pedal: {rules: {plug: {send: [picture(foot) via cord]}}}}\n"
    whole = laid(over, tmp_path, device=twin)
    assert "2 fixed" in head(whole)
    result = laid(over, tmp_path, "--max-states", "5", device=twin)
    assert result.code == 3
    assert "so far, incomplete" in head(result)
    assert "fixed" not in result.out
    assert "not seen again, but not everything was explored\n  deadlock" in result.out


ACCEPTED = (
    SAMPLE
    + f"""\
accepted:
  - {{finding: "{BROKEN}", reason: we know}}
"""
)


def test_what_was_accepted_is_not_new(tmp_path: Path) -> None:
    """Not when it stays, not when its acceptance goes, and not when mending it ends the need."""
    unsound = ("--option", "on_unplug=fall_back")
    stays = laid("about: the same\n", tmp_path, *unsound, device=ACCEPTED)
    assert (stays.code, "1 unchanged" in head(stays)) == (0, True)
    alone = laid("accepted: null\n", tmp_path, *unsound, device=ACCEPTED)
    assert (alone.code, "no new findings" in head(alone)) == (0, True)
    mend = "chips: {hub: {rules: {unplug: {do: [bright = brightness == high]}}}}\n"
    mended = laid(mend, tmp_path, "--every-option", device=ACCEPTED)
    assert f"fixed\n  {BROKEN}" in mended.out
    assert "needless-acceptance" not in mended.out


def test_a_fault_in_one_more_variant_is_new(tmp_path: Path) -> None:
    """It occurred with one choice of an option, and now it occurs with all."""
    dark = "lit = on_unplug == stay and lit == false"
    over = f"chips: {{hub: {{rules: {{unplug: {{do: [{dark}, bright = brightness == high]}}}}}}}}\n"
    result = laid(over, tmp_path, "--every-option", device=SAMPLE)
    assert result.code == 1
    assert head(result).startswith("sample with rule.yaml: 1 new finding on_unplug=stay")
    assert BROKEN in result.out


def test_what_falls_with_another_is_not_mended(tmp_path: Path) -> None:
    """The finding is hidden behind its cause, and still there."""
    device = SAMPLE.replace("on_unplug: [stay, fall_back]", "on_unplug: [fall_back, stay]")
    over = """\
requirements:
  never_dark: {builds_on: [never_radio]}
  never_radio: {text: Never by radio, never: hub.radio_up}
"""
    result = laid(over, tmp_path, device=device)
    assert result.code == 1
    assert "1 new finding, 1 unchanged" in head(result)
    assert f"unchanged\n  {BROKEN}" in result.out
    assert "never_dark: broken → falls" in result.out


@pytest.mark.parametrize(
    ("over", "told"),
    [
        ("chps: {}\n", "rule.yaml:1:1: unknown key 'chps'"),
        ("chips: {pedal: {rules: {plug: {to: by_cabel}}}}\n", "did you mean 'by_cable'?"),
        ("- a list\n", "rule.yaml:1:1"),
    ],
)
def test_a_mistake_in_the_file_is_told_with_its_place(over: str, told: str, tmp_path: Path) -> None:
    """Exit code 2, and nothing is explored."""
    result = laid(over, tmp_path)
    assert (result.code, result.out) == (2, "")
    assert told in result.err
    assert "rule.yaml:1:" in result.err


def test_the_comparison_is_written_as_json_and_as_markdown(tmp_path: Path) -> None:
    """Both tell what the text tells; JSON holds the whole verdict beside it."""
    twin = (MODELS / "faulty" / "silent_plug.yaml").read_text("utf-8")
    twin = twin.replace("../starter", str(MODELS / "starter"))
    over = """\
chips: {receiver: {rules: {give_up: {in: changing, after: 9 ms, to: on_cable}}}}
requirements: {mute: {text: "Nothing | ever sounds", never: receiver.sounding}}
"""
    result = laid(over, tmp_path, "--json", "j", "--markdown", "m", device=twin)
    assert result.code == 1
    data = json.loads((tmp_path / "j").read_text("utf-8"))
    trial = data["trial"]
    assert (trial["with"], trial["complete"], trial["unseen"]) == ("rule.yaml", True, [])
    assert trial["new"] == ["broken-requirement:mute"]
    assert trial["fixed"] == ["deadlock:receiver.changing"]
    assert trial["unchanged"] == ["broken-requirement:note_ends"]
    (change,) = trial["requirements"]
    assert (change["id"], change["before"], change["after"]) == ("mute", "not asked", "broken")
    assert {one["id"] for one in data["findings"]} == {*trial["new"], *trial["unchanged"]}
    assert f"{trial['without_file'][0]['states']} states without the file" in result.out
    assert f"{data['states']} states with it" in result.out
    text = (tmp_path / "m").read_text("utf-8")
    assert "with rule.yaml: 1 new finding, 1 fixed, 1 unchanged\n" in text
    assert text.count("<details>") == text.count("</details>") == 1
    assert "### Fixed\n\n- <code>deadlock:receiver.changing</code>\n" in text
    assert "- <code>mute</code>: **not asked → broken**\n\nNothing \\| ever sounds\n" in text


def test_what_was_stopped_is_told_in_both_files(tmp_path: Path) -> None:
    """Nothing is called mended there that was only not seen again."""
    twin = (MODELS / "faulty" / "silent_plug.yaml").read_text("utf-8")
    twin = twin.replace("../starter", str(MODELS / "starter"))
    over = "chips: {pedal: {rules: {plug: {send: [picture(foot) via cord]}}}}\n"
    arguments = ("--max-states", "5", "--json", "j", "--markdown", "m")
    assert laid(over, tmp_path, *arguments, device=twin).code == 3
    trial = json.loads((tmp_path / "j").read_text("utf-8"))["trial"]
    assert (trial["complete"], trial["fixed"]) == (False, [])
    assert "deadlock:receiver.changing" in trial["unseen"]
    assert "so far, incomplete" in (tmp_path / "m").read_text("utf-8").splitlines()[0]


MANY_BITS = """
device: much to remember
chips:
  store:
    variables: {kept: {list: 30, bool: true}}
    states: {open: {rest: true}, shut: {rest: true}}
    rules:
      shut: {in: open, to: shut}
      open: {in: shut, to: open}
"""


def test_both_are_told_the_same_one_after_the_other_and_side_by_side(tmp_path: Path) -> None:
    """Without a cache in one process, else, where there is much to remember, in two."""
    over = "chips: {store: {rules: {open: null}}}\n"
    alone, both = (
        laid(over, tmp_path, *options, device=MANY_BITS)
        for options in (("--no-cache",), ("--threads", "2"))
    )
    assert "2 states without the file, 2 states with it" in head(alone)
    assert alone == both
