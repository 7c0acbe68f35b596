"""What is said of repairs, in every output: what was checked, what it costs, what was tried."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.compare.behaviour import Outcome
from modecheck.model.wording import counted, listed
from modecheck.repair.assessing import Assessment, TimeCost
from modecheck.repair.families.all_families import FAMILIES
from modecheck.repair.proposals import Proposal, Repairs
from modecheck.repair.repair_search import TrialTally
from modecheck.repair.trying import TrialOutcome
from modecheck.scenario.telling import spelled_or_none

CHECKED = (
    "Checked, for each: the findings to repair are gone, no finding is new, every requirement "
    "that held still holds and is put to the test, and what was reachable in each mode still is, "
    "unless it is listed. Nothing else is claimed: whether it is what the device should do is for "
    "people to decide."
)
MOST_RULES = 6
"""Touched rules that are named."""


def outcome_in_words(found: Repairs) -> str:
    """The result in a few words."""
    so_far = "" if found.complete else " so far"
    if not found.wanted:
        stopped = found.tally.stopped_by
        return f"incomplete: stopped by {stopped}" if stopped else "nothing to repair"
    if not found.proposals:
        return f"no repair found{so_far}"
    return f"{counted(len(found.proposals), 'repair')} found{so_far}"


def tried_in_words(tally: TrialTally) -> Iterator[str]:
    """How many candidates were tried, of which kinds, and what came of them."""
    pairs = f" and {counted(tally.pairs, 'pair')}" if tally.pairs else ""
    of = f" of {tally.possible:,}" if tally.possible != tally.singles else ""
    yield f"{counted(tally.singles, 'single change')}{of}{pairs} tried"
    if tally.ruled_out:
        yield (
            f"{counted(tally.ruled_out, 'single change')} ruled out: the scenarios do not use what "
            "they change"
        )
    if tally.partial and tally.singles + tally.ruled_out < tally.possible:
        can = f"{counted(tally.partial, 'single change')} can take only some of the findings away"
        yield f"{can}: tried only if no other is kept"
    if tally.stopped_by:
        yield f"stopped by {tally.stopped_by}: others were not tried"
    elif tally.enough:
        yield "stopped because enough repairs were found: others were not tried"
    outcomes = [
        f"{tally.outcomes[one]:,} {one.value}" for one in TrialOutcome if tally.outcomes[one]
    ]
    if tally.outcomes:
        yield f"outcomes: {'; '.join(outcomes)}"
        counts = sorted(tally.families.items(), key=lambda one: (-one[1], one[0]))
        kinds = [f"{FAMILIES[name][0]} ({n:,})" for name, n in counts]
        yield f"kinds of changes: {'; '.join(kinds)}"


def facts(proposal: Proposal, found: Repairs) -> Iterator[str]:
    """What is known of a repair: behaviour, what to test again, what it costs."""
    known = proposal.assessment
    yield _behaviour(known, found)
    if proposal.trial.given_up:
        yield f"never reached any more, as in the scenario: {listed(proposal.trial.given_up)}"
    if known.touched:
        more = len(known.touched) - MOST_RULES
        rest = f" and {more} more" if more > 0 else ""
        yield f"test again: {', '.join(known.touched[:MOST_RULES])}{rest}{_steps(known)}"
    before = max(one.exploration.state_count for one in found.verdict.explored)
    after = max(proposal.trial.states, default=0)
    timers = proposal.trial.candidate.timers
    new = f", {counted(timers, 'new timer')}" if timers else ""
    yield f"costs: {after:,} states instead of {before:,}{new}"
    yield from (f"worst time of {time_in_words(one)}" for one in known.times)


def _behaviour(known: Assessment, found: Repairs) -> str:
    if not known.compared:
        return "behaviour not compared"
    if known.whole is Outcome.SAME:
        return "messages as before in the whole device"
    if not found.verdict.device.modes:
        different = known.whole is Outcome.DIFFERENT
        return f"messages {'different' if different else 'not known'} in the whole device"
    parts = []
    if known.same:
        parts.append(f"messages as before in {listed(known.same)}")
    if known.different:
        parts.append(f"different in {listed(known.different)}")
    if known.unknown:
        parts.append(f"not known in {listed(known.unknown)}")
    return ", ".join(parts)


def _steps(known: Assessment) -> str:
    if known.bench is not None and not known.bench_of:
        return ""
    if known.bench is None:
        return " (the steps of the bench test: modecheck compare)"
    return f" ({known.bench} of {counted(known.bench_of, 'step')} of the bench test)"


def time_in_words(one: TimeCost) -> str:
    """How a worst time changed."""
    then, now = (
        "no bound" if seconds is None else spelled_or_none(seconds)
        for seconds in (one.before, one.after)
    )
    return f"{one.title}: {now} instead of {then}"
