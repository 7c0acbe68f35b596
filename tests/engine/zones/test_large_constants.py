"""A window of 30 s beside a poll of 1 ms: far more ticks than zones."""

from __future__ import annotations

import pytest

from modecheck.engine.search.exploration import explore
from modecheck.engine.zones.zone_exploration import ZoneGraph
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.engine.zones.test_agreement import without_time
from tests.engine.zones.zone_graphs import explore_zones
from tests.generation.devices import device_from
from tests.generation.timed_examples import window_beside_poll

FEW_ZONES = 1000


@pytest.fixture(scope="module")
def product() -> Product:
    """The device with its real constants."""
    return compose(device_from(window_beside_poll()))


@pytest.fixture(scope="module")
def zones(product: Product) -> ZoneGraph:
    return explore_zones(product)


def test_a_long_window_takes_few_zones(product: Product, zones: ZoneGraph) -> None:
    """Tick by tick the counts alone multiply to more than ten thousand million."""
    assert not zones.stopped_by
    assert len(zones.nodes) < FEW_ZONES
    digital = explore(product, max_states=10 * FEW_ZONES)
    assert not digital.complete


def test_longer_waits_reach_what_short_ones_do(zones: ZoneGraph) -> None:
    """The same device with short waits, explored tick by tick, comes to the same states."""
    short = compose(device_from(window_beside_poll("12 ms", "14 ms")))
    digital = explore(short)
    assert digital.complete
    reached = {without_time(short, digital.state(n)) for n in range(digital.state_count)}
    found = {without_time(zones.product, node.situation.state) for node in zones.nodes}
    assert found == reached
