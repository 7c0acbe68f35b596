"""Where the bundled models of our own lie, and each checked at most once in a session."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.model.devices import read_device, variants
from modecheck.model.errors import Notebook
from modecheck.model.overlays import read_document
from modecheck.model.yaml_nodes import MappingNode, read_yaml

MODELS = Path(__file__).parents[2] / "models"
TANDEM = MODELS / "tandem" / "device.yaml"
STARTER = MODELS / "starter" / "device.yaml"
SMALL = sorted((MODELS / "small").glob("*.yaml"))
CLEAN = [STARTER, *SMALL, TANDEM]
TWINS = sorted((MODELS / "faulty").glob("*.yaml"))

SEVERAL_STARTS = {"old_flash", "trusts_an_old_flash"}
"""Models that may start in several ways, which charts, rigs and implementations cannot."""

STANDING_FOR_ALL = {
    "starter", "volatile_bond", "late_answer", "update_interrupted", "queue_exhausted",
    "silent_plug", "session", "handshake", "joining", "turns", "old_flash", "loudness",
    "stale_replay", "fischer",
}  # fmt: skip
"""Models that stand for all small ones where looking at each would take long."""


def stands_for_all(path: Path) -> bool:
    """Whether it is one of those."""
    return name_of(path) in STANDING_FOR_ALL


def is_small(path: Path) -> bool:
    """Whether it is no twin of tandem. Those are many, alike, and each of thousands of states."""
    return "based_on: ../tandem/" not in path.read_text("utf-8")


def name_of(path: Path) -> str:
    """A short name for the test's id."""
    return path.parent.name if path.name == "device.yaml" else path.stem


@cache
def verdict_on(path: Path) -> Verdict:
    """The complete verdict on a model in the first choice of each option."""
    verdict = check([read_device(str(path))])
    assert all(one.exploration.complete for one in verdict.explored)
    return verdict


@cache
def verdict_on_every_variant(path: Path) -> Verdict:
    """The complete verdict on a model in all its variants together."""
    first = read_device(str(path))
    verdict = check(read_device(str(path), choice) for choice in variants(first))
    assert all(one.exploration.complete for one in verdict.explored)
    return verdict


def written(path: Path) -> MappingNode:
    """What stands in a file itself, without the file that it is based on."""
    notes = Notebook()
    node = read_yaml(str(path), notes)
    assert isinstance(node, MappingNode)
    return node


def laid_over(path: Path) -> MappingNode:
    """What a file says together with the files that it is based on."""
    notes = Notebook()
    node = read_document(str(path), notes)
    assert node is not None
    return node
