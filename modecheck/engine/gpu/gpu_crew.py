"""Who expands the states of a level: one device, or several (`gpu_team.py`)."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence

from modecheck.engine.gpu.finding_kernels import find_states, reached_from
from modecheck.engine.gpu.found_states import DeviceRoom
from modecheck.engine.gpu.gpu_product_code import code_of, write_reached
from modecheck.engine.gpu.shared_table_kernels import FOUND, IS_HALTED
from modecheck.engine.native.machine import CompiledProduct

STATES_A_THREAD = 64
"""States that a thread expands in one launch: few enough that a launch takes some hundredths of a
second."""


class Crew(ABC):
    """Rooms of devices, each with a share of the states."""

    rooms: Sequence[DeviceRoom]

    def ends(self) -> list[int]:
        """How many states each room has."""
        return [room.count for room in self.rooms]

    def is_before(self, ends: Sequence[int]) -> bool:
        """Whether some room has not expanded its first so many states."""
        return any(room.begun < end for room, end in zip(self.rooms, ends, strict=True))

    @abstractmethod
    def expand(self, ends: Sequence[int]) -> DeviceRoom | None:
        """Expand some more of the first so many states of the rooms. A room that is full, and
        cannot grow, is the result.
        """

    def end_level(self, ends: Sequence[int]) -> int:
        """What was found behind the first so many states is the next level; how many there are."""
        sizes = [room.count - end for room, end in zip(self.rooms, ends, strict=True)]
        for room, size in zip(self.rooms, sizes, strict=True):
            room.layers.append(size)
            room.made_before = room.transitions
        return sum(sizes)

    def disband(self) -> None:
        """Give back what only finding needs."""
        for room in self.rooms:
            room.device.free(room.counters)


class SingleDevice(Crew):
    """One device, which has all states."""

    def __init__(self, room: DeviceRoom, machine: CompiledProduct) -> None:
        self.rooms = (room,)
        waiting = {"waiting": machine.most_records * room.words}
        find = code_of(machine, find_states, waiting, {reached_from: write_reached(machine)})
        self._find = room.device.loaded(find)
        self._chunk = room.device.threads * STATES_A_THREAD

    def expand(self, ends: Sequence[int]) -> DeviceRoom | None:
        (room,) = self.rooms
        upto = min(room.begun + self._chunk, ends[0])
        work = upto - room.begun
        if not room.make_ready(work):
            return room
        rooms = (room.states, room.table, room.most, room.counters)
        room.device.launch(self._find, work, room.shape, room.begun, upto, *rooms)
        counters = room.outcome()
        if counters[IS_HALTED]:
            return None if room.grow(int(counters[FOUND])) else room
        room.expanded(upto, counters)
        return None
