"""Open a store: make its folder, or see whether it belongs to this product and may be believed."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path

from modecheck.engine.contract.space import Limits
from modecheck.engine.native.machine import product_sources
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.store.folder_lock import is_locked
from modecheck.engine.store.folder_trust import StoreError, make_own, why_not_trusted
from modecheck.engine.store.journal import ABOUT, FORMAT, About
from modecheck.engine.store.pool import Workers, of_this_machine
from modecheck.engine.store.store_explorer import StoreExplorer
from modecheck.engine.store.store_space import StoreSpace
from modecheck.engine.store.swept_store import SweptStore
from modecheck.product.bit_packing import word_layout
from modecheck.product.ir import Product
from modecheck.version import __version__

PARTITIONS, PARTITIONS_A_WORKER, MOST_PARTITIONS = 16, 2, 240
"""Partitions of a store: so many that what one level adds to one of them fits memory, and that many
workers, of those that are there when it is made, have some each; a byte holds the number of one."""


def explore_in_store(
    product: Product,
    folder: Path,
    *,
    threads: int,
    limits: Limits,
    reporter: Reporter,
    workers: Workers | None = None,
) -> StoreSpace:
    """Explore into a folder, from where it was left, by some workers or so many processes. Raises
    `StoreError`, and `NotCompilableError` when the product has too much of something.
    """
    folder = make_own(folder)
    workers = workers or of_this_machine(threads)
    with only_user_of(folder):
        about = _need_own(folder, _about(product, workers.count))
        workers.need_ready(folder)
        own = folder / _name_of(product)
        explorer = StoreExplorer(product, own, about.partitions, threads, limits, reporter)
        explorer.workers = workers
        explorer.run()
        if explorer.path_files is None:
            return StoreSpace(explorer)
        return SweptStore(explorer, explorer.path_files)


def _name_of(product: Product) -> str:
    """The folder of a variant: its choices, as far as they fit a file's name; with observers the
    first of these as well.
    """
    choices, observers = product.device.choices, [one.name for one in product.observers]
    name = re.sub(r"[^\w=-]+", "_", "-".join(filter(None, [choices, *observers[:1]])))[:80]
    told = hashlib.sha256("\n".join([choices, *observers]).encode()).hexdigest()[:6]
    return f"{name}-{told}" if name else "device"


def _about(product: Product, workers: int) -> About:
    device = product.device
    facts = FORMAT, __version__, product_sources(), sorted(device.digests.values())
    digest = hashlib.sha256(repr(facts).encode("utf-8", "surrogateescape")).hexdigest()
    partitions = min(max(PARTITIONS, PARTITIONS_A_WORKER * workers), MOST_PARTITIONS)
    return About(digest, device.name, __version__, word_layout(product.fields).words, partitions)


def _need_own(folder: Path, about: About) -> About:
    """Write what the store is about, or see that it is the same as what is written there, which
    tells the number of partitions.
    """
    path = folder / ABOUT
    try:
        given = json.loads(path.read_bytes())
    except FileNotFoundError:
        if any(entry.name != LOCK for entry in folder.iterdir()):
            raise StoreError(folder, "it holds other files, and no store") from None
        beside = path.with_suffix(".part")
        beside.write_text(json.dumps(asdict(about), indent=1) + "\n", encoding="utf-8")
        os.replace(beside, path)
        return about
    except (OSError, ValueError) as error:
        raise StoreError(folder, f"{ABOUT} cannot be read") from error
    found = given.get("digest") if isinstance(given, dict) else None
    if found != about.digest:
        name = given.get("device") if isinstance(given, dict) else None
        raise StoreError(
            folder,
            "it holds another model, or was made by another version of modecheck: "
            f"{name!r}, digest {str(found)[:12]}, and not {about.device!r}, digest "
            f"{about.digest[:12]}",
        )
    partitions = given.get("partitions")
    if not isinstance(partitions, int) or not 1 <= partitions <= MOST_PARTITIONS:
        raise StoreError(folder, f"{ABOUT} cannot be read")
    return replace(about, partitions=partitions)


LOCK = "lock"


@contextmanager
def only_user_of(folder: Path) -> Iterator[None]:
    """Let nobody else work in a folder; what lies in it is run, so nobody else may write it
    either.
    """
    try:
        found = folder.stat()
        handle = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise StoreError(folder, (error.strerror or str(error)).lower()) from error
    try:
        if reason := why_not_trusted(found):
            raise StoreError(folder, reason)
        if not is_locked(handle):
            raise StoreError(folder, "another modecheck is working in it")
        yield
    finally:
        os.close(handle)
