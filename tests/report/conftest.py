"""Fixtures of the tests of outputs."""

from __future__ import annotations

import pytest

from tests.cli.running import ROOT


@pytest.fixture
def at_root(monkeypatch: pytest.MonkeyPatch) -> None:
    """Run where the repository begins."""
    monkeypatch.chdir(ROOT)
