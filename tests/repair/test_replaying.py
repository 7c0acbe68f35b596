"""What rules a candidate out without exploring is compared with a complete check."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.checks.verdict import check
from modecheck.model.errors import ModecheckError
from modecheck.product.composition import compose
from modecheck.repair.changes import Candidate
from modecheck.repair.repair_search import changes_for
from modecheck.repair.replaying import cannot_help, still_shown
from modecheck.repair.situation import RepairSituation
from modecheck.repair.trying import found_in
from modecheck.repair.written import read_written
from tests.models.bundled import TWINS, is_small
from tests.repair.devices import bench_of
from tests.sweeps import sweep

SMALL_TWINS = [path for path in TWINS if is_small(path)]
QUICK = ("queue_exhausted", "credit_given_twice", "trusts_an_old_flash")


def is_left(name: str, left: set[str]) -> bool:
    """Whether a finding is there; a deadlock also where it is a consequence of another one, which
    is part of it (`modecheck.checks.deadlocks`).
    """
    deadlock, parts = "deadlock:", set(name.split(":")[1].split("+"))
    causes = [
        set(one.removeprefix(deadlock).split("+")) for one in left if one.startswith(deadlock)
    ]
    return name in left or (name.startswith(deadlock) and any(one < parts for one in causes))


@pytest.mark.parametrize(
    "twin",
    sweep(SMALL_TWINS, lambda path: path.stem in QUICK),
    ids=lambda path: path.stem,
)
def test_what_is_ruled_out_leaves_the_finding(twin: Path, tmp_path: Path) -> None:
    """Whoever says that a change cannot help is right: the whole check still has the finding."""
    bench = bench_of(twin, tmp_path)
    at = RepairSituation(bench.devices[0], read_written(str(twin)), bench.wanted)
    seen = set()
    for change in changes_for(at):
        try:
            devices = bench.changed(Candidate((change,)))
        except ModecheckError:
            continue
        product = compose(devices[0])
        ruled_out = {
            one.id: (cannot_help(change, one, at.device, at.shown.used.get(one.id, set())), shown)
            for one in bench.wanted
            if (shown := still_shown(one, at.device, product)) or True
        }
        if any(map(any, ruled_out.values())):
            verdict = check(devices)
            left = found_in(verdict)
            if all(one.exploration.complete for one in verdict.explored):
                told = {name for name, why in ruled_out.items() if any(why)}
                gone = {name for name in told if not is_left(name, left)}
                assert not gone, (change.sentence, change.matters, left)
                seen |= told
    shown_at_once = {"unspecified-reception", "overflow", "deadlock"}
    assert seen or not {one.code for one in bench.wanted} & shown_at_once
