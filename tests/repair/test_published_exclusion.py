"""A mutual exclusion that lost a line gets it back: what is published is among the repairs.

Peterson, Myths about the mutual exclusion problem (1981), has 20 reachable states as in Baier and
Katoen, Principles of model checking (2008). Dekker's algorithm, from Dijkstra's Cooperating
sequential processes (EWD123, 1965), as in Ben-Ari, Principles of concurrent and distributed
programming (2006), has 110. `tests/published` holds both figures.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from modecheck.model.devices import read_device
from tests.benchmarks.repair import is_the_original
from tests.models.bundled import MODELS
from tests.repair.devices import repairs_of

PUBLISHED = MODELS / "published"


def broken_copy(folder: Path, name: str, line: str, instead: str) -> Path:
    """A published device of two chips of one file, in which one line of that file is another."""
    shutil.copytree(PUBLISHED / "chips", folder / "chips")
    shutil.copy(PUBLISHED / f"{name}.yaml", folder)
    chip = folder / "chips" / f"{name}.yaml"
    text = chip.read_text(encoding="utf-8")
    assert text.count(line) == 1
    chip.write_text(text.replace(line, instead), encoding="utf-8")
    return folder / f"{name}.yaml"


LOST = [
    pytest.param(
        "peterson", "announce: {in: idle, do: flag = true, to", "announce: {in: idle, to", 20,
        id="a missing assignment",
    ),
    pytest.param(
        "dekker", "ask: {in: idle, to: line_1", "ask: {in: idle, to: line_2", 110,
        id="the flag is read before one's own is shown", marks=pytest.mark.thorough,
    ),
    pytest.param(
        "dekker", "again: {in: line_6, do: flag = true, to", "again: {in: line_6, to", 110,
        id="the flag is not shown again", marks=pytest.mark.thorough,
    ),
]  # fmt: skip


@pytest.mark.parametrize(("name", "line", "instead", "states"), LOST)
def test_the_published_rule_is_found(
    tmp_path: Path, name: str, line: str, instead: str, states: int
) -> None:
    """In both processes at once, since they have one file."""
    broken = broken_copy(tmp_path, name, line, instead)
    found = repairs_of(broken)
    assert "broken-requirement:exclusion" in {one.id for one in found.wanted}
    original = read_device(str(PUBLISHED / f"{name}.yaml"))
    same = [
        one for one in found.proposals if is_the_original(broken, one.trial.candidate, original)
    ]
    assert same
    assert same[0].trial.states == (states,)
    assert same[0].trial.candidate.sentence.startswith("p and q: ")
