"""The canonical names of files, remembered: a request asks for the same few hundreds of times."""

from __future__ import annotations

from functools import lru_cache

from modecheck.model.text_files import real_path as real_path_of

MOST_REMEMBERED = 10_000


@lru_cache(maxsize=MOST_REMEMBERED)
def real_path(path: str) -> str:
    """As `modecheck.model.text_files` has it, when it was first asked for."""
    return real_path_of(path)


def forget_real_paths() -> None:
    """Files may have become links."""
    real_path.cache_clear()
