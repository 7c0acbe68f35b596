"""What a worker is asked to do. A scheduler imports it, too, so it loads next to nothing."""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import sys
import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import modecheck
from modecheck.engine.cluster.parcels import Parcel, packed, unpacked
from modecheck.engine.contract.kept_files import OWNERS_ARE_KNOWN
from modecheck.engine.contract.memory import available_memory
from modecheck.engine.store.folder_trust import why_not_trusted
from modecheck.engine.store.process_caches import forget_what_was_loaded

MARK = ".cluster-check-"
"""What the names of files begin with by which workers see whether they share a folder."""


USED = ("model", "product", "engine")
"""The layers that tasks may use."""


class UnlikeClientError(Exception):
    """A worker came that is not as those that were checked at the start."""


@cache
def text_digest() -> str:
    """A hash of all modules that tasks may use: a version does not change with every edit."""
    digest = hashlib.sha256(repr(sys.version_info[:2]).encode())
    root = Path(modecheck.__file__).parent
    for path in sorted(path for room in USED for path in (root / room).rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


_runs: dict[str, str] = {}
"""For each folder the run of modecheck that was served last."""


def do_task(folder: str, run: str, digest: str, sent: Parcel) -> Parcel:
    """Call a function with arguments, both in a parcel, for a run of modecheck that works in the
    store `folder`. Raises `UnlikeClientError`, and `StoreError` where others may write.
    """
    if text_digest() != digest:
        raise UnlikeClientError(f"user {_user()} on {os.uname().nodename}")
    _forget_other_runs(folder, run)
    function, arguments = unpacked(Path(folder), sent)
    return packed(Path(folder), function(*arguments))


def _forget_other_runs(folder: str, run: str) -> None:
    """What was loaded for an earlier run may be of another product that was in the same folder."""
    if _runs.get(folder) == run:
        return
    forget_what_was_loaded()
    _runs[folder] = run


@dataclass(frozen=True, slots=True)
class WorkerFacts:
    """What a worker says of itself; `trouble` is why it cannot use the folder, or nothing. `free`
    and `memory` are in bytes; `features` are those of the processor.
    """

    host: str
    user: int
    digest: str
    llvm: str
    processor: str
    features: frozenset[str]
    memory: int
    free: int
    trouble: str


def facts(folder: str) -> WorkerFacts:
    """What this process is, and whether it may work in a folder."""
    import llvmlite
    import llvmlite.binding as llvm

    free, trouble = 0, _why_not(folder)
    if not trouble:
        free = shutil.disk_usage(folder).free
    features = llvm.get_host_cpu_features()
    return WorkerFacts(
        host=os.uname().nodename,
        user=_user(),
        digest=text_digest(),
        llvm=f"{llvmlite.__version__}",
        processor=llvm.get_host_cpu_name(),
        features=frozenset(name for name, has in features.items() if has),
        memory=available_memory(),
        free=free,
        trouble=trouble,
    )


def _user() -> int:
    return os.geteuid() if OWNERS_ARE_KNOWN else 0


def _why_not(folder: str) -> str:
    try:
        return why_not_trusted(Path(folder).stat())
    except OSError as error:
        return (error.strerror or str(error)).lower()


def clock(_: str = "") -> float:
    """Seconds since 1970, by the clock of this machine."""
    return time.time()


def leave_mark(folder: str, run: str) -> tuple[str, str]:
    """Write a file of its own and rename it: its name, and why that failed."""
    name = f"{MARK}{run}-{secrets.token_hex(8)}"  # containers may have equal names and numbers
    path = Path(folder) / name
    try:
        beside = path.with_name(f"{name}.part")
        with open(beside, "x", encoding="utf-8") as file:
            file.write(name)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except OSError as error:
        return name, (error.strerror or str(error)).lower()
    return name, ""


def unseen(folder: str, names: list[str]) -> list[str]:
    """Which of these files cannot be read, or hold something else."""
    missing = []
    for name in names:
        try:
            if (Path(folder) / name).read_text(encoding="utf-8") == name:
                continue
        except (OSError, ValueError):
            pass
        missing.append(name)
    return missing
