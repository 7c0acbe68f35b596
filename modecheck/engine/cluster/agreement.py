"""Whether the workers of a cluster can explore into a folder together, and agree with the client.

What is `UNUSABLE` would make a check fail or wrong, so a check refuses to begin. A `WARNING` is a
difference that a check can live with.
"""

from __future__ import annotations

import secrets
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from modecheck.engine.cluster import errands
from modecheck.engine.cluster.connection import Cluster, ConnectedWorker
from modecheck.engine.cluster.errands import WorkerFacts

CLIENT, SCHEDULER = "the client", "the scheduler"
GOOD, WARNING, UNUSABLE = "good", "warning", "unusable"

COMPUTES = ("modecheck", "numpy", "llvmlite")
"""Packages whose versions must be equal: they compute."""
CARRIES = ("dask", "distributed")
"""Packages whose versions should be."""
LEAST_FREE = 1_000_000_000
LEAST_MEMORY = 500_000_000
"""Bytes of disk, and of memory for each thread, below which a check is warned that it may stop."""
CLOCK_TOLERANCE = 2.0
"""Seconds by which clocks may differ: nothing is decided by them, and only logs are hard to read
when they do."""
MOST_NAMED = 3
"""Workers that are named; of more it is told how many."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Whether workers agree in one respect, and what is to be said of that."""

    subject: str
    status: str
    told: str


@dataclass(frozen=True, slots=True)
class ClusterReport:
    """What was found of a cluster."""

    workers: tuple[ConnectedWorker, ...]
    agreements: tuple[Agreement, ...]
    memory: int
    """Bytes that a thread of each worker may use."""

    @property
    def threads(self) -> int:
        return sum(worker.threads for worker in self.workers)

    def of(self, status: str) -> list[Agreement]:
        """The agreements with this status."""
        return [one for one in self.agreements if one.status == status]


def examine(cluster: Cluster, folder: Path, *, clocks: bool = True) -> ClusterReport:
    """Ask all workers of a cluster. The folder is there, and left as it was. Raises `ClusterError`
    if nobody is there.
    """
    workers = {one.address: one for one in cluster.first_workers()}
    versions = cluster.versions([*COMPUTES, *CARRIES])
    found = [*_versions(versions, workers)]
    if any(one.status == UNUSABLE for one in found):
        return ClusterReport(tuple(workers.values()), tuple(found), 0)
    answers = {
        **cluster.on_each(errands.facts, str(folder)),
        CLIENT: errands.facts(str(folder)),
    }
    facts = {place: one for place, one in answers.items() if isinstance(one, WorkerFacts)}
    failed = {place: one for place, one in answers.items() if isinstance(one, Exception)}
    trouble = cluster.on_scheduler(errands.clock)
    if trouble:  # it loads what it passes on
        failed[SCHEDULER] = ValueError(trouble)
    found += _said(facts, failed, workers)
    memory = min(
        (_memory(workers[place], one) for place, one in facts.items() if place in workers),
        default=0,
    )
    if not any(one.status == UNUSABLE for one in found):
        found.append(_shared(cluster, folder))
        found += _rooms(facts, memory)
        if clocks:
            found.append(_clocks(cluster))
    return ClusterReport(tuple(workers.values()), tuple(found), memory)


def _memory(worker: ConnectedWorker, one: WorkerFacts) -> int:
    """Bytes for each thread of a worker."""
    return min(worker.memory or one.memory, one.memory) // max(worker.threads, 1)


def _named(places: Iterable[str]) -> str:
    names = [place.partition("://")[2] or place for place in sorted(places)]
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _versions(
    versions: dict[str, dict[str, str | None]], workers: dict[str, ConnectedWorker]
) -> Iterator[Agreement]:
    """What versions differ from the client's."""
    here = versions[CLIENT]
    compared = [place for place in versions if place in workers or place == SCHEDULER]
    for name in ("python", *COMPUTES, *CARRIES):
        others: dict[str | None, list[str]] = defaultdict(list)
        for place in compared:
            # A scheduler computes nothing, but it loads what it passes on.
            needed = place != SCHEDULER or name not in COMPUTES[1:]
            if needed and versions[place][name] != here[name]:
                others[versions[place][name]].append(place)
        yield _version(name, here[name], others)


def _version(name: str, here: str | None, others: dict[str | None, list[str]]) -> Agreement:
    subject = "Python" if name == "python" else name
    own = _plain_version(name, here)
    if not others:
        return Agreement(subject, GOOD, own)
    told = "; ".join(
        f"{_plain_version(name, found)} on {_named(places)}"
        for found, places in sorted(others.items(), key=lambda item: str(item[0]))
    )
    bad = name in COMPUTES or None in others
    if name == "python":
        bad = any(_minor(found) != _minor(here) for found in others)
    return Agreement(subject, UNUSABLE if bad else WARNING, f"{own} here; {told}")


def _plain_version(name: str, version: str | None) -> str:
    if version is None:
        return "not installed"
    return version.removesuffix(".final.0") if name == "python" else version


def _minor(version: str | None) -> list[str]:
    return (version or "").split(".")[:2]


def _said(
    facts: dict[str, WorkerFacts],
    failed: dict[str, Exception],
    workers: dict[str, ConnectedWorker],
) -> Iterator[Agreement]:
    """What workers say of their code, their processor and the folder."""
    silent = [place for place in workers if place not in facts and place not in failed]
    if failed or silent:
        reasons = sorted({" ".join(str(error).split()) for error in failed.values()})
        told = "; ".join([*reasons, *(["no answer"] if silent else [])])
        yield Agreement("answers", UNUSABLE, f"{told} on {_named([*failed, *silent])}")
    digest = errands.text_digest()
    edited = [place for place, one in facts.items() if one.digest != digest]
    yield Agreement(
        "source text",
        UNUSABLE if edited else GOOD,
        f"the text of modecheck differs on {_named(edited)}" if edited else "the same everywhere",
    )
    yield _processors(facts)
    told = _troubles((one.trouble, place) for place, one in facts.items())
    yield Agreement("permissions", UNUSABLE if told else GOOD, told or "only this user may write")


def _troubles(found: Iterable[tuple[str, str]]) -> str:
    """Each trouble with the places where it was met; nothing where there is none."""
    places: dict[str, list[str]] = defaultdict(list)
    for trouble, place in found:
        if trouble:
            places[trouble].append(place)
    return "; ".join(f"{trouble} ({_named(some)})" for trouble, some in places.items())


def _processors(facts: dict[str, WorkerFacts]) -> Agreement:
    kinds: dict[tuple[str, frozenset[str]], list[str]] = defaultdict(list)
    for place, one in facts.items():
        kinds[one.processor, one.features].append(place)
    if len(kinds) <= 1:
        return Agreement("processors", GOOD, next(iter(kinds), ("none", frozenset()))[0])
    common = frozenset.intersection(*(features for _, features in kinds))
    told = "; ".join(
        f"{name} ({len(features - common)} more features) on {_named(places)}"
        for (name, features), places in sorted(kinds.items(), key=lambda item: item[0][0])
    )
    return Agreement("processors", WARNING, f"{told}: each worker compiles for its own")


def _shared(cluster: Cluster, folder: Path) -> Agreement:
    """Whether each sees what each other, and the client, writes into the folder and renames."""
    run = secrets.token_hex(8)
    left: dict[str, tuple[str, str]] = {CLIENT: errands.leave_mark(str(folder), f"{run}-client")}
    try:
        troubles, blind = _marks(cluster, folder, run, left)
    finally:
        for path in folder.glob(f"{errands.MARK}{run}*"):
            path.unlink(missing_ok=True)
    if troubles:
        return Agreement("folder", UNUSABLE, f"cannot be written to: {troubles}")
    if blind:
        told = f"what others write there is not seen by {_named(blind)}"
        return Agreement("folder", UNUSABLE, told)
    return Agreement("folder", GOOD, "all see what each of them writes there")


def _marks(
    cluster: Cluster, folder: Path, run: str, left: dict[str, tuple[str, str]]
) -> tuple[str, list[str]]:
    """Why marks could not be written, and who does not see all of them."""
    for place, answer in cluster.on_each(errands.leave_mark, str(folder), run).items():
        left[place] = ("", str(answer)) if isinstance(answer, Exception) else answer
    troubles = _troubles((why, place) for place, (_, why) in left.items())
    names = sorted(name for name, why in left.values() if not why)
    seen = cluster.on_each(errands.unseen, str(folder), names)
    blind = [place for place, missing in seen.items() if missing]
    return troubles, [*blind, *([CLIENT] if errands.unseen(str(folder), names) else [])]


def _rooms(facts: dict[str, WorkerFacts], memory: int) -> Iterator[Agreement]:
    free = min(one.free for one in facts.values())
    yield Agreement("free disk", GOOD if free >= LEAST_FREE else WARNING, _amount(free))
    status = GOOD if memory >= LEAST_MEMORY else WARNING
    yield Agreement("memory", status, f"{_amount(memory)} for a thread")


def _amount(size: int) -> str:
    return f"{size / 1e9:,.1f} GB at the least"


def _clocks(cluster: Cluster) -> Agreement:
    """How far clocks are from the client's; asking takes time, which counts as uncertainty."""
    cluster.on_each(errands.clock)  # whatever is slow the first time
    began = time.time()
    answers = cluster.on_each(errands.clock)
    ended = time.time()
    middle, half = (began + ended) / 2, (ended - began) / 2
    apart = {
        place: abs(answer - middle)
        for place, answer in answers.items()
        if not isinstance(answer, Exception)
    }
    worst = max(apart.values(), default=0.0)
    allowed = f"measured to {half:.3f} s; {CLOCK_TOLERANCE:g} s are tolerated"
    if worst - half <= CLOCK_TOLERANCE:
        return Agreement("clocks", GOOD, f"at most {worst:.3f} s apart, {allowed}")
    off = [place for place, far in apart.items() if far - half > CLOCK_TOLERANCE]
    return Agreement("clocks", WARNING, f"{worst:.1f} s apart on {_named(off)}, {allowed}")
