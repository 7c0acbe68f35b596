"""What came of writing and proving the C code of a device's chips."""

from __future__ import annotations

from dataclasses import dataclass, field

from modecheck.firmware.proof import Proof
from modecheck.firmware.random_walks import Walked
from modecheck.model.parts import Device


@dataclass(frozen=True, slots=True)
class ProvenChip:
    """A chip whose code was compared with it."""

    chip: str
    proof: Proof
    walked: Walked

    @property
    def holds(self) -> bool:
        return self.proof.holds and not self.walked.deviation


@dataclass(slots=True)
class FirmwareResult:
    """`refused` are the findings because of which nothing was written; `written` and `stale` are
    paths, the latter of `compared` files. It is `complete` if every state was explored.
    """

    device: Device
    complete: bool
    refused: tuple[str, ...] = ()
    written: tuple[str, ...] = ()
    stale: tuple[str, ...] = ()
    compared: int = 0
    proven: list[ProvenChip] = field(default_factory=list)

    @property
    def fine(self) -> bool:
        return not self.refused and not self.stale and all(one.holds for one in self.proven)
