"""What all tests of the editor share."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator

import pytest


@pytest.fixture(scope="module", autouse=True)
def _no_loop_of_others() -> Iterator[None]:
    """The browser of other tests in this process keeps an event loop running, in which these tests
    could not run their own; it is put aside.
    """
    running = asyncio._get_running_loop()
    asyncio._set_running_loop(None)
    yield
    asyncio._set_running_loop(running)
