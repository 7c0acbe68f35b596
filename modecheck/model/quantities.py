"""Read the exact quantities behind chances: weights, shares, currents, batteries."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction

from modecheck.model.phrases import Phrases
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import Node, ScalarNode, shortened

NUMBER = r"(\d{1,12}(?:\.\d{1,12})?)"
RATIO = re.compile(NUMBER + r"(?:\s*/\s*(\d{1,12}))?")
AMPERES = {
    "nA": Fraction(1, 10**9),
    "uA": Fraction(1, 10**6),
    "µA": Fraction(1, 10**6),
    "mA": Fraction(1, 1000),
    "A": Fraction(1),
}
AMPERE_HOURS = {"mAh": Fraction(1, 1000), "Ah": Fraction(1)}


def weight(shapes: Shapes, phrases: Phrases, node: Node | None) -> Fraction | None:
    """A positive number such as 3, 0.25 or 9/19; None after noting an error, or for no node."""
    scalar = _scalar(shapes, node, "a weight", "a positive number such as 3, 0.25 or 9/19")
    return None if scalar is None else _ratio(shapes, phrases.fill(scalar), "weight")


def share(shapes: Shapes, node: Node | None) -> Fraction | None:
    """A share of messages, more than 0 and less than 1."""
    expected = "a share between 0 and 1, such as 1/100 or 0.01"
    scalar = _scalar(shapes, node, "a share", expected)
    found = None if scalar is None else _ratio(shapes, scalar, "share", expected)
    if scalar is not None and found is not None and found >= 1:
        shapes.notes.add(
            f"{scalar.text} cannot be used as a share", scalar.place, expected=expected
        )
        return None
    return found


def current(shapes: Shapes, phrases: Phrases, node: Node | None) -> Fraction | None:
    """A current such as `3 mA`, in amperes."""
    return _with_unit(shapes, phrases, node, "current", "3 mA", AMPERES)


def battery(shapes: Shapes, phrases: Phrases, node: Node | None) -> Fraction | None:
    """The capacity of a battery, such as `500 mAh`, in ampere-hours; never 0."""
    found = _with_unit(shapes, phrases, node, "battery capacity", "500 mAh", AMPERE_HOURS)
    if found == 0 and node is not None:
        shapes.notes.add("a battery with a capacity of 0", node.place, expected="more than 0")
        return None
    return found


def _scalar(shapes: Shapes, node: Node | None, what: str, expected: str) -> ScalarNode | None:
    return None if node is None else shapes.scalar(node, what, expected)


def _ratio(
    shapes: Shapes,
    scalar: ScalarNode,
    what: str,
    expected: str = "a positive number such as 3, 0.25 or 9/19",
) -> Fraction | None:
    match = RATIO.fullmatch(scalar.text.strip())
    below = int(match[2]) if match is not None and match[2] else 1
    value = Fraction(match[1]) / below if match is not None and below else Fraction(0)
    if value > 0:
        return value
    shapes.notes.add(
        f"{shortened(scalar.text)!r} cannot be used as a {what}", scalar.place, expected=expected
    )
    return None


def _with_unit(
    shapes: Shapes,
    phrases: Phrases,
    node: Node | None,
    what: str,
    example: str,
    units: Mapping[str, Fraction],
) -> Fraction | None:
    expected = f"a number and a unit ({', '.join(units)}), such as {example}"
    scalar = _scalar(shapes, node, f"a {what}", expected)
    if scalar is None:
        return None
    match = re.fullmatch(NUMBER + r"\s*([^\W\d_]+)", phrases.fill(scalar).text.strip())
    if match is None or match[2] not in units:
        shapes.notes.add(
            f"{shortened(scalar.text)!r} is not a {what}", scalar.place, expected=expected
        )
        return None
    return Fraction(match[1]) * units[match[2]]
