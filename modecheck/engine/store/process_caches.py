"""What a process has loaded from the folders of stores, to be forgotten all at once."""

from __future__ import annotations

import sys

STORE = "modecheck.engine.store."


def forget_what_was_loaded() -> None:
    """Empty the caches of all modules of the store: another product may be in the same folder now,
    in files of the same names.
    """
    for name, module in list(sys.modules.items()):
        if name.startswith(STORE):
            for value in list(vars(module).values()):
                clear = getattr(value, "cache_clear", None)
                if clear is not None:
                    clear()
