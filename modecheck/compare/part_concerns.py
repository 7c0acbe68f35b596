"""The concerns of the parts of a device: those they declare, and those implied by a link's medium.

A link has its medium as a concern, unless that is internal; Bluetooth implies radio, since a
transmitter's certificate covers both. A rule has the concerns of its chip, of its states, of its
target state, of the links that it sends into or is triggered from, and of chips whose state it
reads. A fault that cuts power concerns power.
"""

from __future__ import annotations

from modecheck.compare.forms import Form, PartName, Together
from modecheck.model.parts import Chip, Device, Link, Rule

FIRST = ("radio", "power", "charging")
"""What test laboratories ask about comes first."""
IMPLIED = {"bluetooth": ("radio",)}
"""Media that imply further concerns."""
POWER_FAULTS = ("power_cut", "reset")


def concerns_of_link(link: Link) -> frozenset[str]:
    """Its declared concerns, its medium, and what that implies."""
    medium = () if link.medium == "internal" else (link.medium, *IMPLIED.get(link.medium, ()))
    return frozenset((*link.concerns, *medium))


def concerns_of_state(chip: Chip, name: str) -> frozenset[str]:
    """Its declared concerns, those of its enclosing states, and those of its chip."""
    around = (chip.states[one].concerns for one in chip.ancestry(name) if one)
    return frozenset(chip.concerns).union(*around)


def own_concerns(chip: Chip, rule: Rule) -> frozenset[str]:
    """The concerns of a rule, without those of links."""
    states = [*rule.sources, *([rule.target] if rule.target else [])]
    return frozenset((*rule.concerns, *chip.concerns)).union(
        *(concerns_of_state(chip, s) for s in states)
    )


def concerns_of(device: Device, name: PartName, said: Form = ()) -> frozenset[str]:
    """The concerns of a part of a device. A part without declared concerns has those of the chips,
    links and variables that it names in `said`, which is what it declares.
    """
    if name.scope and name.kind != "message":
        chip = device.chips[name.scope]
        if name.kind == "state":
            return concerns_of_state(chip, name.name)
        if name.kind == "rule":
            rule = next(rule for rule in chip.rules if rule.title == name.name)
            return own_concerns(chip, rule) | _concerns_named(device, said)
        return frozenset(chip.concerns)
    if name.kind == "chip":
        return frozenset(device.chips[name.name].concerns)
    if name.kind in ("link", "message"):
        return concerns_of_link(device.links[name.scope or name.name])
    if name.kind == "fault":
        cuts = name.name.partition("#")[0] in POWER_FAULTS
        return _concerns_named(device, said) | ({"power"} if cuts else set())
    return _concerns_named(device, said) if name.kind == "pairing" else frozenset()


def _concerns_named(device: Device, said: Form) -> frozenset[str]:
    """The concerns of the chips and links that a form names."""
    found: frozenset[str] = frozenset()
    for name in names_in(said):
        if name.kind in ("link", "message"):
            found |= concerns_of_link(device.links[name.scope or name.name])
        elif name.kind == "chip":
            found |= frozenset(device.chips[name.name].concerns)
    return found


def names_in(form: Form) -> frozenset[PartName]:
    """Every name in a form."""
    if isinstance(form, PartName):
        return frozenset({form})
    if isinstance(form, Together):
        return names_in(form.items)
    if isinstance(form, tuple):
        return frozenset().union(*map(names_in, form))
    return frozenset()


def in_order(concerns: frozenset[str] | set[str]) -> list[str]:
    """First what test laboratories ask about, then by name."""
    return [concern for concern in FIRST if concern in concerns] + sorted(
        set(concerns) - set(FIRST)
    )
