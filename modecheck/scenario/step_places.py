"""Where in the model a step comes from."""

from __future__ import annotations

from modecheck.model.places import Place
from modecheck.product.ir import Product


def place_of_step(product: Product, label: int) -> Place | None:
    """The place of the rule taken, else of the link or the chip that the step is about; None where
    a step has no counterpart in the model.
    """
    form = product.labels[label]
    if form.rule >= 0:
        return product.rules[form.rule].place
    if form.queue >= 0:
        return product.device.links[product.queues[form.queue].name].place
    if form.chip >= 0:
        return product.device.chips[product.chips[form.chip].name].place
    return None
