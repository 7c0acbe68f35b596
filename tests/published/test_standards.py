"""The state machines that open standards draw, edge by edge.

The marks (P, M, C) are explained in conftest.py.
"""

from __future__ import annotations

from collections.abc import Callable

from modecheck.engine.search.exploration import PlainExploration

Explored = Callable[[str], PlainExploration]
Edges = set[tuple[str, str, str]]

USB_EDGES: Edges = {
    ("attached", "configure_hub", "powered"),
    ("powered", "deconfigure_hub", "attached"),
    ("powered", "reset", "default"),
    ("default", "reset", "default"),
    ("address", "reset", "default"),
    ("configured", "reset", "default"),
    ("default", "assign_address", "address"),
    ("address", "clear_address", "default"),
    ("address", "set_configuration", "configured"),
    ("configured", "clear_configuration", "address"),
    ("default", "interrupt_power", "powered"),
    ("address", "interrupt_power", "powered"),
    ("configured", "interrupt_power", "powered"),
    ("powered", "fall_silent", "suspended_powered"),
    ("default", "fall_silent", "suspended_default"),
    ("address", "fall_silent", "suspended_address"),
    ("configured", "fall_silent", "suspended_configured"),
    ("suspended_powered", "speak_again", "powered"),
    ("suspended_default", "speak_again", "default"),
    ("suspended_address", "speak_again", "address"),
    ("suspended_configured", "speak_again", "configured"),
}

LINK_LAYER_EDGES = {
    ("standby", "advertising"),
    ("advertising", "standby"),
    ("standby", "scanning"),
    ("scanning", "standby"),
    ("standby", "initiating"),
    ("initiating", "standby"),
    ("advertising", "connection"),
    ("initiating", "connection"),
    ("connection", "standby"),
}


def leaf_of(exploration: PlainExploration, chip: str, number: int) -> str:
    """The innermost state in which a chip is."""
    form = next(form for form in exploration.product.chips if form.name == chip)
    return form.leaves[exploration.state(number)[form.state_field]]


def edges_of(exploration: PlainExploration, chip: str) -> list[tuple[str, str, str]]:
    """For each transition: where the chip was, the rule that was taken, where the chip came to."""
    found = []
    for source in range(exploration.expanded):
        for edge in exploration.edges_from(source):
            rule = exploration.product.rules[exploration.product.labels[edge.label].rule]
            before, after = (leaf_of(exploration, chip, n) for n in (source, edge.target))
            found.append((before, rule.title, after))
    return found


def test_usb_device_has_the_edges_of_the_specification(explored: Explored) -> None:
    """USB 2.0 section 9.1.1: 9 states (table 9-1, P) and 21 edges (M, counted C)."""
    exploration = explored("usb_device_states")
    assert exploration.state_count == 9
    assert exploration.transitions == len(USB_EDGES) == 21
    assert set(edges_of(exploration, "device")) == USB_EDGES


def test_usb_device_is_configured_after_four_steps(explored: Explored) -> None:
    """USB 2.0 section 9.1.1: depths 0 to 4, the suspended twin of a state one more (M)."""
    exploration = explored("usb_device_states")
    depths = {leaf_of(exploration, "device", n): exploration.depth_of(n) for n in range(9)}
    awake = ["attached", "powered", "default", "address", "configured"]
    assert [depths[state] for state in awake] == [0, 1, 2, 3, 4]
    assert [depths[f"suspended_{state}"] for state in awake[1:]] == [2, 3, 4, 5]


def test_link_layer_has_the_edges_of_the_specification(explored: Explored) -> None:
    """Bluetooth Core volume 6 part B section 1.1, older form: 5 states (P), 9 edges (partly M)."""
    exploration = explored("bluetooth_link_layer")
    assert exploration.state_count == 5
    assert exploration.transitions == len(LINK_LAYER_EDGES) == 9
    edges = {(before, after) for before, _, after in edges_of(exploration, "link_layer")}
    assert edges == LINK_LAYER_EDGES
