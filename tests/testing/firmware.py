"""The receiver in C as a shared library, and its adapters."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from pathlib import Path

from modecheck.testing import Delivery, Event, Output, Signal, Value

SOURCE = Path(__file__).parent / "receiver.c"
STATES = ("on_air", "changing", "on_cable")
"""In the order of the firmware's own numbers."""


def compiler() -> str | None:
    """The system's C compiler."""
    return next((found for name in ("cc", "gcc", "clang") if (found := shutil.which(name))), None)


def build(folder: Path, *flags: str) -> ctypes.CDLL:
    """The firmware as a library that is loaded."""
    found, target = compiler(), folder / "receiver.so"
    assert found is not None
    options = ["-shared", "-fPIC", "-Wall", "-Wextra", "-Werror", *flags]
    subprocess.run([found, *options, "-o", str(target), str(SOURCE)], check=True)
    library = ctypes.CDLL(str(target))
    library.receiver_contact.argtypes = [ctypes.c_bool]
    library.receiver_picture.argtypes = [ctypes.c_bool, ctypes.c_bool]
    library.receiver_sounding.restype = ctypes.c_bool
    return library


class Heard:
    """The firmware as a listener knows it: whether it sounds."""

    def __init__(self, library: ctypes.CDLL) -> None:
        self._library = library
        self.resets = 0

    def reset(self) -> None:
        self.resets += 1
        self._library.receiver_reset()

    def give(self, event: Event) -> None:
        match event:
            case Signal("plugged_in"):
                self._library.receiver_contact(True)
            case Signal("pulled_out"):
                self._library.receiver_contact(False)
            case Delivery("picture", link, value):
                self._library.receiver_picture(link == "cord", value == "pressed")
            case _:
                raise AssertionError(event)

    def outputs(self) -> list[Output]:
        return []  # the receiver sends nothing

    def state(self) -> tuple[str | None, dict[str, Value]]:
        return None, {"sounding": self._library.receiver_sounding()}


class LookedInto(Heard):
    """The firmware with its state, as a debugger shows it."""

    def state(self) -> tuple[str | None, dict[str, Value]]:
        return STATES[self._library.receiver_state()], super().state()[1]
