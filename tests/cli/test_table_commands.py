"""`modecheck gaps --csv`, `--rows` and `modecheck from-table` on the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.running import MODELS, run

STARTER = str(MODELS / "starter" / "device.yaml")


def test_a_chip_goes_to_a_table_and_comes_back(tmp_path: Path) -> None:
    """As rows: the chip file that comes back says what the bundled one says."""
    table = str(tmp_path / "receiver.csv")
    assert run("gaps", STARTER, "--chip", "receiver", "--rows", table).code == 0
    read = run("from-table", table)
    assert (read.code, read.err) == (0, "")
    assert "pulled: {in: [changing, on_cable], on: pulled_out, to: on_air" in read.out


def test_gaps_are_written_for_a_spreadsheet(tmp_path: Path) -> None:
    """All chips in one table, of which one can be chosen when it is read."""
    table = str(tmp_path / "gaps.csv")
    done = run("gaps", STARTER, "--csv", table)
    text = (tmp_path / "gaps.csv").read_text(encoding="utf-8")
    assert text.startswith("chip,state,")
    assert "receiver,changing," in text
    assert done.code == 0
    read = run("from-table", table, "--chip", "pedal", "--to", str(tmp_path / "pedal.yaml"))
    # Of several chips the table has no lines above, so that nothing says what `foot` is.
    assert read.code == 2
    assert "unknown variable 'foot'" in read.err


def test_what_a_table_cannot_say_is_named(tmp_path: Path) -> None:
    """Rules that are written for each copy have names that no file can give."""
    device = str(MODELS / "small" / "joining.yaml")
    done = run("gaps", device, "--chip", "hub", "--rows", str(tmp_path / "hub.csv"))
    assert "the rule 'joins[1]' is called 'joins_1'" in " ".join(done.err.split())
    assert "joining.yaml:" in done.err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["gaps", STARTER, "--rows", "a.csv"], "give --chip NAME"),
        (["gaps", STARTER, "--chip", "reciever"], "did you mean 'receiver'?"),
        (["gaps", STARTER, "--csv", "a.csv", "--json", "a.csv"], "given to both --csv and --json"),
        (["from-table", "none.csv"], "there is no file 'none.csv'"),
        (["from-table", STARTER], "no line names the columns"),
    ],
)
def test_what_cannot_be_done_is_said(arguments: list[str], said: str, tmp_path: Path) -> None:
    """In a sentence, with exit code 2, and nothing is written."""
    done = run(*arguments, folder=tmp_path)
    assert (done.code, done.out) == (2, "")
    assert said in done.err
    assert list(tmp_path.iterdir()) == []
