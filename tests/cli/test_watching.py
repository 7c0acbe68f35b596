"""`--watch`: again whenever a file of a device is saved, with what has changed first."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from modecheck.cli import watching
from tests.cli.running import MODELS, PATIENCE, environment, run

Saving = Callable[[Path], None]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the starter."""
    for file in (MODELS / "starter").glob("*.yaml"):
        shutil.copy(file, tmp_path)
    return tmp_path


def replaced(name: str, old: str, new: str) -> Saving:
    """Saves a file with some text replaced."""

    def save(folder: Path) -> None:
        text = (folder / name).read_text("utf-8")
        assert old in text
        (folder / name).write_text(text.replace(old, new), "utf-8")

    return save


@pytest.fixture
def edits(monkeypatch: pytest.MonkeyPatch, folder: Path) -> list[Saving]:
    """What is saved, one after the other, each time a run waits; then Ctrl-C."""
    found: list[Saving] = []

    def wait_for(files: Sequence[str], read: object, *, any_model: bool) -> list[str]:
        assert read
        assert any_model or {os.path.basename(path) for path in files} >= {
            "device.yaml", "pedal.yaml", "receiver.yaml",
        }  # fmt: skip
        if not found:
            raise KeyboardInterrupt
        found.pop(0)(folder)
        return ["pedal.yaml"]

    monkeypatch.setattr(watching, "wait_for", wait_for)
    return found


MISTYPE = replaced("pedal.yaml", "send: [picture(foot)", "send: [pictur(foot)")
MEND = replaced("pedal.yaml", "send: [pictur(foot)", "send: [picture(foot)")


def test_what_has_changed_since_the_last_run_comes_first(folder: Path, edits: list[Saving]) -> None:
    """New findings and changed requirements, then the report; the exit code is the last one's."""
    overlay = "based_on: base.yaml\ndevice: starter\n"
    (folder / "device.yaml").rename(folder / "base.yaml")
    (folder / "device.yaml").write_text(overlay, "utf-8")
    silent = "chips: {pedal: {rules: {plug: {send: null}}}}\n"
    edits += [
        replaced("device.yaml", overlay, overlay + silent),
        replaced("device.yaml", silent, ""),
    ]
    result = run("check", "device.yaml", "--watch", "--brief", "--no-cache", folder=folder)
    first, broken, mended = result.out.split("\n── saved: pedal.yaml\n\n")
    assert first.startswith("starter: nothing found\n")
    assert broken.startswith(
        "since the last run: 2 new, 1 requirement changed\n"
        "  + deadlock:receiver.changing\n"
        "  + broken-requirement:note_ends\n"
        "  note_ends: holds → broken\n"
        "\n"
        "starter: 2 errors\n"
    )
    assert mended.startswith("since the last run: 2 fixed, 1 requirement changed\n  − deadlock")
    assert result.code == 0


def test_an_error_in_the_input_ends_only_its_own_run(folder: Path, edits: list[Saving]) -> None:
    """What is compared with is the last run that had a result."""
    edits += [MISTYPE, MEND]
    result = run("check", "device.yaml", "--watch", "--brief", folder=folder)
    assert "'cord' does not carry 'pictur'" in result.err
    assert "since the last run: nothing has changed\n\nstarter: nothing found" in result.out
    assert result.code == 0
    edits += [MISTYPE]
    assert run("check", "device.yaml", "--watch", folder=folder).code == 2


def test_what_was_saved_during_a_run_is_not_missed(
    folder: Path, edits: list[Saving], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It runs again at once."""
    from modecheck.cli.check_job import CheckJob

    was, calls = CheckJob.run, []

    def run_and_save(job: CheckJob) -> watching.Pass:
        calls.append(job)
        done = was(job)
        if len(calls) == 1:
            replaced("receiver.yaml", "rules:", "rules: # saved")(folder)
        return done

    monkeypatch.setattr(CheckJob, "run", run_and_save)
    result = run("check", "device.yaml", "--watch", "--brief", folder=folder)
    assert not edits
    assert len(calls) == 2
    assert "── saved: receiver.yaml" in result.out


def test_a_page_and_pictures_are_written_again(folder: Path, edits: list[Saving]) -> None:
    """Of the pictures only those that have changed are named."""
    edits += [replaced("device.yaml", "device: starter", "device: other")]
    result = run("page", "device.yaml", "--to", "page.html", "--watch", folder=folder)
    assert result.code == 0
    assert result.out.count("page.html\n") == 2
    assert "<title>other" in (folder / "page.html").read_text("utf-8")
    edits += [replaced("pedal.yaml", "by_air", "by_radio"), lambda _: None]
    result = run("draw", "device.yaml", "--to", "pictures", "--watch", folder=folder)
    first, renamed, same = result.out.split("\n── saved: pedal.yaml\n\n")
    assert "chip-receiver.svg" in first
    assert "chip-pedal.svg" in renamed
    assert "chip-receiver.svg" not in renamed
    assert same == "no picture has changed\n"


def until(file: Path, text: str) -> str:
    """What a file holds once it holds this text."""
    begun = time.monotonic()
    while text not in (said := file.read_text("utf-8")):
        assert time.monotonic() - begun < PATIENCE, said
        time.sleep(0.1)
    return said


@pytest.mark.usefixtures("interruptible")
@pytest.mark.skipif(os.name != "posix", reason="needs a signal for Ctrl-C")
def test_a_file_that_is_saved_is_noticed_and_ctrl_c_ends(folder: Path) -> None:
    """In a process of its own, with the real file system; saved in place of the old file, as many
    editors do.
    """
    out = folder / "out.txt"
    with out.open("wb") as stream:
        process = subprocess.Popen(
            [sys.executable, "-m", "modecheck", "check", "device.yaml", "--watch", "--brief"],
            cwd=folder, env=environment(), stdout=stream, stderr=subprocess.STDOUT,
        )  # fmt: skip
        try:
            until(out, "2 of 2 requirements hold")
            time.sleep(0.5)
            text = (folder / "pedal.yaml").read_text("utf-8")
            (folder / "new.txt").write_text(f"{text}# saved\n", "utf-8")
            (folder / "new.txt").replace(folder / "pedal.yaml")
            said = until(out, "since the last run: nothing has changed")
            until(out, "requirements hold\n\n── saved: pedal.yaml\n")
            time.sleep(0.5)
            process.send_signal(signal.SIGINT)
            assert process.wait(PATIENCE) == 0
        finally:
            process.kill()
    assert "── saved: pedal.yaml" in said
    assert "Traceback" not in out.read_text("utf-8")
    assert "interrupted" not in out.read_text("utf-8")
