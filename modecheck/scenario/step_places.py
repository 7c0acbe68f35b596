"""Where in the model the cause of a step stands."""

from __future__ import annotations

from modecheck.model.places import Place
from modecheck.product.ir import Product


def place_of_step(product: Product, label: int) -> Place | None:
    """The rule that is taken, else the link or the chip that the step is about; None where a step
    is about nothing in the model.
    """
    form = product.labels[label]
    if form.rule >= 0:
        return product.rules[form.rule].place
    if form.queue >= 0:
        return product.device.links[product.queues[form.queue].name].place
    if form.chip >= 0:
        return product.device.chips[product.chips[form.chip].name].place
    return None
