"""Repairs of a device as JSON, and as files that can be laid over it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

from modecheck.repair.changes import yaml_text
from modecheck.repair.families.all_families import FAMILIES
from modecheck.repair.proposals import Proposal, Repairs
from modecheck.report.repair_words import CHECKED, facts, outcome_in_words


def repairs_as_json(found: Repairs) -> dict[str, Any]:
    """Everything that was found; times in seconds."""
    tally = found.tally
    return {
        "device": found.verdict.device.name,
        "file": found.verdict.device.file,
        "outcome": outcome_in_words(found),
        "complete": found.complete,
        "checked": CHECKED,
        "to_repair": [one.id for one in found.wanted],
        "repairs": [_proposal(one) for one in found.proposals],
        "nearest": [
            {
                "sentence": one.candidate.sentence,
                "gone": sorted(one.gone),
                "new": list(one.new),
                "lost": list(one.lost),
            }
            for one in found.near
        ],
        "tried": {
            "single_changes": tally.singles,
            "pairs": tally.pairs,
            "possible_single_changes": tally.possible,
            "ruled_out": tally.ruled_out,
            "stopped_by": tally.stopped_by,
            "enough": tally.enough,
            "outcomes": {one.value: count for one, count in tally.outcomes.items()},
            "kinds": {FAMILIES[name][0]: count for name, count in tally.families.items()},
        },
    }


def _proposal(one: Proposal) -> dict[str, Any]:
    known, trial = one.assessment, one.trial
    return {
        "sentence": trial.candidate.sentence,
        "changes": len(trial.candidate.changes),
        "values_written": trial.candidate.size,
        "new_timers": trial.candidate.timers,
        "overlay": trial.candidate.overlay,
        "yaml": yaml_text(trial.candidate.overlay),
        "states": list(trial.states),
        "never_reached_any_more": list(trial.given_up),
        "behaviour": {
            "compared": known.compared,
            "whole": known.whole.value,
            "same": list(known.same),
            "different": list(known.different),
            "unknown": list(known.unknown),
        },
        "touched_rules": list(known.touched),
        "bench_steps": known.bench,
        "bench_steps_of": known.bench_of,
        "worst_times": [
            {
                "title": time.title,
                "before": None if time.before is None else float(time.before),
                "after": None if time.after is None else float(time.after),
            }
            for time in known.times
        ],
    }


def repair_files(found: Repairs, most: int, folder: str) -> Iterator[tuple[str, str]]:
    """Two files for each repair: one for `--with`, and a whole device that is based on the old one.
    `folder` is where they will be.
    """
    device = found.verdict.device
    base = os.path.relpath(device.file, folder)
    for number, one in enumerate(found.proposals[:most], start=1):
        text = yaml_text(one.trial.candidate.overlay)
        told = [one.trial.candidate.sentence, *facts(one, found)]
        comment = "".join(f"# {line}\n" for line in told)
        yield f"repair_{number}.yaml", f"{comment}{text}"
        head = {"device": f"{device.name}, repair {number}", "based_on": base}
        yield f"device_{number}.yaml", f"{comment}{yaml_text(head)}{text}"
