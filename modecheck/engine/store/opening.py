"""Open a store: make its folder, or see whether it belongs to this product and may be believed."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from modecheck.engine.contract.kept_files import FOR_OWNER_ALONE
from modecheck.engine.contract.space import Limits
from modecheck.engine.native.machine import product_compiler
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.store.folder_trust import StoreError, why_not_trusted
from modecheck.engine.store.journal import ABOUT, FORMAT, About
from modecheck.engine.store.store_explorer import StoreExplorer
from modecheck.engine.store.store_space import StoreSpace
from modecheck.engine.store.swept_store import SweptStore
from modecheck.product.bit_packing import word_layout
from modecheck.product.ir import Product
from modecheck.version import __version__

PARTITIONS = 16
"""Partitions of a store: so many that what one level adds to one of them fits memory."""


def explore_in_store(
    product: Product, folder: Path, *, threads: int, limits: Limits, reporter: Reporter
) -> StoreSpace:
    """Explore into a folder, from where it was left. Raises `StoreError`, and `NotCompilableError`
    when the product has too much of something.
    """
    about = _about(product)
    with _alone_in(folder):
        _need_own(folder, about)
        own = folder / _name_of(product)
        explorer = StoreExplorer(product, own, about.partitions, threads, limits, reporter)
        explorer.run()
    if explorer.path_files is None:
        return StoreSpace(explorer)
    return SweptStore(explorer, explorer.path_files)


def _name_of(product: Product) -> str:
    """The folder of a variant: its choices, as far as they fit a file's name."""
    choices = product.device.choices
    name = re.sub(r"[^\w=-]+", "_", choices)[:80]
    told = hashlib.sha256(choices.encode()).hexdigest()[:6]
    return f"{name}-{told}" if choices else "device"


def _about(product: Product) -> About:
    device = product.device
    facts = FORMAT, __version__, product_compiler(), sorted(device.digests.values())
    digest = hashlib.sha256(repr(facts).encode("utf-8", "surrogateescape")).hexdigest()
    return About(digest, device.name, __version__, word_layout(product.fields).words, PARTITIONS)


def _need_own(folder: Path, about: About) -> None:
    """Write what the store is about, or see that it is the same as what is written there."""
    path = folder / ABOUT
    try:
        given = json.loads(path.read_bytes())
    except FileNotFoundError:
        if any(entry.name != LOCK for entry in folder.iterdir()):
            raise StoreError(folder, "it holds other files, and no store") from None
        beside = path.with_suffix(".part")
        beside.write_text(json.dumps(asdict(about), indent=1) + "\n", encoding="utf-8")
        os.replace(beside, path)
        return
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


LOCK = "lock"


@contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Let nobody else work in a folder, which is made; what lies in it is run, so nobody else may
    write it either.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=FOR_OWNER_ALONE)
        found = folder.stat()
        handle = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise StoreError(folder, (error.strerror or str(error)).lower()) from error
    try:
        if reason := why_not_trusted(found):
            raise StoreError(folder, reason)
        _lock(handle, folder)
        yield
    finally:
        os.close(handle)


def _lock(handle: int, folder: Path) -> None:
    try:
        import fcntl
    except ImportError:  # not there on Windows, where two at once must be avoided by whoever calls
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise StoreError(folder, "another modecheck is working in it") from error
