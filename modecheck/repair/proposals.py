"""Repairs of a device: looked for, ranked, and what is known of each."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from modecheck.checks.device_time_bounds import DeviceTimes, times_of
from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.compare.behaviour import Outcome
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.parts import Device
from modecheck.repair.assessing import Assessment, assess
from modecheck.repair.repair_search import RepairSearch, TrialTally
from modecheck.repair.trial_workers import TrialWorkers
from modecheck.repair.trying import Trial, TrialBench
from modecheck.repair.written import read_written

FOR_SEARCHING = 0.75
"""The share of the time for looking; the rest is for comparing what was found."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A repair: its trial, and what else is known of it."""

    trial: Trial
    assessment: Assessment

    @property
    def rank(self) -> tuple[int, int, int, int, int, float, str]:
        """Fewest changes in the text, least given up, most modes that behave as before, fewest new
        timers, nearest to what the scenarios show; lower is better.
        """
        candidate, known = self.trial.candidate, self.assessment
        unlike = len(known.different) + len(known.unknown) + (known.whole is not Outcome.SAME)
        promise = sum(one.rank for one in candidate.changes)
        return (
            len(candidate.changes), len(self.trial.given_up), candidate.size, unlike,
            candidate.timers,
            promise, candidate.key,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Repairs:
    """What was found for the wanted findings of a device, the best first. `near` are candidates
    that take some findings away but were not kept.
    """

    verdict: Verdict
    wanted: tuple[Finding, ...]
    proposals: tuple[Proposal, ...]
    near: tuple[Trial, ...]
    tally: TrialTally
    seconds: float = 0.0

    @property
    def complete(self) -> bool:
        """Whether every candidate was tried that was to be tried."""
        return not self.tally.stopped_by


def not_explored(verdict: Verdict, stopped_by: str) -> Repairs:
    """The result where the device itself was not explored completely: nothing is tried."""
    return Repairs(verdict, (), (), (), TrialTally(stopped_by=stopped_by))


def find_repairs(
    devices: Sequence[Device],
    verdict: Verdict,
    wanted: Sequence[Finding],
    search: Search,
    *,
    assessed: int,
    most_seconds: float | None = None,
) -> Repairs:
    """Repairs of the wanted findings of a device, of which `verdict` is the verdict. The first
    `assessed` of them are compared with the device. The search ends with the seconds of `search`,
    or after `most_seconds` of processor time.
    """
    seconds, since = search.limits.seconds, search.limits.since
    began = time.monotonic() if since is None else since
    workers = search.threads or os.cpu_count() or 1
    alone = replace(search, threads=1, limits=Limits(memory=search.limits.memory))
    with tempfile.TemporaryDirectory() as folder:
        bench = TrialBench(devices[0].file, tuple(devices), verdict, tuple(wanted), alone, folder)
        until = None if seconds is None else began + seconds * FOR_SEARCHING
        with TrialWorkers(bench.try_out, workers, until) as pool:
            found = RepairSearch(
                bench, read_written(devices[0].file), pool, most_seconds=most_seconds
            )
            found.run()
        end = None if seconds is None else began + seconds
        proposals = _assessed(bench, found.kept, alone, assessed, workers, end)
    near = sorted(
        (one for one in found.trials if one.promising),
        key=lambda one: (-len(one.gone), len(one.new) + len(one.lost), one.candidate.size),
    )
    return Repairs(
        verdict, tuple(wanted), proposals, tuple(near), found.tally, time.monotonic() - began
    )


def _assessed(
    bench: TrialBench,
    kept: Sequence[Trial],
    search: Search,
    count: int,
    workers: int,
    end: float | None,
) -> tuple[Proposal, ...]:
    """The proposals, the best first."""
    first = sorted((Proposal(one, Assessment()) for one in kept), key=lambda one: one.rank)
    times = _times(bench.devices[0], search) if first else None
    work = _assessing(bench, search, times)
    known: dict[str, Assessment] = {}
    chosen = [one.trial for one in first[: 2 * count]]
    with TrialWorkers(work, min(workers, len(chosen)), end) as pool, suppress(KeyboardInterrupt):
        for trial, assessment in pool.tried_out(iter(chosen), "comparing repairs"):
            known[trial.candidate.key] = assessment
    found = [
        replace(one, assessment=known.get(one.trial.candidate.key, one.assessment)) for one in first
    ]
    return tuple(sorted(found, key=lambda one: one.rank))


def _times(device: Device, search: Search) -> DeviceTimes | None:
    return times_of(device, search) if device.clock is not None else None


def _assessing(
    bench: TrialBench, search: Search, times: DeviceTimes | None
) -> Callable[[Trial], tuple[Trial, Assessment]]:
    def work(trial: Trial) -> tuple[Trial, Assessment]:
        after = bench.changed(trial.candidate)[0]
        states = max(trial.states, default=bench.states)
        return trial, assess(bench.devices[0], after, search, states=states, times=times)

    return work
