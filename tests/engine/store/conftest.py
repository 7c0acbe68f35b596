"""Stores answer from their files here, although what they hold would fit memory."""

from __future__ import annotations

import pytest

from modecheck.engine.store.store_explorer import StoreExplorer


@pytest.fixture(autouse=True)
def answered_from_files(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(StoreExplorer, "fits_memory", False)
