"""Links by themselves: what fits, what merges, what overflows, what becomes late."""

from __future__ import annotations

from modecheck.model.parts import Device, Link, Rule
from modecheck.model.terms import IsLate, Term, parts_of
from tests.second_reading.worlds import Forbidden, Waiting, World


class Queues:
    """The links of one device."""

    def __init__(self, device: Device) -> None:
        self._links = device.links
        self._asked = {n for n, link in device.links.items() if asks_for_lateness(device, link)}

    def has_room(self, rule: Rule, name: str, world: World) -> bool:
        """A link that makes its sender wait must be able to take everything the rule sends."""
        link = self._links[name]
        if link.when_full != "wait":
            return True
        inside = [waiting.message for waiting in world.waits[name]]
        for message in [send.message for send in rule.sends if send.link == name]:
            if link.carries[message].kind == "event" or message not in inside:
                inside.append(message)
        return len(inside) <= link.capacity or len(inside) == len(world.waits[name])

    def put(self, world: World, name: str, new: Waiting) -> str:
        """Queue a message in a link that is up; which one is dropped for it, itself perhaps, or "".
        Raises `Forbidden` on overflow.
        """
        dropped = ""
        link, waits = self._links[name], list(world.waits[name])
        older = [n for n, waiting in enumerate(waits) if waiting.message == new.message]
        if link.carries[new.message].kind != "event" and older:
            waits[older[-1]] = merged(link, waits[older[-1]], new)
        elif len(waits) < link.capacity:
            waits.append(new)
        elif link.when_full == "drop_old":
            dropped, waits = waits[0].message, [*waits[1:], new]
        elif link.when_full == "drop_new":
            dropped = new.message
        else:
            raise Forbidden("overflow", f"{name}.{new.message}")
        world.waits[name] = tuple(waits)
        return dropped

    def places(self, world: World, name: str) -> list[int]:
        """Which messages of a link the next step may concern: its first one, or, where they may
        overtake each other, any, but of equal ones only one.
        """
        waits = world.waits[name]
        if self._links[name].order == "sent":
            return [0] if waits else []
        return [n for n, waiting in enumerate(waits) if waiting not in waits[:n]]

    def settle(self, world: World) -> None:
        """Where messages may overtake each other, only what waits counts, and not in which order:
        it is kept in one, the oldest first, then as the link names its messages.
        """
        for name, link in self._links.items():
            if link.order == "any":
                named = list(link.carries)
                world.waits[name] = tuple(
                    sorted(
                        world.waits[name],
                        key=lambda one: (-one.age, named.index(one.message), one.value, one.late),
                    )
                )

    def begin_session(self, world: World, name: str) -> None:
        """What waits becomes late; a mark that no rule asks for is not kept."""
        if name in self._asked:
            waits = world.waits[name]
            world.waits[name] = tuple(waiting._replace(late=True) for waiting in waits)


def merged(link: Link, older: Waiting, new: Waiting) -> Waiting:
    """The newest picture replaces an older one; amounts add up, and stay late if a part is."""
    message = link.carries[new.message]
    if message.kind == "state":
        return new._replace(age=older.age)
    total = older.value + new.value
    assert message.type is not None
    if not message.type.low <= total <= message.type.high:
        raise Forbidden("out-of-range", f"{link.name}.{new.message}")
    return Waiting(new.message, total, older.late, older.age)


def asks_for_lateness(device: Device, link: Link) -> bool:
    """Whether any rule of the receiver asks if its message is late."""
    terms: list[Term | None] = []
    for rule in device.chips[link.receiver].rules:
        terms.append(rule.guard)
        terms += [rule.branch.given, *rule.branch.before] if rule.branch is not None else []
        terms += [value for assignment in rule.assignments for value in assignment.values]
        terms += [target.index for a in rule.assignments for target in a.targets]
        terms += [send.value for send in rule.sends]
        terms += [given.value for given in rule.signalled]
    return any(isinstance(part, IsLate) for term in terms if term for part in parts_of(term))
