"""Several devices find states together: each state belongs to one of them, by its hash.

Levels go in lock step, and so does each part of a level: every device expands some of its states
and writes what belongs to another one into its outbox; then each enters what the others wrote for
it, reading their memory, or a copy where it cannot. All devices do so at the same time, as launches
are not waited for before all have begun.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise

import numpy as np

from modecheck.engine.gpu.device_memory import DeviceArray, part_of
from modecheck.engine.gpu.finding_kernels import reached_from
from modecheck.engine.gpu.found_states import MOST_STATES, NOTHING, WORD, DeviceRoom
from modecheck.engine.gpu.gpu_crew import STATES_A_THREAD, Crew
from modecheck.engine.gpu.gpu_product_code import code_of, write_reached
from modecheck.engine.gpu.kernel_code import GpuKernel
from modecheck.engine.gpu.shared_table_kernels import COUNTERS, FOUND, IS_HALTED
from modecheck.engine.gpu.sharing_kernels import (
    ENTERED_TOGETHER,
    deal_states,
    enter_sent,
    find_and_send,
)
from modecheck.engine.native.machine import CompiledProduct

SENT_A_THREAD = 256
"""States for each other device that an outbox has room for, for each thread of the device."""
OUTBOX_SHARE = 32
"""Outbox and inbox take no more than this part of a device's memory each, if the steps of a state
are few enough."""
OUTBOX_USED = 0.8
"""Share of the outbox that is used, if states lead to as many others as those before."""
MOST_DEVICES = 128
"""Devices that work together; a byte tells them apart."""


class TeamDevice:
    """A device of a team: its room, what it writes for others, and copies of what these wrote for
    it. Raises `MemoryError`.
    """

    def __init__(self, rooms: Sequence[DeviceRoom], number: int, machine: CompiledProduct) -> None:
        self.room = room = rooms[number]
        device, words, most = room.device, room.words, machine.most_records
        self.number, self._devices = number, len(rooms)
        devices, copies = len(rooms), not all(device.can_read(one.device) for one in rooms)
        share = room.bound // OUTBOX_SHARE // WORD
        self.capacity = max(most, min(device.threads * SENT_A_THREAD, share // words // devices))
        self.outbox = self.inbox = NOTHING
        try:
            self.outbox = device.array(self.capacity * words * devices, np.uint64, None)
            if copies:
                self.inbox = device.array(self.outbox.count, np.uint64, None)
        except MemoryError:
            self.give_back()
            raise
        room.bound -= self.outbox.bytes + self.inbox.bytes
        local = {"waiting": most * words, "owners": most}
        find = code_of(machine, find_and_send, local, {reached_from: write_reached(machine)})
        self._find = device.loaded(find)
        waiting = {"waiting": ENTERED_TOGETHER * words}
        self._enter = device.loaded(GpuKernel(enter_sent, words, waiting))
        self._most_chunk = device.threads * STATES_A_THREAD
        self._expect(most)
        self._upto = 0
        self._arrived: list[DeviceArray] = []
        self.sent = [0] * devices

    def begin_part(self, end: int) -> None:
        """Begin to expand some of the first so many states."""
        room = self.room
        self.sent = [0] * self._devices
        self._upto = min(room.begun + self._chunk, end)
        work = self._upto - room.begun
        room.device.launch(
            self._find, work, room.shape, room.begun, self._upto, room.states, room.table,
            room.most, room.counters, self.number, self._devices, self.outbox,
        )  # fmt: skip

    def end_part(self) -> bool:
        """Wait for that, and do what has to be done to do it once more, if it could not be done;
        whether there is room.
        """
        room, counters = self.room, self.room.outcome()
        sent: list[int] = counters[COUNTERS:].tolist()
        if counters[IS_HALTED]:
            return room.grow(int(counters[FOUND]))
        self._expect(max(sent) / (self._upto - room.begun))
        if max(sent) > self.capacity:
            room.count = int(counters[FOUND])
            room.reset()
            return True
        room.expanded(self._upto, counters)
        self.sent = sent
        return True

    def _expect(self, sent: float) -> None:
        """Expand as many states at the same time as leave some of the outbox free, if each sends so
        many to whom most are sent.
        """
        expected = OUTBOX_USED * self.capacity / max(sent, 1)
        self._chunk = min(max(int(expected), 1), self._most_chunk)

    def receive(self, others: Sequence[TeamDevice]) -> None:
        """Begin to enter what others have sent here: it is read where they wrote it, or copied."""
        device, words, copied = self.room.device, self.room.words, 0
        self._arrived = []
        for other in others:
            size = other.sent[self.number] * words
            source = part_of(other.outbox, self.number * other.capacity * words, size)
            if size and not device.can_read(other.room.device):
                target = part_of(self.inbox, copied, size)
                device.bring(other.room.device, source, target)
                source, copied = target, copied + size
            if size:
                self._arrived.append(source)
        self._begin_entering()

    def _begin_entering(self) -> None:
        room = self.room
        for words in self._arrived:
            count = words.count // room.words
            room.device.launch(
                self._enter, count, room.shape, count, words, room.states, room.table, room.most,
                room.counters,
            )  # fmt: skip

    def end_receiving(self) -> bool:
        """Wait for that, and grow until it is done; whether there is room."""
        room = self.room
        while self._arrived:
            counters = room.outcome()
            if not counters[IS_HALTED]:
                room.count, self._arrived = int(counters[FOUND]), []
            elif room.grow(int(counters[FOUND])):
                self._begin_entering()
            else:
                return False
        room.reset()
        return True

    def give_back(self) -> None:
        """Give back what it wrote and what was written for it."""
        self.room.device.free(self.outbox, self.inbox)


class Team(Crew):
    """See `Crew`. Raises `MemoryError`."""

    def __init__(self, rooms: Sequence[DeviceRoom], machine: CompiledProduct) -> None:
        self.rooms, self._members = rooms, list[TeamDevice]()
        try:
            for number in range(len(rooms)):
                self._members.append(TeamDevice(rooms, number, machine))
        except MemoryError:
            self.give_back()
            raise

    def deal(self, before: DeviceRoom, layers: Sequence[int]) -> bool:
        """Enter the states that one device has found, depth by depth; whether there is room."""
        first, words = self._members[0], before.words
        kernel = GpuKernel(deal_states, words, {"waiting": words, "owners": 1})
        deal = before.device.loaded(kernel)
        for low, high in pairwise(accumulate(layers, initial=0)):
            counts = self.ends()
            for begin in range(low, high, first.capacity):
                end = min(begin + first.capacity, high)
                before.reset()
                before.device.launch(
                    deal, end - begin, before.shape, begin, end, before.states, before.counters,
                    len(self.rooms), first.outbox,
                )  # fmt: skip
                first.sent = before.outcome()[COUNTERS:].tolist()
                if self._exchange([first]):
                    return False
            self.end_level(counts)
            for room, count in zip(self.rooms, counts, strict=True):
                room.begun = count
        self.rooms[0].transitions = self.rooms[0].made_before = before.made_before
        self.rooms[0].reset()
        return True

    def expand(self, ends: Sequence[int]) -> DeviceRoom | None:
        pairs = zip(self._members, ends, strict=True)
        working = [(member, end) for member, end in pairs if member.room.begun < end]
        for member, end in working:
            member.begin_part(end)
        members = [member for member, _ in working]
        # All are waited for, also when one has no room.
        full = [member.room for member in members if not member.end_part()]
        full += [] if full else self._exchange(members)
        if sum(self.ends()) > MOST_STATES:
            full.append(self.rooms[0])
        return full[0] if full else None

    def _exchange(self, senders: Sequence[TeamDevice]) -> list[DeviceRoom]:
        """Enter what was sent, where it belongs; the rooms that are full."""
        for member in self._members:
            member.receive(senders)
        return [member.room for member in self._members if not member.end_receiving()]

    def disband(self) -> None:
        for member in self._members:
            member.give_back()
        super().disband()

    def give_back(self) -> None:
        """Give back what is not in the rooms."""
        for member in self._members:
            member.give_back()
