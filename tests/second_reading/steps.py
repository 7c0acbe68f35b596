"""Every step from a world, read off the definition of the language sentence by sentence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from modecheck.model.parts import Chip, Device, Event, FaultGroup, Link, Rule
from modecheck.model.rule_effects import Assignment, GivenSignal, Send
from tests.second_reading.clocks import Clocks
from tests.second_reading.deeds import Cut, Deed, Failure, Outcome
from tests.second_reading.queues import Queues
from tests.second_reading.statechart import (
    nth_text,
    owes,
    places_to_cut,
    rules_in,
    states_around,
    word_on,
)
from tests.second_reading.worlds import (
    Forbidden,
    View,
    Waiting,
    World,
    beginnings,
    holds_in,
    innermost,
    wants,
    worth,
)


class SecondReading:
    """The steps of one device."""

    def __init__(self, device: Device) -> None:
        self.device = device
        self._queues = Queues(device)
        self._clocks = Clocks(device)

    def steps(self, world: World) -> list[Outcome]:
        """Every step from a world, each once."""
        found = [
            *self._own_steps(world),
            *self._deliveries(world),
            *self._faults(world),
        ]
        found += self._tick(world, found)
        return list({o.identity: o for o in found}.values())

    # Time goes on where nothing has to happen first, and where that changes anything.

    def _tick(self, world: World, others: list[Outcome]) -> Iterator[Outcome]:
        if self.device.clock is None or self._hold_time_up(world, others):
            return
        deed = Deed(world.copy())
        standing = {
            chip.name
            for chip, rule in self._clocks.at_latest(world)
            if self.gives_way(world, chip) and wants_or_fails(chip, rule, world)
        }
        self._clocks.go_on(deed.now, standing)
        if deed.now.key != world.key:
            yield self._ended(deed, "time goes on", True)

    def holds_time_up(self, world: World) -> bool:
        """Whether time cannot go on in a world, because something has to happen first that does not
        fail, or is due.
        """
        others = [*self._own_steps(world), *self._deliveries(world), *self._faults(world)]
        return self._hold_time_up(world, [other for other in others if not other.failures])

    def _hold_time_up(self, world: World, others: list[Outcome]) -> bool:
        latest = self._clocks.at_latest(world)
        return any(other.first for other in others) or any(
            not self.gives_way(world, chip) and wants_now(chip, rule, world)
            for chip, rule in latest
        )

    # Activities of one controller: the masked ones wait, and so do those less urgent than one that
    # could go on by itself.

    def gives_way(self, world: World, chip: Chip) -> bool:
        """Whether others of its controller keep a chip from stepping."""
        if not chip.runs_on:
            return False
        others = [one for one in self.device.chips.values() if one.runs_on == chip.runs_on]
        masked = {
            name
            for one in others
            for state in states_around(one, world.at[one.name])
            for name in one.states[state].masks
        }
        return chip.name in masked or any(
            one.priority > chip.priority and one.name not in masked and self._can(world, one)
            for one in others
        )

    def _can(self, world: World, chip: Chip) -> bool:
        """Whether an activity could step at once, and nobody could say that it is too early."""
        for rule in rules_in(chip, world.at[chip.name]):
            early = rule.kind == "timer" and not self._clocks.is_at_latest(world, chip, rule)
            if rule.trigger or early:
                continue
            try:
                if self.enabled(rule, View(chip.name, world, world)):
                    return True
            except Forbidden:
                return True
        near = (one for one in self.device.links.values() if one.receiver == chip.name)
        return any(
            any(self._delivery(world, link, place))
            for link in near
            if self.device.chips[link.sender].runs_on == chip.runs_on
            for place in self.here(world, link)
        )

    # A rule without an event: an alternative whenever its guard holds, whatever stands before it.

    def _own_steps(self, world: World) -> Iterator[Outcome]:
        for chip in self.device.chips.values():
            gone: set[str] = set()
            if self.gives_way(world, chip):
                continue
            for rule in rules_in(chip, world.at[chip.name]):
                if not rule.trigger and self._clocks.ripe(world, chip, rule):
                    yield from self._own_step(world, chip, rule, gone)

    def _own_step(self, world: World, chip: Chip, rule: Rule, gone: set[str]) -> Iterator[Outcome]:
        """A step of a chip by itself. Of the rules for one timer the first that is enabled is
        taken; `gone` names the timers that have found theirs.
        """
        if rule.expires in gone:
            return
        label, view = f"{chip.name} {rule.title}", View(chip.name, world, world)
        try:
            enabled = self.enabled(rule, view)
        except Forbidden as wrong:
            gone |= {rule.expires} - {""}
            failing = _failing(label, {(wrong.code, wrong.subject)}, not chip.actor)
            yield replace(failing, first=self._hurries(chip, rule))
            return
        if enabled:
            gone |= {rule.expires} - {""}
            deed, first = Deed(world.copy()), self._hurries(chip, rule)
            for outcome in self._with_cuts(deed, label, rule, view, not chip.actor):
                yield replace(outcome, first=first)

    def _hurries(self, chip: Chip, rule: Rule) -> bool:
        """Whether time waits for a rule that waits for nothing."""
        clock = self.device.clock
        at_once = clock is not None and "chips" in clock.at_once
        return at_once and rule.kind == "internal" and owes(chip, rule)

    def enabled(self, rule: Rule, view: View) -> bool:
        """Whether its guard holds, and no link that makes the sender wait is too full."""
        return self._wanted(rule, view) and not self._full_links(rule, view)

    def _wanted(self, rule: Rule, view: View) -> bool:
        return wants(self.device.chips[rule.chip], rule, view)

    def _full_links(self, rule: Rule, view: View) -> list[str]:
        """The links that make its sender wait and cannot take what it sends."""
        links = dict.fromkeys(send.link for send in rule.sends)
        return [link for link in links if not self._queues.has_room(rule, link, view.seen)]

    # A delivery: the head of a link that is up reaches its chip.

    def _deliveries(self, world: World) -> Iterator[Outcome]:
        for link in self.device.links.values():
            if self.gives_way(world, self.device.chips[link.receiver]):
                continue
            here = self.here(world, link)
            clock = self.device.clock
            hurries = link.delay is None and link.fair != "none"
            at_once = clock is not None and "links" in clock.at_once and hurries
            first = at_once or self._clocks.last_call(world, link)
            for place in here:
                message = world.waits[link.name][place].message
                for outcome in self._delivery(world, link, place):
                    yield replace(outcome, first=first, delivered=message)

    def here(self, world: World, link: Link) -> list[int]:
        """The messages of a link that have come to its chip."""
        return [
            place
            for place in self._queues.places(world, link.name)
            if holds_in(link.up_when, world) and self._clocks.deliverable(world, link, place)
        ]

    def _delivery(self, world: World, link: Link, place: int) -> Iterator[Outcome]:
        head, chip = world.waits[link.name][place], self.device.chips[link.receiver]
        deed = Deed(world.copy(), events={head.message})
        deed.now.waits[link.name] = _without(world.waits[link.name], place)
        self._end_rows(deed.now, link, head.message)
        view = View(chip.name, deed.now, deed.now.copy(), head.value, head.late)
        event = Event(head.message, link.name)
        discarded = f"{link.name} to {chip.name}, discarded"
        try:
            rule = self._first_enabled(chip, event, view)
        except Forbidden as wrong:
            yield _failing(discarded, {(wrong.code, wrong.subject)}, True)
            return
        if rule is not None:
            label = f"{link.name} to {chip.name} {rule.title}"
            yield from self._with_cuts(deed, label, rule, view, True)
            return
        if self._held_back(chip, event, view):
            return
        manner = word_on(chip, world.at[chip.name], event)
        if manner == "discard":
            yield self._ended(deed, discarded, True)
        elif not manner:
            subject = f"{chip.name}.{world.at[chip.name]}.{head.message}"
            yield _failing(discarded, {("unspecified-reception", subject)}, True)

    def _end_rows(self, world: World, link: Link, message: str) -> None:
        """With a delivery the faults of a link in a row begin anew, with that of something that is
        corrupted all but corruptions.
        """
        for number, group in enumerate(self.device.faults):
            useless = link.corrupts and message == "corrupted" and group.kind == "corrupt"
            if (number, link.name) in world.in_a_row and not useless:
                assert group.at_most_in_a_row is not None
                world.in_a_row[number, link.name] = group.at_most_in_a_row

    def _first_enabled(self, chip: Chip, event: Event, view: View) -> Rule | None:
        return next((r for r in _hearing(chip, event, view) if self.enabled(r, view)), None)

    def _held_back(self, chip: Chip, event: Event, view: View) -> list[Rule]:
        """Where no rule is enabled: those whose guard holds, but that wait for room in a link."""
        return [rule for rule in _hearing(chip, event, view) if self._wanted(rule, view)]

    # One step, and the same step with the power failing in the middle of a rule.

    def _with_cuts(
        self, deed: Deed, label: str, rule: Rule, view: View, unprompted: bool
    ) -> Iterator[Outcome]:
        begun = replace(deed, now=deed.now.copy(), events=set(deed.events))
        yield self._done(deed, label, rule, view, unprompted)
        for torn in dict.fromkeys(deed.separate):
            which = deed.separate.index(torn)
            for number, group in enumerate(self.device.faults):
                if _strikes(group, torn.chip) and begun.now.left.get(number, 1):
                    for cut in self._cuts(number, torn, which):
                        after = nth_text(torn, cut.done)
                        torn_label = f"{torn.chip} {group.kind} in {torn.title} after {after}"
                        again = _afresh(begun, cut)
                        yield self._done(again, torn_label, rule, view.at(again.now), False)

    def _cuts(self, group: int, torn: Rule, which: int) -> Iterator[Cut]:
        chip = self.device.chips[torn.chip]
        for done in places_to_cut(chip, torn):
            for way, _ in enumerate(beginnings(chip, again=True)):
                yield Cut(group, torn.chip, which, done, way)

    def _done(self, deed: Deed, label: str, rule: Rule, view: View, unprompted: bool) -> Outcome:
        with deed.going_on():
            self._take(deed, rule, view)
        while deed.signalled and not deed.wrong:
            self._hear(deed, *deed.signalled.pop(0))
        if deed.wrong:
            return _failing(label, deed.wrong, unprompted, deed)
        if deed.cut is not None:
            self._strike(deed, deed.cut.group, deed.cut.chip, deed.cut.way)
        return self._ended(deed, label, unprompted)

    def _take(self, deed: Deed, rule: Rule, view: View) -> None:
        chip = self.device.chips[rule.chip]
        view = view.at(deed.now)
        deed.moved.add(chip.name)
        cut = deed.cut
        if places_to_cut(chip, rule):
            deed.separate.append(rule)
            here = cut is not None and cut.chip == chip.name and len(deed.separate) - 1 == cut.which
            if cut is not None and here:
                for assignment in rule.assignments[: cut.done]:
                    self.assign(chip, assignment, view)
                deed.struck = chip.name
                return
        deed.taken.add((chip.name, rule.title))
        for assignment in rule.assignments:
            self.assign(chip, assignment, view)
        for send in rule.sends:
            deed.sent.append((send.link, send.message, self._amount(send, view)))
        given = [(one.signal, chip.name, self._signal_value(one, view)) for one in rule.signalled]
        leaf = deed.now.at[chip.name]
        if rule.target is not None:
            deed.now.at[chip.name] = innermost(chip, rule.target)
        self._clocks.take(deed.now, chip, rule, leaf)
        deed.signalled += given

    def assign(self, chip: Chip, assignment: Assignment, view: View) -> None:
        """Write what an assignment says; all its values are taken before any is written."""
        values = [worth(value, view) for value in assignment.values]
        places = []
        for target in assignment.targets:
            position = 0 if target.index is None else worth(target.index, view)
            variable = chip.variables[target.variable]
            if position not in range(len(view.now.holds[chip.name, variable.name])):
                raise Forbidden("out-of-range", f"{chip.name}.{variable.name}")
            places.append((variable, position))
        for (variable, position), value in zip(places, values, strict=True):
            if not variable.type.low <= value <= variable.type.high:
                raise Forbidden("out-of-range", f"{chip.name}.{variable.name}")
            items = list(view.now.holds[chip.name, variable.name])
            items[position] = value
            view.now.holds[chip.name, variable.name] = tuple(items)

    def _amount(self, send: Send, view: View) -> int:
        message = self.device.links[send.link].carries[send.message]
        if send.value is None or message.type is None:
            return 0
        value = worth(send.value, view)
        if not message.type.low <= value <= message.type.high:
            raise Forbidden("out-of-range", f"{send.link}.{send.message}")
        return value

    def _signal_value(self, given: GivenSignal, view: View) -> int:
        declared = self.device.shared.signals.get(given.signal.partition("[")[0])
        if given.value is None or declared is None or declared.type is None:
            return 0
        value = worth(given.value, view)
        if not declared.type.low <= value <= declared.type.high:
            raise Forbidden("out-of-range", f"{view.chip}.{given.signal}")
        return value

    def _hear(self, deed: Deed, signal: str, signaller: str, value: int) -> None:
        """All others with an enabled rule move at once, judged on the same snapshot, and on the
        value that came with the signal.
        """
        snapshot = deed.now.copy()
        deed.events |= {signal, f"{signal} is sent"}
        movers = []
        for chip in self.device.chips.values():
            if chip.name not in (signaller, deed.struck):
                view = View(chip.name, snapshot, snapshot, value)
                with deed.going_on():
                    rule = self._first_enabled(chip, Event(signal), view)
                    movers += [(rule, view)] if rule is not None else []
                    for blocked in [] if rule else self._held_back(chip, Event(signal), view):
                        raise Forbidden("blocked-reaction", f"{chip.name}.{blocked.title}")
        for rule, view in movers:
            with deed.going_on():
                self._take(deed, rule, view)

    # The end of a step: what was sent is queued, and links that are down are seen to.

    def _ended(self, deed: Deed, label: str, unprompted: bool) -> Outcome:
        deed.events |= {f"{message} is sent" for _, message, _ in deed.sent}
        for name, message, value in deed.sent:
            with deed.going_on():
                dropped = message
                if holds_in(self.device.links[name].up_when, deed.now):
                    new = Waiting(message, value, late=False)
                    dropped = self._queues.put(deed.now, name, new)
                self._note_loss(deed, name, dropped)
        if deed.wrong:
            return _failing(label, deed.wrong, unprompted, deed)
        for link in self.device.links.values():
            if not holds_in(link.up_when, deed.now):
                if link.when_down == "hold":
                    self._queues.begin_session(deed.now, link.name)
                else:
                    self._empty(deed, link.name)
        self._queues.settle(deed.now)
        return Outcome(
            label,
            deed.now,
            frozenset(),
            frozenset(deed.moved),
            frozenset(deed.events),
            unprompted,
            frozenset(deed.taken),
            sent=frozenset((link, message) for link, message, _ in deed.sent),
        )

    def _empty(self, deed: Deed, name: str) -> None:
        for waiting in deed.now.waits[name]:
            self._note_loss(deed, name, waiting.message)
        deed.now.waits[name] = ()

    def _note_loss(self, deed: Deed, name: str, message: str) -> None:
        """That something is lost is an event, if the model says what kind of thing it is."""
        if message and self.device.links[name].carries[message].payload:
            deed.events.add("a payload is dropped")

    # Faults.

    def _faults(self, world: World) -> Iterator[Outcome]:
        for number, group in enumerate(self.device.faults):
            for target in group.targets if world.left.get(number, 1) else ():
                if world.in_a_row.get((number, target), 1):
                    yield from self._fault(world, group.kind, target, number)
        for link in self.device.links.values():
            for kind, can in (
                ("lose", link.loses),
                ("duplicate", link.duplicates),
                ("corrupt", link.corrupts),
            ):
                if can and not any(_strikes(g, link.name, kind) for g in self.device.faults):
                    yield from self._fault(world, kind, link.name, -1)

    def _fault(self, world: World, kind: str, target: str, number: int) -> Iterator[Outcome]:
        if kind in ("power_cut", "reset"):
            for way, _ in enumerate(beginnings(self.device.chips[target], again=True)):
                deed = Deed(world.copy())
                self._strike(deed, number, target, way)
                yield self._ended(deed, f"{target} {kind}", False)
            return
        waits, link = world.waits[target], self.device.links[target]
        full = kind == "duplicate" and len(waits) == link.capacity
        if full or not holds_in(link.up_when, world):
            return
        for place in self._queues.places(world, target):
            one, deed = waits[place], Deed(world.copy())
            if kind == "corrupt" and one.message == "corrupted":
                continue
            left = {
                "lose": (),
                "duplicate": (one, one),
                "corrupt": (Waiting("corrupted", 0, one.late, one.age),),
            }[kind]
            deed.now.waits[target] = (*waits[:place], *left, *waits[place + 1 :])
            self._note_loss(deed, target, "" if kind == "duplicate" else one.message)
            self._pay(deed.now, number)
            if (number, target) in world.in_a_row:
                deed.now.in_a_row[number, target] -= 1
            # A link that loses any number of messages does so by nature: nobody strikes it.
            bounded = number in world.left or (number, target) in world.in_a_row
            yield self._ended(deed, f"{target} {kind}", kind == "lose" and not bounded)

    def _strike(self, deed: Deed, number: int, name: str, way: int) -> None:
        """Back to an initial state; variables afresh but persistent ones; links in emptied."""
        chip, world = self.device.chips[name], deed.now
        world.at[name], fresh = beginnings(chip, again=True)[way]
        for variable, values in fresh.items():
            world.holds[name, variable] = values
        self._clocks.begin(world, chip)
        for link in self.device.links.values():
            if link.receiver == name:
                self._empty(deed, link.name)
            elif link.sender == name:
                self._queues.begin_session(world, link.name)
        self._pay(world, number)

    def _pay(self, world: World, number: int) -> None:
        if number in world.left:
            world.left[number] -= 1


def _without(waits: tuple[Waiting, ...], place: int) -> tuple[Waiting, ...]:
    return (*waits[:place], *waits[place + 1 :])


def _hearing(chip: Chip, event: Event, view: View) -> list[Rule]:
    """The rules that an event sets off, in order."""
    rules = rules_in(chip, view.seen.at[chip.name])
    return [r for r in rules if any(one in (event, Event(event.name)) for one in r.trigger)]


def _failing(
    label: str, wrong: set[Failure], unprompted: bool, deed: Deed | None = None
) -> Outcome:
    nobody: frozenset[str] = frozenset()
    taken = frozenset(deed.taken) if deed is not None else frozenset()
    return Outcome(label, None, frozenset(wrong), nobody, nobody, unprompted, taken)


def wants_now(chip: Chip, rule: Rule, world: World) -> bool:
    """Whether a rule's condition holds; one that cannot be judged does not."""
    try:
        return wants(chip, rule, View(chip.name, world, world))
    except Forbidden:
        return False


def wants_or_fails(chip: Chip, rule: Rule, world: World) -> bool:
    """Whether a rule's condition holds, or cannot be judged."""
    try:
        return wants(chip, rule, View(chip.name, world, world))
    except Forbidden:
        return True


def _afresh(begun: Deed, cut: Cut) -> Deed:
    return Deed(begun.now.copy(), cut, events=set(begun.events))


def _strikes(group: FaultGroup, target: str, *kinds: str) -> bool:
    return group.kind in (kinds or ("power_cut", "reset")) and target in group.targets
