"""The gate: a commit that plants a mistake makes the documented job fail, and its files say where.

All twins, tandem's too, are planted by `python -m tests.gate_of_all_twins`, which takes minutes.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.gate import Shown, job, need_caught, plant, repository_in, shown_in_all

TWINS = ("unheard_of", "advertising_never_restarts", "no_way_back", "volatile_bond")
"""Invented mistakes in small models: different bases, kinds of findings, and ways to break."""


@pytest.fixture(scope="module")
def repository(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The clean models under git."""
    return repository_in(tmp_path_factory.mktemp("gate"))


def test_the_job_passes_without_a_mistake(repository: Path) -> None:
    """Exit code 0, and no finding in any file."""
    assert job(repository, "models/starter/device.yaml").code == 0
    assert shown_in_all(repository) == set()
    assert "<failure" not in (repository / "modecheck.xml").read_text("utf-8")


@pytest.mark.parametrize("twin", TWINS)
def test_the_job_fails_with_a_mistake(twin: str, repository: Path) -> None:
    """Exit code 1; what the twin deserves is shown in JUnit, SARIF and Markdown at its line."""
    need_caught(twin, repository)


def test_the_line_is_the_one_that_the_readme_tells(tmp_path: Path) -> None:
    """A receiver that waits for ever in `changing`, on line 10 of its file."""
    repository = repository_in(tmp_path)
    device = plant("silent_plug", repository)
    assert job(repository, device).code == 1
    where = Shown("deadlock:receiver.changing", "models/starter/receiver.yaml:10")
    assert where in shown_in_all(repository)
