"""What parts of a device have to do with: their own concerns, and what follows from a link's
medium.

A link has its medium as a concern, unless that is internal, and what is Bluetooth is radio, too:
both are what a certificate of a transmitter speaks of. A rule has the concerns of its chip, of its
states, of the state it goes to, of the links that it sends into or is set off by, and of chips
whose state it asks for. A fault that cuts power has to do with power.
"""

from __future__ import annotations

from modecheck.compare.forms import Form, PartName, Together
from modecheck.model.parts import Chip, Device, Link, Rule

FIRST = ("radio", "power", "charging")
"""What laboratories ask for is told first."""
IMPLIED = {"bluetooth": ("radio",)}
"""Media that are a kind of another concern."""
POWER_FAULTS = ("power_cut", "reset")


def concerns_of_link(link: Link) -> frozenset[str]:
    """Its own, its medium, and what that implies."""
    medium = () if link.medium == "internal" else (link.medium, *IMPLIED.get(link.medium, ()))
    return frozenset((*link.concerns, *medium))


def concerns_of_state(chip: Chip, name: str) -> frozenset[str]:
    """Its own, those of the states around it, and those of its chip."""
    around = (chip.states[one].concerns for one in chip.ancestry(name) if one)
    return frozenset(chip.concerns).union(*around)


def own_concerns(chip: Chip, rule: Rule) -> frozenset[str]:
    """A rule's concerns without those of links."""
    states = [*rule.sources, *([rule.target] if rule.target else [])]
    return frozenset((*rule.concerns, *chip.concerns)).union(
        *(concerns_of_state(chip, s) for s in states)
    )


def concerns_of(device: Device, name: PartName, said: Form = ()) -> frozenset[str]:
    """The concerns of a part of a device; `said` is what the part says, for one without concerns of
    its own: then those of the chips, links and variables that it names.
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
    """First what laboratories ask for, then by name."""
    return [concern for concern in FIRST if concern in concerns] + sorted(
        set(concerns) - set(FIRST)
    )
