"""Verdicts kept on disk, so that a model that did not change is not explored again.

The key holds everything that a verdict depends on: the text of every file of the model, the chosen
options, how it is explored and with which bounds, the day (acceptances end on one), and modecheck
itself, by the size and date of each of its files. Kept is only what is complete: what was stopped
is tried anew. An entry that cannot be read counts as absent, a folder that cannot be written to
means that nothing is kept; neither is an error.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import cast

import modecheck
from modecheck.checks.verdict import Verdict, check
from modecheck.engine import kept_files
from modecheck.engine.choice import Search
from modecheck.engine.elsewhere import Elsewhere, can_begin
from modecheck.engine.exploration import Reporter
from modecheck.engine.kept_files import cache_folder, recall
from modecheck.engine.space import Space
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.product.form import Product
from modecheck.version import __version__

WORTH_KEEPING = 1_000
"""States in all variants: less is explored sooner than anybody notices, and is not kept."""
WORTH_A_PROCESS = 24
"""Bits of a state from which on there may be so many states that a process is worth it."""
MOST_ENTRIES = 100
"""The oldest entries beyond this are removed; one is some hundred kilobytes."""
ENDING = ".verdict"


@dataclass(frozen=True, slots=True)
class KeptSpace:
    """What is left of a space that was explored: its figures, and no states.

    It serves what people read of a verdict; a check that asks it for more fails at once.
    """

    product: Product
    state_count: int
    transitions: int
    depth: int
    layers: list[int]
    stopped_by: str = ""
    complete: bool = True


def check_or_recall(
    devices: Sequence[Device], search: Search, reporter: Reporter | None = None
) -> tuple[Verdict, bool]:
    """The verdict on a device in these variants, and whether it was kept from an earlier check."""
    today = date.today()
    key = key_of(devices, search, today)
    known = kept_verdict(key)
    if known is not None:
        return known, True
    verdict = check(devices, search=search, reporter=reporter, today=today)
    keep(key, verdict)
    return verdict, False


def check_elsewhere(devices: Sequence[Device], search: Search) -> Elsewhere[Verdict] | None:
    """A check that has begun in another process, where that can be done and is worth it. It has
    half of the cores, what is done meanwhile the other half. Of the states nothing comes back
    but figures, as of what is kept.
    """
    if not can_begin(search.threads, search.limits):
        return None
    if all(compose(device).bits < WORTH_A_PROCESS for device in devices):
        return None
    half = replace(search, threads=(search.threads or os.cpu_count() or 1) // 2)
    return Elsewhere(lambda: slim(check(devices, search=half)))


def key_of(devices: Sequence[Device], search: Search, today: date) -> str:
    """The name of the verdict on these variants, explored in this way, on this day."""
    # What is expected says how to begin, and nothing of what is found.
    search = replace(search, expected=0)
    facts = [
        repr((__version__, sys.version, today.isoformat(), search)),
        *(repr((device.file, device.variant, device.digests)) for device in devices),
        *_own_files(),
    ]
    return hashlib.sha256("\0".join(facts).encode("utf-8", "surrogateescape")).hexdigest()


def is_kept(key: str) -> bool:
    """Whether there is an entry under a key, whatever is in it."""
    return _path(key).exists()


def kept_verdict(key: str) -> Verdict | None:
    """The verdict kept under a key, or None."""
    raw = recall(_path(key))
    if raw is None:
        return None
    try:
        # It lies in the user's own folder, beside the machine code that we load from there.
        verdict = pickle.loads(raw)  # noqa: S301
    except Exception:  # whatever an old or foreign entry holds, it is no verdict
        return None
    return verdict if isinstance(verdict, Verdict) else None


def keep(key: str, verdict: Verdict) -> None:
    """Keep a verdict if it is complete and of some size: first in a temporary file."""
    states = sum(one.exploration.state_count for one in verdict.explored)
    if not verdict.complete or states < WORTH_KEEPING:
        return
    kept_files.keep(_path(key), pickle.dumps(slim(verdict)), most=MOST_ENTRIES)


def slim(verdict: Verdict) -> Verdict:
    """The verdict with figures in place of its states."""
    explored = tuple(
        replace(one, exploration=cast("Space", _figures(one.exploration)))
        for one in verdict.explored
    )
    return replace(verdict, explored=explored)


def _figures(space: Space) -> KeptSpace:
    return KeptSpace(
        product=space.product,
        state_count=int(space.state_count),
        transitions=int(space.transitions),
        depth=int(space.depth),
        layers=[int(count) for count in space.layers],
        stopped_by=space.stopped_by,
        complete=space.complete,
    )


@cache
def _own_files() -> tuple[str, ...]:
    """Each file of modecheck with its size and date: another program may say something else."""
    root = Path(modecheck.__file__).parent
    files = sorted(root.rglob("*.py"))
    stats = [(path, path.stat()) for path in files]
    return tuple(f"{path} {stat.st_size} {stat.st_mtime_ns}" for path, stat in stats)


def _path(key: str) -> Path:
    return cache_folder() / "verdicts" / f"{key}{ENDING}"
