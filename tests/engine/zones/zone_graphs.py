"""A product explored by zones alone, without the checks."""

from __future__ import annotations

from modecheck.engine.contract.space import Limits
from modecheck.engine.search.exploration import Silent
from modecheck.engine.zones.zone_exploration import ZoneExplorer, ZoneGraph
from modecheck.product.ir import Product


def explore_zones(product: Product, *, limits: Limits | None = None) -> ZoneGraph:
    """Explore a product with time; `limits.states` bounds the nodes. Raises `NotZonable`."""
    return ZoneExplorer(product, limits or Limits(), Silent()).run()
