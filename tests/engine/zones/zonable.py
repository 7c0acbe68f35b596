"""Random devices that can be explored by zones."""

from __future__ import annotations

from hypothesis import assume

from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.generation.devices import Drawn


def zonable(drawn: Drawn) -> Product:
    """The product of a device. Zones refuse those in which messages overtake each other, and those
    with activities that hold others back: such a device is no example.
    """
    product = compose(drawn.read())
    assume(not any(queue.any_order for queue in product.queues))
    assume(not any(chip.turn is not None for chip in product.chips))
    return product
