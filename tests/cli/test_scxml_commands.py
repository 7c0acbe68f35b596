"""`modecheck scxml` and `modecheck from-scxml` on the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.running import MODELS, run

STARTER = str(MODELS / "starter" / "device.yaml")
TANDEM = str(MODELS / "tandem" / "device.yaml")


def test_a_chip_is_written_and_read_again(tmp_path: Path) -> None:
    """To a file each; reading an export has nothing to remark."""
    chart, chip = str(tmp_path / "receiver.scxml"), str(tmp_path / "receiver.yaml")
    written = run("scxml", STARTER, "--chip", "receiver", "--to", chart)
    assert (written.code, written.out) == (0, "")
    text = (tmp_path / "receiver.scxml").read_text(encoding="utf-8")
    assert "<!-- receiver of starter, by modecheck" in text
    assert "a model, not the hardware" in text
    read = run("from-scxml", chart, "--to", chip)
    assert (read.code, read.out, read.err) == (0, "", "")
    assert "chip: receiver" in (tmp_path / "receiver.yaml").read_text(encoding="utf-8")


def test_without_a_file_it_is_printed() -> None:
    """And nothing else is: what differs stands on standard error."""
    done = run("scxml", STARTER, "--chip", "receiver")
    assert done.out.startswith('<?xml version="1.0" encoding="UTF-8"?>\n')
    assert done.out.endswith("</scxml>\n")
    assert "Messages without an answer" in done.err


def test_each_difference_has_its_place_and_its_comment() -> None:
    """Those of tandem's hub: in the YAML on standard error, and in the chart."""
    done = run("scxml", TANDEM, "--chip", "hub")
    assert done.code == 0
    assert all(len(line) <= 80 for line in done.err.splitlines() if "/" not in line)
    for place, comment in (
        ("hub.yaml:33:9: 'pair_tiles'", "'pair_tiles': taken when its event is sent from outside"),
        ("hub.yaml:7:3: 'front_bond'", "'front_bond': kept over a power cut"),
        ("front_picture, rear_picture in 'wired_up'", "'wired_up': discarded here, deferred in"),
        ("hub.yaml:61:5: 'started'", "'started': where the condition does not hold when"),
        ("front_dock.seated", "front_dock.seated: read of another chip"),
        ("'front_to_laptop'", "'front_to_laptop': not taken in the model while its link is full"),
    ):
        assert place in " ".join(done.err.split())
        assert comment in " ".join(done.out.split())


def test_an_option_chooses_the_variant() -> None:
    """Its value stands in the head, and in what depends on it."""
    done = run("scxml", TANDEM, "--chip", "hub", "--option", "on_unplug=fall_back")
    assert "hub of tandem (on_unplug=fall_back" in done.out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["scxml", STARTER, "--chip", "reciever"], "did you mean 'receiver'?"),
        (["scxml", STARTER], "Missing option '--chip'"),
        (["scxml", STARTER, "--chip", "receiver", "--to", "none/a.scxml"], "there is no folder"),
        (["from-scxml", "none.scxml"], "there is no file 'none.scxml'"),
        (["from-scxml", "."], "'.' is a folder"),
        (["from-scxml", STARTER], "not well-formed XML"),
    ],
)
def test_what_cannot_be_done_is_said(arguments: list[str], said: str, tmp_path: Path) -> None:
    """In a sentence, with exit code 2, and nothing is written."""
    done = run(*arguments, folder=tmp_path)
    assert (done.code, done.out) == (2, "")
    assert said in done.err
    assert list(tmp_path.iterdir()) == []


FOREIGN = """\
<scxml xmlns="http://www.w3.org/2005/07/scxml" xmlns:x="urn:other" version="1.0" name="a lamp">
  <x:picture/>
  <state id="dark-room"><transition event="light.on" target="lit"/></state>
  <state id="lit"><transition cond="true" target="out"/></state>
  <final id="out"/>
</scxml>
"""


def test_what_is_read_differently_is_said(tmp_path: Path) -> None:
    """On standard error with its place, and in the chip file."""
    (tmp_path / "lamp.scxml").write_text(FOREIGN, encoding="utf-8")
    done = run("from-scxml", "lamp.scxml", folder=tmp_path)
    assert done.code == 0
    told = " ".join(done.err.split())
    for place, said in (
        ("2:3", "<picture> of the namespace 'urn:other' is left out"),
        ("3:14", "the state 'dark-room' is read as 'dark_room'"),
        ("4:19", "a transition without an event: SCXML takes it at once"),
        ("5:3", "'out' is final: here it is a state that may last"),
    ):
        assert f"lamp.scxml:{place}: note: {said}" in told
        assert said in " ".join(done.out.replace("\n#", "").split())
    assert "chip: a_lamp" in done.out
    assert "on: light_on" in done.out
    assert "discards: light_on" in done.out
