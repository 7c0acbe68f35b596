"""Fields that count ticks hold every count that a tick can bring them to."""

from __future__ import annotations

from hypothesis import given, settings

from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from tests.generation.devices import Drawn, device_from, devices

WAITING_FOR_EVER = """\
device: a timer without a latest moment
clock: {tick: 1 ms}
chips:
  pedal:
    timers: {patience: [3 ms, forever]}
    states: {idle: {rules: [{to: waiting, start: patience}]}, waiting: {}}
    rules: [{in: waiting, expires: patience, to: idle}]
"""


def test_a_timer_without_a_latest_moment_comes_to_its_earliest() -> None:
    """It counts to 3 ms, is one more than its count, and runs on until its rule is taken."""
    found = explore(compose(device_from(WAITING_FOR_EVER)))
    timer = [field.name for field in found.product.fields].index("pedal.patience timer")
    counts = {found.state(number)[timer] for number in range(found.state_count)}
    assert counts == {0, 1, 2, 3, 4}
    assert found.state_count == 5


@settings(max_examples=20)
@given(devices(options=False, faults=False, timed=True))
def test_no_tick_leaves_the_range_of_a_field(drawn: Drawn) -> None:
    """What a tick counts to is within the range of its field, or else states were confused."""
    product = compose(drawn.read())
    for ticking in product.time.tickings if product.time else ():
        assert max(ticking.last, ticking.behind) <= product.fields[ticking.field].high
