"""Best and worst times against published figures: the bridge at night, periodic tasks.

Rote, Crossing the bridge at night, Bulletin of the EATCS 78 (2002), from memory: walkers of 1, 2, 5
and 10 minutes are across in 17 minutes at best. The one of 5, 10, 20 and 25 minutes, across in 60,
is a puzzle of unknown origin, also from memory.

Joseph and Pandya, Finding response times in a real-time system, The Computer Journal 29 (1986): the
least fixed point of R = C + sum of ceil(R / T) C over the more urgent tasks; those of 3, 3 and 5
every 7, 12 and 20, which respond within 3, 6 and 20, are an example in Burns and Wellings,
Real-time systems and programming languages, from memory.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.checks.device_time_bounds import times_of
from modecheck.engine.choice import Search
from modecheck.model.devices import read_device

WALKERS = ("first", "second", "third", "fourth")
PUBLISHED = {17: (1, 2, 5, 10), 60: (5, 10, 20, 25)}
"""Minutes in all, and those of each walker."""


def everybody(place: str) -> str:
    return " and ".join(f"{who}.{place}" for who in (*WALKERS, "bridge"))


@pytest.mark.parametrize("minutes", PUBLISHED)
def test_the_best_time_across_the_bridge(minutes: int, tmp_path: Path) -> None:
    """From the near side to the far side, in modes and times laid over the bundled model."""
    over = tmp_path / "over.yaml"
    times_of_walkers = zip(WALKERS, PUBLISHED[minutes], strict=True)
    walkers = "".join(
        f"  {who}: {{with: {{time: {time} min}}}}\n" for who, time in times_of_walkers
    )
    over.write_text(
        f"modes:\n  near: {everybody('near')}\n  far: {everybody('far')}\nchips:\n{walkers}"
    )
    device = read_device("models/published/bridge_17.yaml", over=str(over))
    times = times_of(device, Search())
    across = next(one for one in times.timed if one.name == "near->far")
    assert across.best is not None
    assert across.best.ticks is not None
    assert across.best.ticks * times.tick == minutes * 60


TASKS = {"first": (3, 7), "second": (3, 12), "third": (5, 20)}
"""What each needs, and its period, in milliseconds; the most urgent one first."""
RESPONSES = {"first": 3, "second": 6, "third": 20}


def fixed_point(task: str) -> int:
    """The response time by the equation of Joseph and Pandya."""
    names = list(TASKS)
    urgent = [TASKS[name] for name in names[: names.index(task)]]
    response, before = TASKS[task][0], 0
    while response != before:
        before = response
        response = TASKS[task][0] + sum(-(-before // period) * needs for needs, period in urgent)
    return response


def test_tasks_that_interrupt_each_other_respond_in_the_published_time() -> None:
    """3, 6 and 20 ms. A slot of the processor is taken at its beginning, and lasts 1 ms."""
    assert {task: fixed_point(task) for task in TASKS} == RESPONSES
    times = times_of(read_device("models/published/response_times.yaml"), Search())
    worst = {one.name: one.worst for one in times.timed}
    for task, response in RESPONSES.items():
        found = worst[task]
        assert found is not None
        assert found.ticks is not None
        assert found.ticks + 1 == response


def test_the_wrong_priorities_miss_the_last_deadline(tmp_path: Path) -> None:
    """With the longest period the most urgent, the first task no longer responds within 7 ms."""
    over = tmp_path / "over.yaml"
    over.write_text("chips: {first: {priority: 1}, third: {priority: 3}}\n")
    device = read_device("models/published/response_times.yaml", over=str(over))
    times = times_of(device, Search())
    worst = {one.name: one.worst for one in times.timed}
    assert worst["third"] is not None
    assert worst["third"].ticks == TASKS["third"][0] - 1
    assert worst["first"] is not None
    assert worst["first"].ticks is None or worst["first"].ticks + 1 > 7
