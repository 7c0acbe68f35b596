"""Verdicts kept on disk, so that an unchanged model is not explored again.

The key covers everything that a verdict depends on: the text of every file of the model, the chosen
options, the engine and the bounds, the day (acceptances expire), and modecheck itself, by the size
and date of each of its files. Only complete verdicts are kept: what was stopped is explored again.
An entry that cannot be read counts as absent, and if the folder cannot be written to nothing is
kept; neither is an error.

An entry is JSON and holds what was found. The device itself comes from the caller, and the entry
must fit it: its requirements, its steps, the fields of its states.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any, cast

import modecheck
from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.recorded import Odd, Own, read, recorded
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract import kept_files
from modecheck.engine.contract.forked_task import ForkedTask, can_begin
from modecheck.engine.contract.kept_files import cache_folder, recall
from modecheck.engine.contract.space import Space
from modecheck.engine.search.exploration import Reporter
from modecheck.model.finding_kinds import KINDS
from modecheck.model.parts import Device, Requirement
from modecheck.model.places import Source
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.scenario.traces import Trace
from modecheck.version import __version__

WORTH_KEEPING = 1_000
"""States of all variants: fewer are explored in no noticeable time, and are not kept."""
WORTH_A_PROCESS = 24
"""From this many bits of a state there may be enough states to be worth another process."""
MOST_ENTRIES = 100
"""The oldest entries beyond this number are removed; an entry has some hundred kilobytes."""
ENDING = ".verdict"


@dataclass(frozen=True, slots=True)
class CachedSpace:
    """What is kept of an explored space: its figures, without states.

    It is enough for reports of a verdict; a check that needs more fails at once.
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
    """The verdict on a device in these variants, and whether it comes from an earlier check."""
    today = date.today()
    key = key_of(devices, search, today)
    known = cached_verdict(key, devices)
    if known is not None:
        return known, True
    verdict = check(devices, search=search, reporter=reporter, today=today)
    keep(key, verdict)
    return verdict, False


def check_forked(devices: Sequence[Device], search: Search) -> ForkedTask[Verdict] | None:
    """A check started in another process, or None where that is impossible or not worth it. It uses
    half of the cores and leaves the other half to the caller. Its verdict has figures in place of
    states, like a kept one.
    """
    if not can_begin(search.threads, search.limits):
        return None
    if all(compose(device).bits < WORTH_A_PROCESS for device in devices):
        return None
    half = replace(search, threads=(search.threads or os.cpu_count() or 1) // 2)
    return ForkedTask(lambda: slim(check(devices, search=half)))


def key_of(devices: Sequence[Device], search: Search, today: date) -> str:
    """The key of the verdict on these variants, with this search, on this day."""
    # The expected number of states affects how the search begins, but not what it finds.
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


def cached_verdict(key: str, devices: Sequence[Device]) -> Verdict | None:
    """The verdict on these variants kept under a key, or None."""
    raw = recall(_path(key))
    if raw is None:
        return None
    try:
        return _verdict_from(json.loads(raw), devices)
    except (
        ValueError,
        RecursionError,
    ):  # whatever an old or foreign entry holds, it is not a verdict
        return None


def keep(key: str, verdict: Verdict) -> None:
    """Keep a verdict if it is complete and large enough; written to a temporary file first."""
    states = sum(one.exploration.state_count for one in verdict.explored)
    if not verdict.complete or states < WORTH_KEEPING:
        return
    raw = json.dumps(_as_data(verdict), separators=(",", ":")).encode()
    kept_files.keep(_path(key), raw, most=MOST_ENTRIES)


def _as_data(verdict: Verdict) -> list[Any]:
    """Sources, each once, with their lines; then the verdict without its variants; then those."""
    sources: dict[str, tuple[str, ...]] = {}

    def named(source: Source) -> str:
        sources[source.name] = source.lines
        return source.name

    own: Own = {
        Requirement: lambda need: need.name,
        Source: named,
        Product: _named,
        Device: lambda device: device.choices,
    }
    slender = slim(verdict)
    variants = [recorded(one, own) for one in slender.explored]
    whole = recorded(replace(slender, explored=()), own)
    return [recorded(sources, {}), whole, variants]


def _named(product: Product) -> list[Any]:
    """Which variant a trace is one of, and how its time was treated."""
    return [product.device.choices, product.time is not None and product.time.accelerated]


def _verdict_from(data: Any, devices: Sequence[Device]) -> Verdict:
    """The verdict from what `_as_data` made, on these devices. Raises `Odd`."""
    if type(data) is not list or len(data) != 3 or type(data[2]) is not list:
        raise Odd("this is not a verdict")
    lines = read(dict[str, tuple[str, ...]], data[0], {})
    own: Own = {
        Source: _among({name: Source(name, text) for name, text in lines.items()}),
        Product: _composed(devices),
        Device: _among({device.choices: device for device in devices}),
        cast("type", Space): lambda figures: read(CachedSpace, figures, own),
    }
    if len(data[2]) != len(devices):
        raise Odd("this is a verdict on other variants")
    explored = tuple(
        read(Explored, one, {**own, Requirement: _among(device.requirements)})
        for one, device in zip(data[2], devices, strict=True)
    )
    whole: Verdict = read(Verdict, data[1], own)
    for one in explored:
        for trace in (*(switch.trace for switch in one.switches), *(e.loss for e in one.endings)):
            _need_fitting(trace)
    accepted = (one.finding for one in whole.accepted)
    for finding in (*whole.findings, *accepted, *(f for one in explored for f in one.findings)):
        _need_known(finding)
    return replace(whole, explored=explored)


def _composed(devices: Sequence[Device]) -> Callable[[Any], Product]:
    """A reader of what `_named` wrote."""
    variants = _among({device.choices: device for device in devices})
    known: dict[tuple[str, bool], Product] = {}

    def product(data: Any) -> Product:
        choices, accelerated = key = read(tuple[str, bool], data, {})
        if key not in known:
            known[key] = compose(variants(choices), time_acceleration=accelerated)
        return known[key]

    return product


def _among(known: dict[str, Any]) -> Any:
    """A reader of names that looks them up among known values."""

    def found(name: Any) -> Any:
        if type(name) is not str or name not in known:
            raise Odd(f"{name!r} is not known")
        return known[name]

    return found


def _need_known(finding: Finding) -> None:
    if finding.code not in KINDS:
        raise Odd(f"{finding.code!r} is not a code")
    _need_fitting(finding.trace)


def _need_fitting(trace: Trace | None) -> None:
    """Raise `Odd` unless the steps and states of a trace may be those of its product."""
    if trace is None:
        return
    labels, size = len(trace.product.labels), len(trace.product.fields)
    for move in trace.moves:
        if not 0 <= move.label < labels or (move.after is not None and len(move.after) != size):
            raise Odd("a scenario of another device")


def slim(verdict: Verdict) -> Verdict:
    """The verdict with figures in place of its states."""
    explored = tuple(
        replace(one, exploration=cast("Space", _figures(one.exploration)))
        for one in verdict.explored
    )
    return replace(verdict, explored=explored)


def _figures(space: Space) -> CachedSpace:
    return CachedSpace(
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
    """Each file of modecheck with its size and date: another version may give other verdicts."""
    root = Path(modecheck.__file__).parent
    files = sorted(root.rglob("*.py"))
    stats = [(path, path.stat()) for path in files]
    return tuple(f"{path} {stat.st_size} {stat.st_mtime_ns}" for path, stat in stats)


def _path(key: str) -> Path:
    return cache_folder() / "verdicts" / f"{key}{ENDING}"
