"""Clocks in ticks: a protocol of writes and waits, a timer against a way there and back, a bridge.

Fischer's protocol: Lamport, A fast mutual exclusion algorithm, 1987; Abadi and Lamport, An
old-fashioned recipe for real time, 1994 (PC). Stop and wait: D'Argenio, Katoen, Ruys and Tretmans,
The bounded retransmission protocol must be on time, 1997 (MC). The bridge: a classic of unknown
origin; 17 minutes is PC, 60 is MC. The marks are explained in conftest.py.

Each grid is one bundled model with other durations laid over it, as a user would do it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from pathlib import Path

import pytest

from modecheck.checks.judged import BROKEN
from modecheck.checks.verdict import check
from modecheck.engine.contract.space import Space
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.product.composition import compose

Explored = Callable[[str], PlainExploration]

WRITE = range(5)
WAIT = range(6)
DELAY = range(5)
PATIENCE = range(11)


def first_break(space: Space, requirement: str) -> int | None:
    """The depth of the first state in which a requirement is broken; None where none is."""
    broken = space.numbered(space.mark(f"requirement:{requirement}"))
    return next((space.depth_of(state) for state in broken), None)


def changed(folder: Path, base: Path, text: str) -> Device:
    """A bundled model with a few entries replaced."""
    path = folder / "device.yaml"
    path.write_text(f"device: changed\nbased_on: {base}\n{text}", encoding="utf-8")
    return read_device(str(path))


def laid_over(folder: Path, base: Path, text: str) -> Space:
    """The same, explored to the end."""
    space = explore(compose(changed(folder, base, text)))
    assert space.complete
    return space


@pytest.mark.parametrize(("processes", "states"), [(2, 43), (3, 237), (4, 1319)])
def test_fischer_has_the_published_states(explored: Explored, processes: int, states: int) -> None:
    """A write within 1 ms and a wait of 2 ms, for two to four processes (PC)."""
    exploration = explored(f"fischer_{processes}")
    assert exploration.state_count == states
    assert first_break(exploration, "exclusion") is None


@pytest.mark.parametrize("write", WRITE)
@pytest.mark.parametrize("wait", WAIT)
def test_fischer_excludes_exactly_when_the_wait_is_longer_than_the_write(
    models: Path, tmp_path: Path, write: int, wait: int
) -> None:
    """Where they are equal it does not; both are in after 6 + 2b steps then (PC)."""
    times = f"{{write: {write} ms, wait: {wait} ms}}"
    text = f"chips: {{p1: {{with: {times}}}, p2: {{with: {times}}}}}\n"
    space = laid_over(tmp_path, models / "fischer_2.yaml", text)
    assert first_break(space, "exclusion") == (None if wait > write else 6 + 2 * wait)


@pytest.mark.parametrize("delay", DELAY)
def test_a_timer_is_early_exactly_when_it_is_not_longer_than_the_way_there_and_back(
    models: Path, tmp_path: Path, delay: int
) -> None:
    """Data and acknowledgement each take from 0 to TD or are lost; premature iff T1 <= 2 TD (MC).

    The links are the tool's own, with a delay and losses. A timeout is early when nothing was lost
    and no acknowledgement has come since the data was sent, told by a requirement with a scope.
    """
    early, late = {}, f"[0 ms, {delay} ms]"
    for patience in PATIENCE:
        text = (
            f"chips: {{sender: {{with: {{patience: {patience} ms}}}}}}\n"
            f"links: {{forth: {{delay: {late}}}, back: {{delay: {late}}}}}\n"
        )
        (judged,) = check([changed(tmp_path, models / "stop_and_wait.yaml", text)]).requirements
        early[patience] = judged.verdict == BROKEN
    assert early == {patience: patience <= 2 * delay for patience in PATIENCE}


def fewest_ticks(space: Space, goal: int) -> int | None:
    """The least time in which a state with this mark is reached: breadth-first, ticks last.

    A step that is no tick takes no time and goes to the front (Dial 1969, for weights of 0 and 1).
    """
    tick = next(n for n, label in enumerate(space.product.labels) if label.kind == "tick")
    times, waiting = {0: 0}, deque([0])
    done = set()
    while waiting:
        state = waiting.popleft()
        if state in done:
            continue
        done.add(state)
        if space.marks_at(state) & goal:
            return times[state]
        for edge in space.edges_from(state):
            time = times[state] + (edge.label == tick)
            if time < times.get(edge.target, time + 1):
                times[edge.target] = time
                (waiting.append if edge.label == tick else waiting.appendleft)(edge.target)
    return None


@pytest.mark.parametrize(("times", "minutes"), [((1, 2, 5, 10), 17), ((5, 10, 20, 25), 60)])
def test_the_bridge_is_crossed_in_the_published_time(
    tmp_path: Path, models: Path, times: tuple[int, ...], minutes: int
) -> None:
    """1, 2, 5, 10 minutes: 17 (PC); 5, 10, 20, 25: 60 (MC). Ticks are counted, not steps."""
    walkers = zip(("first", "second", "third", "fourth"), times, strict=True)
    text = "".join(f"  {who}: {{with: {{time: {time} min}}}}\n" for who, time in walkers)
    space = laid_over(tmp_path, models / "bridge_17.yaml", f"chips:\n{text}")
    assert fewest_ticks(space, space.mark("requirement:unsolved")) == minutes


@pytest.mark.parametrize(("walker", "minutes"), [("first", 1), ("third", 5), ("fourth", 10)])
def test_a_walker_is_not_faster_than_alone(
    tmp_path: Path, models: Path, walker: str, minutes: int
) -> None:
    """The walkers' own times come from the ticks as well, so the sum above is no accident."""
    text = f"requirements: {{unsolved: {{never: {walker}.far}}}}\n"
    space = laid_over(tmp_path, models / "bridge_17.yaml", text)
    assert fewest_ticks(space, space.mark("requirement:unsolved")) == minutes
