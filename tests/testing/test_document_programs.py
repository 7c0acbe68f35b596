"""The programs in the guide run, and do what stands beside them."""

from __future__ import annotations

import unittest
from typing import Any

import pytest

from tests.documents import ROOT, examples

PROGRAMS = [example.text for example in examples("runs")]


def names_of(program: str, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Run a program where a reader would, and give the names that it made."""
    monkeypatch.chdir(ROOT)
    made: dict[str, Any] = {}
    exec(program, made)  # noqa: S102 - our own guide
    return made


def test_the_guide_has_programs() -> None:
    """One for implementations, one for machines."""
    assert len(PROGRAMS) == 2


@pytest.mark.parametrize("program", PROGRAMS)
def test_the_programs_run(program: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What they assert holds."""
    names_of(program, monkeypatch)


@pytest.mark.parametrize(
    ("old", "new", "passes"), [("", "", True), ('self.mode = "on_air"\n', "pass\n", False)]
)
def test_the_receiver_shown_conforms(
    old: str, new: str, passes: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The test that it makes passes, and fails when the receiver does not feel the cable go."""
    assert old in PROGRAMS[0]
    case = names_of(PROGRAMS[0].replace(old, new), monkeypatch)["TestReceiver"]
    result = unittest.TestResult()
    case("runTest").run(result)
    assert result.testsRun == 1
    assert result.wasSuccessful() == passes
