"""What the tests of reading share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.model.folder import Folder


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    """An empty folder to write models into."""
    return Folder(tmp_path)
