"""What a repair does beyond mending: in which modes the device behaves as before, what to test
again, and what it costs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from modecheck.checks.device_time_bounds import DeviceTimes, MeasuredTime, times_of
from modecheck.compare.behaviour import WHOLE, Behaviour, Outcome, compare_behaviour
from modecheck.compare.looks import Devices, looks_at_media
from modecheck.compare.text_changes import text_changes
from modecheck.engine.choice import Search
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.review.retest import touched_rules
from modecheck.tours.settled_tour import bench_test
from modecheck.tours.sittings import SITTING

SMALL_BENCH = 20_000
"""States of a device whose bench test is planned anew for each repair."""


@dataclass(frozen=True, slots=True)
class TimeCost:
    """The worst time of a switch, a response or a reconnection, before and after, in seconds; None
    where it can take forever.
    """

    title: str
    before: Fraction | None
    after: Fraction | None


@dataclass(frozen=True, slots=True)
class Assessment:
    """`same` are the modes in which all messages are proven to come as before, `different` those in
    which they do not, `unknown` those that were not compared; `whole` is about the whole device.
    `touched` are the rules, as "chip.rule", that changed or use something that changed; of the
    bench test's `bench_of` steps, `bench` take such a rule (None where no bench test was planned).
    `times` are worst times that changed.
    """

    whole: Outcome = Outcome.UNKNOWN
    same: tuple[str, ...] = ()
    different: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    touched: tuple[str, ...] = ()
    bench: int | None = None
    bench_of: int = 0
    times: tuple[TimeCost, ...] = ()
    compared: bool = False


def assess(
    before: Device, after: Device, search: Search, *, states: int, times: DeviceTimes | None
) -> Assessment:
    """The assessment of a repaired device; `times` are those of the device before."""
    old, new = compose(before), compose(after)
    text = text_changes(before, after)
    devices = Devices(old, new, text.renaming)
    how = replace(search, expected=states)
    behaviours = list(compare_behaviour(devices, looks_at_media(devices), search=how))
    outcomes = {mode: _joined(behaviours, mode) for mode in after.modes}

    def modes(wanted: Outcome) -> tuple[str, ...]:
        return tuple(mode for mode, outcome in outcomes.items() if outcome is wanted)

    touched = touched_rules(after, text)
    steps, of = None, 0
    if states <= SMALL_BENCH and touched:
        test = bench_test(new, limits=search.limits, sitting=SITTING)
        taken = [bool(touched & set(step.takes)) for one in test.sequences for step in one.steps]
        if not test.stopped_by:
            steps, of = sum(taken), test.steps
    return Assessment(
        whole=_joined(behaviours, WHOLE),
        same=modes(Outcome.SAME),
        different=modes(Outcome.DIFFERENT),
        unknown=modes(Outcome.UNKNOWN),
        touched=tuple(sorted(touched)),
        bench=steps,
        bench_of=of,
        times=tuple(_times(times, after, search)),
        compared=True,
    )


def _joined(behaviours: Sequence[Behaviour], mode: str) -> Outcome:
    """What is known of a mode, looked at over every medium."""
    found = {one.outcome for one in behaviours if one.mode == mode}
    for outcome in (Outcome.DIFFERENT, Outcome.UNKNOWN):
        if outcome in found:
            return outcome
    return Outcome.SAME if found else Outcome.UNKNOWN


def _times(before: DeviceTimes | None, device: Device, search: Search) -> Iterator[TimeCost]:
    """Worst times that are not the same any more; nothing that a bound left open."""
    if before is None or device.clock is None:
        return
    after = times_of(device, search)
    known = {one.title: one for one in before.timed if one.complete}
    for one in after.timed:
        old = known.get(one.title)
        if old is None or not one.complete:
            continue
        then, now = _seconds(old.worst, before), _seconds(one.worst, after)
        if then != now:
            yield TimeCost(one.title, then, now)


def _seconds(measured: MeasuredTime | None, times: DeviceTimes) -> Fraction | None:
    ticks = measured.ticks if measured is not None else 0
    return None if ticks is None else ticks * times.tick
