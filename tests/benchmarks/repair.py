"""For which faulty twins a repair is found, and whether it is the rule of the original.

    python -m tests.benchmarks.repair [--seconds S] [--again] [NAME...]

Each twin is searched for at most S seconds of processor time (default 120: a minute on two cores),
so that the figures do not depend on what else the machine does. `own` is the place of the first
proposal that is the original's own rule: all that it touches is afterwards as in the original
(`is_own`).
With `--again`, every proposal printed is checked from its file in a process of its own.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.model.copies import unnumbered
from modecheck.model.devices import read_device
from modecheck.model.parts import Chip, Device, Link, Rule
from modecheck.model.terms import Constant
from modecheck.model.times import Duration
from modecheck.model.yaml_nodes import ScalarNode
from modecheck.repair.changes import Candidate, yaml_text
from modecheck.repair.proposals import Repairs, find_repairs
from modecheck.report.repair_json import repair_files
from tests.models.bundled import TWINS, written

SECONDS = 120.0
SHOWN = 5
HEADS = (
    f"{'twin':36} {'tried':>6} {'kept':>4} {'own':>3} {'cpu s':>6} {'wall s':>6}  first proposal"
)


@dataclass(frozen=True, slots=True)
class Row:
    """What was found for one twin; `own` is a place from 1, or 0."""

    name: str
    found: Repairs
    own: int
    wall: float

    @property
    def text(self) -> str:
        tally = self.found.tally
        first = self.found.proposals[0].trial.candidate.sentence if self.found.proposals else "-"
        stopped = " (stopped)" if tally.stopped_by else ""
        return (
            f"{self.name:36} {tally.singles + tally.pairs:6} {len(self.found.proposals):4} "
            f"{self.own or '-':>3} {tally.seconds:6.1f} {self.wall:6.0f}  {first}{stopped}"
        )


def original_of(twin: Path) -> Path:
    """The device that a twin is based on."""
    node = written(twin).get("based_on")
    assert isinstance(node, ScalarNode)
    return twin.parent / node.text


def repaired(twin: Path, candidate: Candidate) -> Device:
    """The twin with a candidate laid over it."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "over.yaml"
        file.write_text(yaml_text(candidate.overlay), encoding="utf-8")
        return read_device(str(twin), over=str(file))


def is_the_original(twin: Path, candidate: Candidate, original: Device) -> bool:
    """Whether a candidate makes the twin the original again, but for wordings, names and order of
    rules, and durations where time is not counted.
    """
    return what_it_does(repaired(twin, candidate)) == what_it_does(original)


def is_own(twin: Path, candidate: Candidate, original: Device) -> bool:
    """Whether every part that a candidate touches is afterwards as it is in the original, in the
    same sense; a new rule is compared with all rules that the chip has there.
    """
    device = repaired(twin, candidate)
    parts = {part for one in candidate.changes for part in one.about}
    whole = what_it_does(device) == what_it_does(original)
    return whole or (bool(parts) and all(_is_as_in(device, original, *part) for part in parts))


def _is_as_in(device: Device, original: Device, chip: str, name: str) -> bool:
    if not chip:
        here, there = (_beyond_chips(one, name) for one in (device, original))
        return here == there
    for one in (one for key, one in device.chips.items() if unnumbered(key) == chip):
        *rest, _ = _chip(device, one)
        *other, known = _chip(original, original.chips[one.name])
        mine = [_rule(device, rule) for rule in one.rules if unnumbered(rule.whole) == name]
        if (rest != other) if not name else not (mine and set(mine) <= set(known)):
            return False
    return True


def _beyond_chips(device: Device, name: str) -> object:
    """Links of a name, and a mode of it."""
    links = [
        _link(device, link) for link in device.links.values() if unnumbered(link.called) == name
    ]
    return links, device.modes[name].when if name in device.modes else None


def what_it_does(device: Device) -> dict[str, object]:
    """All of a device on which its steps depend."""
    links = {name: _link(device, link) for name, link in device.links.items()}
    return {
        "chips": {name: _chip(device, chip) for name, chip in device.chips.items()},
        "links": links,
        "modes": {name: mode.when for name, mode in device.modes.items()},
        "requirements": {name: need.terms for name, need in device.requirements.items()},
        "accepted": [one.finding for one in device.accepted],
    }


def _link(device: Device, link: Link) -> tuple[object, ...]:
    messages = {name: (one.kind, one.type) for name, one in link.carries.items()}
    return (
        link.sender, link.receiver, link.capacity, messages, link.loses, link.duplicates,
        link.corrupts, link.up_when, link.when_down, link.when_full, link.order,
        _time(device, link.delay),
    )  # fmt: skip


def _time(device: Device, duration: Duration | None) -> object:
    if duration is None:
        return None
    return True if device.clock is None else (duration.low, duration.high)


def _chip(device: Device, chip: Chip) -> tuple[Any, ...]:
    states = {
        name: (one.parent, one.children, one.initial, one.rest, one.masks)
        for name, one in chip.states.items()
    }
    variables = {
        name: (one.type, one.start, one.persistent) for name, one in chip.variables.items()
    }
    replies = {
        state: {(one.event, one.manner) for one in some}
        for state, some in chip.replies.items()
        if some
    }
    timers = {name: _time(device, one.duration) for name, one in chip.timers.items()}
    rules = Counter(_rule(device, rule) for rule in chip.rules)
    return (states, variables, replies, timers, chip.initial, chip.priority, rules)


def _written(rule: Rule) -> object:
    """The assignments of a rule; their order counts where a power cut can come between them, or
    where one reads what another one writes.
    """
    found = [(one.targets, one.values) for one in rule.assignments]
    fixed = all(isinstance(value, Constant) for _, values in found for value in values)
    return frozenset(found) if fixed and not rule.separate else tuple(found)


def _rule(device: Device, rule: Rule) -> tuple[object, ...]:
    chip = device.chips[rule.chip]
    leaves = {leaf for state in rule.sources or chip.leaves for leaf in chip.states[state].leaves}
    return (
        frozenset(leaves), frozenset(rule.trigger), _time(device, rule.after), rule.guard,
        _written(rule),
        tuple((one.message, one.value, one.link) for one in rule.sends),
        rule.signals, rule.target, rule.separate, rule.periodic, rule.expires, rule.starts,
        rule.stops,
    )  # fmt: skip


def row_of(twin: Path, seconds: float = SECONDS) -> Row:
    """Repairs of all findings of a twin."""
    began = time.monotonic()
    devices = [read_device(str(twin))]
    verdict = check(devices)
    search = Search(threads=2)
    found = find_repairs(
        devices, verdict, verdict.findings, search, assessed=SHOWN, most_seconds=seconds
    )
    original = read_device(str(original_of(twin)))
    places = [
        number
        for number, one in enumerate(found.proposals[:SHOWN], start=1)
        if is_own(twin, one.trial.candidate, original)
    ]
    return Row(twin.stem, found, places[0] if places else 0, time.monotonic() - began)


def fails_again(found: Repairs) -> list[str]:
    """The proposals, of those printed, that a fresh process does not find clean."""
    with tempfile.TemporaryDirectory() as folder:
        for name, text in repair_files(found, SHOWN, folder):
            (Path(folder) / name).write_text(text, encoding="utf-8")
        devices = sorted(str(one) for one in Path(folder).glob("device_*.yaml"))
        return [
            Path(one).name
            for one in devices
            if subprocess.run(
                [sys.executable, "-m", "modecheck", "check", one, "--no-cache", "--quiet"],
                check=False,
                capture_output=True,
            ).returncode
        ]


def main(arguments: Sequence[str]) -> None:
    """Print the table."""
    words = list(arguments)
    again = "--again" in words
    seconds = float(words[words.index("--seconds") + 1]) if "--seconds" in words else SECONDS
    names = {one for one in words if not one.startswith("--") and not one[0].isdigit()}
    twins = [one for one in TWINS if not names or one.stem in names]
    print(HEADS, flush=True)
    rows = []
    for twin in twins:
        rows.append(row_of(twin, seconds))
        print(rows[-1].text, flush=True)
        for name in fails_again(rows[-1].found) if again else ():
            print(f"    {name} is not clean when it is checked again", flush=True)
    mended = sum(bool(one.found.proposals) for one in rows)
    own = sum(bool(one.own) for one in rows)
    print(f"repaired: {mended} of {len(rows)}; own rule among the first {SHOWN}: {own}")


if __name__ == "__main__":
    main(sys.argv[1:])
