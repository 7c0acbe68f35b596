"""What a chip reads of others, and what that is called in its C code."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.firmware.chip_plan import ChipPlan


@dataclass(frozen=True, slots=True)
class ForeignRead:
    """Something of others, in words. The name of the function that reads it has these `parts`, and
    those of its values, if they have any, begin with `values_of`.
    """

    told: str
    parts: tuple[str, ...]
    values_of: tuple[str, ...]
    values: tuple[str, ...] = ()


def foreign_read(plan: ChipPlan, field: int) -> ForeignRead:
    """What a field (number) of the product is to the chip, which does not own it."""
    product = plan.product
    one = product.fields[field]
    name, _ = item_of(one.name)
    if one.owner < 0:
        queue = next(queue for queue in product.queues if queue.name == name)
        messages = (message.name for message in queue.messages)
        told = f"what waits in link {name}"
        return ForeignRead(
            told, ("reads", name, "waiting"), ("reads", name), ("nothing", *messages)
        )
    owner, parts = product.chips[one.owner], ("reads", *name.split("."))
    if field == owner.state_field:
        return ForeignRead(f"the state of {owner.name}", parts, ("reads", owner.name), owner.leaves)
    named = one.type is not None and one.type.kind == "word"
    return ForeignRead(
        f"variable {name}", parts, parts, one.type.words if one.type and named else ()
    )


def item_of(name: str) -> tuple[str, int]:
    """The list or queue that a field is an item of, and its index there; without one, -1. Where the
    name of a chip has an index, as copies have, that is no item: `p[2].slots[1]`.
    """
    if not name.endswith("]"):
        return name, -1
    whole, _, index = name[:-1].rpartition("[")
    return whole, int(index)
