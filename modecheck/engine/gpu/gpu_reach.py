"""Find every reachable state on one GPU or several, level by level; limits, progress, interruption.

A launch expands a part of a level. When room runs out, more is made, and the same part is expanded
once more: entering a state again changes nothing. One device begins; when there are many states,
they are dealt out to all (`gpu_team.py`).
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator, Sequence

import numpy as np

from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import INTERRUPTION, Limits
from modecheck.engine.gpu.device_memory import DeviceFailed, KernelDevice
from modecheck.engine.gpu.found_states import MOST_STATES, DeviceRoom, FoundStates, states_that_fit
from modecheck.engine.gpu.gpu_crew import Crew, SingleDevice
from modecheck.engine.gpu.gpu_team import MOST_DEVICES, Team
from modecheck.engine.language.gpu_intrinsics import MOST_AT_ONCE
from modecheck.engine.native.frame import NotCompilableError
from modecheck.engine.native.interruptions import Interruptions
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.search.exploration import Reporter

ROOM_A_THREAD = 5_120
"""States for which there is room at first, for each thread of the device, where memory abounds:
more than a billion on a large device, the clearing of whose table takes some thousandths of a
second. Where nothing has to be filled anew, nothing is faster."""
FIRST_SHARE = 5
"""The first room is no more than this part of what fits, and of long states less: when it runs out,
there has to be room for a second array of all."""
LESS = 4
"""How many times less room is asked for where there is not as much as was free before."""
MOST_FIRST = 0.9
"""The first room of several devices leaves some of their memory for what they write each other."""
LEFT_FREE = 0.04
"""Share of the device's memory that is never taken: the driver needs some for each launch."""
SPREAD_FROM = 1 << 26
"""States from which on several devices find more in a second than one: with fewer of them, levels
are so small that waiting for each other takes longer."""
BEGUN_AFTER = 1.0
"""Seconds that one device works before others are begun to be used, which takes about as long."""


class GpuReach:
    """Explores a product breadth first on devices. There is room for `room` states at first, if
    that is told. From `spread_from` states on all devices share them, if that is told; otherwise,
    when it pays. Raises `NotCompilableError` when a state has too many steps, and `MemoryError`.
    """

    def __init__(
        self,
        devices: Sequence[KernelDevice],
        machine: CompiledProduct,
        limits: Limits,
        reporter: Reporter,
        *,
        room: int | None = None,
        spread_from: int | None = None,
    ) -> None:
        if machine.most_records > MOST_AT_ONCE:
            raise NotCompilableError(f"a state can have more than {MOST_AT_ONCE:,} steps")
        self._devices, self._machine = devices[:MOST_DEVICES], machine
        self._limits, self._reporter = limits, reporter
        self._began = time.monotonic() if limits.since is None else limits.since
        self._limit = None if limits.memory is None else limits.memory // len(self._devices)
        self._spread_from = spread_from
        self._taken: list[DeviceRoom | Team] = []
        starts = machine.starts if limits.states is None else machine.starts[: limits.states + 1]
        self._found = FoundStates(machine.layout, (), [len(starts)])
        with self._giving_back():
            own = self._room(devices[0], len(starts), room=room)
            self._crew: Crew = SingleDevice(own, machine)
            own.begin(np.array(starts, np.uint64).reshape(len(starts), -1))

    @contextlib.contextmanager
    def _giving_back(self) -> Iterator[None]:
        """Where something goes wrong inside, give back everything that was taken."""
        try:
            yield
        except (MemoryError, DeviceFailed):
            self._give_back(())
            raise

    def _give_back(self, but: Sequence[DeviceRoom]) -> None:
        """Give back everything but some rooms, as far as devices can still be asked."""
        for one in self._taken:
            if one not in but:
                with contextlib.suppress(DeviceFailed):
                    one.give_back()

    def _room(
        self, device: KernelDevice, known: int, *, room: int | None = None, ours: int = 0
    ) -> DeviceRoom:
        """Room for as many states as is fitting, or as are told, but for more than are known, where
        the device has so many bytes of ours already.
        """
        free = int(device.free_bytes() * (1 - LEFT_FREE))
        bound = free if self._limit is None else min(free, self._limit - ours)
        words = self._machine.layout.words
        fits = states_that_fit(bound, words)
        share = max(FIRST_SHARE, words)
        first = min(device.threads * ROOM_A_THREAD, fits // share, MOST_STATES)
        first = first if room is None else min(room, int(fits * MOST_FIRST))
        most = max(first, min(2 * known, int(fits * MOST_FIRST)), 1)
        own = self._room_of(device, most, max(known, 1), bound)
        own.is_limited = bound < free
        self._taken.append(own)
        return own

    def _room_of(self, device: KernelDevice, most: int, least: int, bound: int) -> DeviceRoom:
        """Room for so many states, or for fewer if others take memory at the same time."""
        while True:
            try:
                return DeviceRoom(device, self._machine.layout, most, bound, len(self._devices))
            except MemoryError:
                if most <= least:
                    raise
                most = max(most // LESS, least)

    def run(self) -> FoundStates:
        """Everything that is reachable within the limits. Raises `MemoryError` when not even the
        first states have room, and `DeviceFailed`.
        """
        found, self._run_since = self._found, time.monotonic()
        with Interruptions() as interruptions:
            self._interruptions = interruptions
            with self._giving_back():
                try:
                    self._levels()
                except KeyboardInterrupt:
                    found.stopped_by = INTERRUPTION
        found.rooms = self._crew.rooms
        self._give_back(found.rooms)
        self._crew.disband()
        return found

    def _levels(self) -> None:
        found, layer = self._found, self._found.count
        while layer and not found.stopped_by:
            self._spread_if_it_pays()
            layer = self._level()
            found.expanded_levels += not found.stopped_by
            if layer:
                found.layers.append(layer)
            if self._limits.states is not None and found.count > self._limits.states:
                found.stopped_by = self._limits.reached_states

    def _level(self) -> int:
        """Expand the states found last; how many there are of the next depth."""
        ends = self._crew.ends()
        while not self._found.stopped_by and self._crew.is_before(ends):
            full = self._crew.expand(ends)
            if full is not None and self._is_alone and self._spread():
                ends = self._crew.ends()
            elif full is not None:
                self._found.stopped_by = self._why_no_room(full)
            self._look_around(ends)
        return self._crew.end_level(ends)

    def _spread_if_it_pays(self) -> None:
        if self._is_alone and self._pays_to_spread() and not self._spread():
            (room,) = self._crew.rooms
            room.make_table()
            self._devices = self._devices[:1]

    def _pays_to_spread(self) -> bool:
        count = self._found.count
        if self._spread_from is not None:
            return count >= self._spread_from
        is_late = time.monotonic() - self._run_since > BEGUN_AFTER
        return count >= SPREAD_FROM and (is_late or all(one.is_begun for one in self._devices))

    @property
    def _is_alone(self) -> bool:
        """Whether one device works and others could."""
        return len(self._crew.rooms) == 1 < len(self._devices)

    def _spread(self) -> bool:
        """Deal out all states to all devices, but for those of a level that was begun; whether that
        is possible. If not, the table is gone all the same.
        """
        (before,) = self._crew.rooms
        before.device.free(before.table)
        taken, devices = len(self._taken), len(self._devices)
        share, room = -(-before.count // devices), -(-before.most // devices)
        try:
            rooms = [
                self._room(device, share, room=room, ours=0 if number else before.states.bytes)
                for number, device in enumerate(self._devices)
            ]
            with phase("making code for the GPU"):
                team = Team(rooms, self._machine)
            self._taken.append(team)
            is_done = team.deal(before, self._found.layers)
        except MemoryError:
            is_done = False
        if not is_done:
            for one in self._taken[taken:]:
                one.give_back()
            return False
        self._crew = team
        rooms[0].bound += before.states.bytes
        before.give_back()
        return True

    def _why_no_room(self, room: DeviceRoom) -> str:
        if room.most >= MOST_STATES or sum(one.count for one in self._crew.rooms) > MOST_STATES:
            return f"the bound of {MOST_STATES:,} states of an exploration on a GPU"
        if room.is_limited:
            return self._limits.reached_memory
        return f"lack of memory of {room.device.name}"

    def _look_around(self, ends: Sequence[int]) -> None:
        self._interruptions.raise_noted()
        found, limits, rooms = self._found, self._limits, self._crew.rooms
        if limits.seconds is not None and time.monotonic() - self._began > limits.seconds:
            found.stopped_by = found.stopped_by or limits.reached_seconds
        self._reporter.progress(
            states=sum(room.count for room in rooms),
            transitions=sum(room.transitions for room in rooms),
            frontier=sum(end - room.begun for room, end in zip(rooms, ends, strict=True)),
            depth=len(found.layers) - 1,
        )
