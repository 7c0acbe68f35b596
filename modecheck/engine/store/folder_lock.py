"""A lock on a file, which is given back when its process ends, however that is."""

from __future__ import annotations


def is_locked(handle: int) -> bool:
    """Lock an open file, whether that is possible: nobody else has locked it. Where there are no
    such locks, as on Windows, whoever calls must see to that.
    """
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
