"""`modecheck draw`: what it writes, and how it tells that pictures are stale."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.running import run
from tests.cli.sample import SAMPLE

STARTER = """
device: lamp
modes: {bright: lamp.state == lit, black: lamp.state == dark}
chips:
  lamp:
    states: {dark: {rest: true}, lit: {rest: true}}
    rules: [{in: dark, on: switched, to: lit}, {in: lit, on: switched, to: dark}]
actors:
  somebody: {states: [there], rules: [{signal: switched}]}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with two devices."""
    (tmp_path / "lamp.yaml").write_text(STARTER, encoding="utf-8")
    (tmp_path / "other.yaml").write_text(
        STARTER.replace("device: lamp", "device: other").replace("lit", "shining"), encoding="utf-8"
    )
    (tmp_path / "sample.yaml").write_text(SAMPLE, encoding="utf-8")
    return tmp_path


def test_everything_is_drawn(folder: Path) -> None:
    """Maps, statecharts, folds and switches, told file by file."""
    result = run("draw", "lamp.yaml", "--to", "out", "--fold", "lamp.state, mode", folder=folder)
    assert result.code == 0
    names = {path.name for path in (folder / "out").iterdir()}
    assert names == {Path(line).name for line in result.out.splitlines()}
    assert {"device.svg", "modes.svg", "chip-lamp.svg", "chip-lamp.dot"} <= names
    assert {"fold-mode.svg", "fold-lamp-state-mode.svg", "switch-black-bright.svg"} <= names


def test_fresh_pictures_pass_the_check(folder: Path) -> None:
    """Nothing is written, and the exit code is 0."""
    run("draw", "lamp.yaml", "--to", "out", folder=folder)
    before = {path: path.stat().st_mtime_ns for path in (folder / "out").iterdir()}
    result = run("draw", "lamp.yaml", "--to", "out", "--check", folder=folder)
    assert (result.code, result.out) == (0, "nothing is stale\n")
    assert {path: path.stat().st_mtime_ns for path in (folder / "out").iterdir()} == before


def test_a_changed_rule_makes_them_stale(folder: Path) -> None:
    """The files that differ are named, and the exit code is 1."""
    run("draw", "lamp.yaml", "--to", "out", folder=folder)
    changed = STARTER.replace(
        "{in: lit, on: switched, to: dark}", "{in: lit, after: 5 s, to: dark}"
    )
    (folder / "lamp.yaml").write_text(changed, encoding="utf-8")
    result = run("draw", "lamp.yaml", "--to", "out", "--check", folder=folder)
    assert result.code == 1
    assert "chip-lamp.svg: out of date" in result.out
    assert "chip-somebody.svg" not in result.out


def test_what_is_not_there_is_stale(folder: Path) -> None:
    """A folder that was never drawn, and nothing comes to be there."""
    result = run("draw", "lamp.yaml", "--to", "out", "--check", folder=folder)
    assert result.code == 1
    assert "missing" in result.out
    assert not (folder / "out").exists()


def test_several_devices_get_folders_and_pages(folder: Path) -> None:
    """Drawn and checked by the same words, with and without the check."""
    arguments = ("draw", "lamp.yaml", "other.yaml", "--to", "out")
    assert run(*arguments, folder=folder).code == 0
    assert (folder / "out" / "README.md").exists()
    assert (folder / "out" / "lamp" / "README.md").exists()
    assert (folder / "out" / "other" / "chip-lamp.svg").exists()
    assert not (folder / "out" / "other" / "chip-somebody.svg").exists()
    assert run(*arguments, "--check", folder=folder).code == 0
    (folder / "out" / "other" / "README.md").write_text("edited", encoding="utf-8")
    assert run(*arguments, "--check", folder=folder).code == 1


def test_what_cannot_be_folded_by_is_an_error(folder: Path) -> None:
    """Nothing is drawn, and the nearest name is suggested."""
    result = run("draw", "lamp.yaml", "--to", "out", "--fold", "lamp.stat", folder=folder)
    assert result.code == 2
    assert "lamp.state" in result.err
    assert not (folder / "out").exists()


def test_an_incomplete_exploration_is_said(folder: Path) -> None:
    """Exit code 3, as everywhere, and the device is named."""
    result = run("draw", "sample.yaml", "--to", "out", "--max-states", "1", folder=folder)
    assert result.code == 3
    assert "sample.yaml: incomplete: stopped by the bound of 1 states" in result.out


def test_an_error_in_one_of_several_devices_is_told(folder: Path) -> None:
    """As that of one device; nothing is written."""
    (folder / "wrong.yaml").write_text("device: d\nchisp: {}\n", encoding="utf-8")
    result = run("draw", "lamp.yaml", "wrong.yaml", "--to", "out", folder=folder)
    assert (result.code, result.out) == (2, "")
    assert "wrong.yaml:2:1: unknown key 'chisp' in a device file" in result.err
    assert "Traceback" not in result.err
    assert not (folder / "out").exists()


def test_a_file_in_place_of_the_folder_is_named(folder: Path) -> None:
    """Whoever runs several commands in a job sees which path was meant."""
    result = run("draw", "lamp.yaml", "--to", "other.yaml", folder=folder)
    assert result.code == 2
    assert "'other.yaml' cannot be written" in result.err
