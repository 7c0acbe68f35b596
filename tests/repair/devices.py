"""Small devices with something to repair, and the search for it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device
from modecheck.repair.proposals import Repairs, find_repairs
from modecheck.repair.trying import TrialBench

TWO_ENDS = """\
device: two ends
chips:
  left:
    states: {idle: {rest: true}, waiting: {}}
    rules:
      begin: {in: idle, on: go, send: [ask], to: waiting}
      answered: {in: waiting, on: answer, to: idle}
  right:
    states: {here: {rest: true}}
    rules: {hear: {on: ask, signal: [heard]}}
  lamp:
    states: {off: {rest: true}, lit: {rest: true}}
    rules: {light: {in: off, on: heard, to: lit}}
actors:
  player: {states: [here], rules: {go: {if: left.idle, signal: [go]}}}
links:
  up: {from: left, to: right, carries: [ask]}
  down: {from: right, to: left, carries: [answer]}
"""
"""Nobody answers: one message too few."""

TWO_PEDALS = """\
device: two pedals, of which the hub lets one play at a time
chips:
  front:
    states: {silent: {rest: true}, asking: {}, playing: {rest: true}}
    rules:
      ask: {in: silent, on: step, send: [ask], to: asking}
      play: {in: asking, on: granted, to: playing}
      yield: {in: asking, on: refused, to: silent}
  rear:
    states: {silent: {rest: true}, asking: {}, playing: {rest: true}}
    rules:
      ask: {in: silent, on: lift, send: [ask], to: asking}
      play: {in: asking, on: granted, to: playing}
      yield: {in: asking, on: refused, to: silent}
  hub:
    states: {free: {rest: true}, taken: {rest: true}}
    rules:
      grant_front: {in: free, on: ask via front_up, send: [granted via front_down], to: taken}
      grant_rear: {in: free, on: ask via rear_up, send: [granted via rear_down], to: taken}
      refuse_front: {in: taken, on: ask via front_up, send: [refused via front_down]}
      refuse_rear: {in: taken, on: ask via rear_up, send: [refused via rear_down]}
actors:
  player:
    states: [here]
    rules:
      step: {if: front.silent, signal: [step]}
      lift: {if: rear.silent, signal: [lift]}
links:
  front_up: {from: front, to: hub, carries: [ask]}
  rear_up: {from: rear, to: hub, carries: [ask]}
  front_down: {from: hub, to: front, carries: [granted, refused]}
  rear_down: {from: hub, to: rear, carries: [granted, refused]}
requirements:
  alone: {text: Only one plays, never: front.playing and rear.playing}
"""
"""Nothing is wrong with it: an answer for each that asks."""

NOTHING_GOOD = """\
device: a tile that boots from one of two places
chips:
  boot:
    variables: {place: {range: [0, 1]}, good: {list: 2, range: [0, 1]}}
    states: {booting: {}, running: {rest: true}}
    rules:
      start: {in: booting, if: "good[place] == 1", to: running}
"""
"""Neither place ever becomes good."""


def repairs_of(
    path: Path,
    wanted: Iterable[str] = (),
    *,
    workers: int = 1,
    assessed: int = 0,
    seconds: float | None = None,
) -> Repairs:
    """The repairs of a device, of all its findings or of some."""
    devices = [read_device(str(path))]
    verdict = check(devices)
    names = set(wanted)
    found = tuple(one for one in verdict.findings if not names or one.id in names)
    search = Search(threads=workers, limits=Limits(seconds=seconds))
    return find_repairs(devices, verdict, found, search, assessed=assessed)


def bench_of(path: Path, folder: Path) -> TrialBench:
    """A bench for all findings of a device."""
    devices = (read_device(str(path)),)
    verdict = check(devices)
    return TrialBench(str(path), devices, verdict, verdict.findings, Search(threads=1), str(folder))


def sentences(found: Repairs) -> list[str]:
    """What the proposals say, the best first."""
    return [one.trial.candidate.sentence for one in found.proposals]
