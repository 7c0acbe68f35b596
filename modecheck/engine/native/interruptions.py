"""Notice Ctrl-C also where Python cannot raise it.

Where C calls back into Python, as when an object is freed, an exception that is raised there is
written to standard error and forgotten. So it is noted, and raised again where it can be.
"""

from __future__ import annotations

import signal
import threading
from types import FrameType


class Interruptions:
    """A context that notes interruptions while it lasts. `raise_noted` raises what was forgotten;
    it is a matter of the main thread, as signals are.
    """

    def __init__(self) -> None:
        self._noted = False
        self._listens = False

    def __enter__(self) -> Interruptions:  # noqa: PYI034 - nobody derives from it
        ours = threading.current_thread() is threading.main_thread()
        # Whoever has a handler of his own is told by it.
        self._listens = ours and signal.getsignal(signal.SIGINT) is signal.default_int_handler
        if self._listens:
            signal.signal(signal.SIGINT, self._note)
        return self

    def __exit__(self, *_: object) -> None:
        if self._listens:
            signal.signal(signal.SIGINT, signal.default_int_handler)

    def _note(self, number: int, frame: FrameType | None) -> None:
        self._noted = True
        signal.default_int_handler(number, frame)

    def raise_noted(self) -> None:
        """Raise `KeyboardInterrupt` if one came, and count it as raised."""
        if self._noted:
            self._noted = False
            raise KeyboardInterrupt
