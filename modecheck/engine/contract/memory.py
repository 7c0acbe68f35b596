"""How much memory the process holds, and how much it could still have."""

from __future__ import annotations

import os
import sys


def resident_memory() -> int:
    """Bytes of memory that the process holds now."""
    try:
        with open("/proc/self/statm", encoding="ascii") as file:
            return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except OSError:
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return used if sys.platform == "darwin" else used * 1024


def available_memory() -> int:
    """Bytes that can still be had: of the machine, or of the container that limits it."""
    pages = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    free = pages
    try:
        with open("/proc/meminfo", encoding="ascii") as file:
            for line in file:
                if line.startswith("MemAvailable:"):
                    free = int(line.split()[1]) * 1024
    except OSError:
        pass
    return min(free, _container_limit())


def _container_limit() -> int:
    try:
        with open("/sys/fs/cgroup/memory.max", encoding="ascii") as file:
            text = file.read().strip()
        with open("/sys/fs/cgroup/memory.current", encoding="ascii") as file:
            used = int(file.read())
        return sys.maxsize if text == "max" else max(int(text) - used, 0)
    except (OSError, ValueError):
        return sys.maxsize
