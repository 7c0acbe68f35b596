"""modecheck verifies how the firmware of a multi-chip device switches between modes."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from modecheck.model.devices import read_device
    from modecheck.rigs.rig import machines

__all__ = ["machines", "read_device"]
__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """What a program uses is imported when it is asked for: the command does not need it."""
    if name == "machines":
        from modecheck.rigs.rig import machines

        return machines
    if name == "read_device":
        from modecheck.model.devices import read_device

        return read_device
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
