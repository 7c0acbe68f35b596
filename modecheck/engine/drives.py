"""Which steps keep a device going: those of chips, links and time; actors and faults do not."""

from __future__ import annotations

from modecheck.product.form import Label, Product


def obliging_labels(product: Product) -> frozenset[int]:
    """The labels of steps without which a device cannot stay as it is for ever: those that have to
    happen in the end, and losses by nature, which a device can go on by where all else waits.
    """
    endless = {fault.label for fault in product.faults if fault.kind == "lose" and fault.budget < 0}
    return frozenset(endless).union(*(fair.labels for fair in product.fair))


def drives_of(product: Product) -> list[bool]:
    """For each label whether its step is one of a chip or a link, or a tick."""
    drives = [_is_drive(product, label) for label in product.labels]
    for fault in product.faults:
        # A link that loses without a budget does so by nature, and that can free a sender.
        drives[fault.label] |= fault.kind == "lose" and fault.budget < 0
    return drives


def _is_drive(product: Product, label: Label) -> bool:
    if label.kind == "rule":
        return not product.chips[label.chip].actor
    return label.kind in ("deliver", "ignore", "tick")
