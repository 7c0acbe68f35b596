"""Spaces without transitions, whose sets are arrays of truth values or kept by kernels."""

from __future__ import annotations

from dataclasses import replace

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.engine.gpu.explore_on_gpu import explore_on_gpu
from modecheck.engine.gpu.host_device import HostDevice
from modecheck.engine.large.listed_sets import ListedSets
from modecheck.engine.large.state_sets import StateSets
from modecheck.engine.large.swept_space import SweptSpace, swept
from modecheck.engine.native.graph import (
    CompiledExploration,
    as_compiled,
    graph_without_transitions,
)
from modecheck.engine.search.exploration import Silent
from modecheck.product.ir import Product


def explored(product: Product) -> CompiledExploration:
    space = as_compiled(explore_with(product, Search(engine="compiled", threads=1)))
    assert space is not None
    return space


def by_arrays(space: CompiledExploration) -> SweptSpace:
    """The same without its transitions, but with sets that know them."""
    sets: StateSets = ListedSets(space)
    return swept(replace(space, graph=graph_without_transitions(space.found)), sets)


def by_kernels(product: Product, device: HostDevice | None = None) -> SweptSpace:
    """The space as a GPU would have found it, without transitions."""
    found = explore_on_gpu(
        product,
        [device or HostDevice()],
        threads=1,
        limits=Limits(),
        reporter=Silent(),
        keep=False,
        sweeps=True,
    )
    assert isinstance(found, SweptSpace)
    return found
