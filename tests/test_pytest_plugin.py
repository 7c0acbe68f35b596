"""The plugin of pytest: device files are files of tests, and nobody else notices."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import yaml

import modecheck
from modecheck.model.finding_kinds import KINDS
from tests.cli.running import environment
from tests.cli.sample import SAMPLE

ROOT = Path(modecheck.__file__).parents[1]
STARTER = "models/starter/device.yaml"
TWIN = "models/faulty/silent_plug.yaml"
CASES = len(KINDS) - 1
"""Classes of findings; a broken requirement is told by the test of the requirement."""

Done = subprocess.CompletedProcess[str]


def run_pytest(folder: Path, *arguments: str, settings: str = "") -> Done:
    """Run pytest in a folder, with the plugin and no other."""
    (folder / "pytest.ini").write_text(f"[pytest]\n{settings}", encoding="utf-8")
    plugin = ("-p", "modecheck.pytest_plugin", "-p", "no:cacheprovider", "-c", "pytest.ini")
    return subprocess.run(
        [sys.executable, "-m", "pytest", *plugin, "-v", *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def bundled(tmp_path: Path) -> Path:
    """A folder with a copy of the bundled models."""
    shutil.copytree(ROOT / "models", tmp_path / "models")
    return tmp_path


def test_a_sound_device_passes(bundled: Path) -> None:
    """A test for each requirement and each class of findings."""
    done = run_pytest(bundled, STARTER)
    assert done.returncode == 0, done.stdout
    assert f"{CASES + 2} passed" in done.stdout
    assert f"{STARTER}::requirement:note_ends PASSED" in done.stdout
    assert f"{STARTER}::findings:deadlock PASSED" in done.stdout


def test_a_failure_shows_the_scenario(bundled: Path) -> None:
    """And no traceback."""
    done = run_pytest(bundled, TWIN)
    assert done.returncode == 1
    assert f"2 failed, {CASES} passed" in done.stdout
    assert "deadlock:receiver.changing" in done.stdout
    assert "  1. the player plugs the cable in" in done.stdout
    failures, _, _ = done.stdout.partition("short test summary info")
    assert failures.count(f"in the device {TWIN}") == 2
    assert "hint: give a waiting chip a timer" in done.stdout
    assert "Traceback" not in done.stdout
    assert "runtest" not in done.stdout


def test_one_test_of_a_device_can_be_chosen(bundled: Path) -> None:
    """By the id that pytest shows."""
    done = run_pytest(bundled, f"{TWIN}::requirement:note_ends")
    assert done.returncode == 1
    assert "1 failed" in done.stdout
    assert "passed" not in done.stdout


def test_named_devices_are_part_of_a_run_without_arguments(tmp_path: Path) -> None:
    """Also outside of the folders with tests; and once, although a pattern names them twice."""
    for folder in ("models", "tests"):
        (tmp_path / folder).mkdir()
    (tmp_path / "models" / "one.yaml").write_text(SAMPLE, encoding="utf-8")
    (tmp_path / "tests" / "test_own.py").write_text("def test_own(): pass\n", encoding="utf-8")
    (tmp_path / "tests" / "two.yaml").write_text(SAMPLE, encoding="utf-8")
    settings = "modecheck_devices =\n    */*.yaml\n    models/one.yaml\ntestpaths = tests\n"
    done = run_pytest(tmp_path, settings=settings)
    assert done.returncode == 0, done.stdout
    assert done.stdout.count("models/one.yaml::requirement:never_dark PASSED") == 1
    assert done.stdout.count("tests/two.yaml::requirement:never_dark PASSED") == 1
    alone = run_pytest(tmp_path, "tests/test_own.py", settings=settings)
    assert "1 passed" in alone.stdout


def test_every_option_is_a_setting(tmp_path: Path) -> None:
    """The second choice of the sample breaks its requirement."""
    (tmp_path / "device.yaml").write_text(SAMPLE, encoding="utf-8")
    settings = "modecheck_devices = device.yaml\n"
    one = run_pytest(tmp_path, settings=settings)
    assert one.returncode == 0, one.stdout
    assert "1 skipped" not in one.stdout or "checked on all combinations" in one.stdout
    every = run_pytest(tmp_path, settings=f"{settings}modecheck_every_option = true\n")
    assert every.returncode == 1
    assert "only with on_unplug=fall_back" in every.stdout


def test_other_files_are_left_alone(tmp_path: Path) -> None:
    """YAML that nobody names, and an argument that is no device, which pytest refuses."""
    (tmp_path / "device.yaml").write_text(SAMPLE, encoding="utf-8")
    (tmp_path / "other.yaml").write_text("a: 1\n", encoding="utf-8")
    (tmp_path / "test_own.py").write_text("def test_own(): pass\n", encoding="utf-8")
    done = run_pytest(tmp_path)
    assert "1 passed" in done.stdout
    assert "other.yaml" in run_pytest(tmp_path, "other.yaml").stderr


def test_a_device_that_cannot_be_read_is_an_error(tmp_path: Path) -> None:
    """With the place and without a traceback."""
    (tmp_path / "device.yaml").write_text("device: d\nchps: {}\n", encoding="utf-8")
    done = run_pytest(tmp_path, "device.yaml")
    assert done.returncode == 2
    assert "device.yaml:2:1" in done.stdout
    assert "Traceback" not in done.stdout


def test_a_setting_that_names_nothing_is_an_error(tmp_path: Path) -> None:
    """A gate that checks nothing would always be open."""
    done = run_pytest(tmp_path, settings="modecheck_devices = devise.yaml\n")
    assert done.returncode != 0
    assert "'devise.yaml' matches no file" in done.stderr + done.stdout


def test_the_plugin_and_the_hook_are_declared() -> None:
    """Pytest finds the plugin by its entry point; the hook runs a command that exists."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    plugins = settings["project"]["entry-points"]["pytest11"]
    assert plugins == {"modecheck": "modecheck.pytest_plugin"}
    (hook,) = yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text("utf-8"))
    assert (hook["id"], hook["language"], hook["pass_filenames"]) == ("modecheck", "python", False)
    command = [*hook["entry"].split(), str(ROOT / TWIN)]
    done = subprocess.run(
        [sys.executable, "-m", *command], env=environment(), capture_output=True, check=False
    )
    assert done.returncode == 1
