"""Profiles of generated tests, and what all tests share.

Generated tests are deterministic: the same examples in every run. The profile `ci` tries more of
them; choose it with `HYPOTHESIS_PROFILE=ci`. Both show a failing example as it was found, at once;
the profile `shrink` takes minutes to make it small.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, Phase, settings

from modecheck.engine.contract.kept_files import kernels_folder

SLOW_IS_FINE = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
"""Reading a model from disk takes longer than hypothesis expects of one example."""

AT_ONCE = [Phase.explicit, Phase.generate]

for name, examples, phases in (
    ("quick", 7, AT_ONCE),
    ("ci", 100, AT_ONCE),
    ("shrink", 40, [*AT_ONCE, Phase.shrink]),
):
    settings.register_profile(
        name,
        max_examples=examples,
        phases=phases,
        deadline=None,
        derandomize=True,
        suppress_health_check=SLOW_IS_FINE,
    )
# What is compiled once is compiled once for all tests, wherever they keep the rest.
os.environ.setdefault("MODECHECK_KERNELS", str(kernels_folder()))
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))


@pytest.fixture(scope="session", autouse=True)
def _byte_code_of_programs(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Where Python is told to keep no byte code, programs that tests start keep theirs in a folder
    of this run: compiling all of modecheck takes twice as long as a small check.
    """
    if sys.dont_write_bytecode:
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(tmp_path_factory.mktemp("byte_code"))


@pytest.fixture(scope="module")
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Machine code of random products is not left in the user's cache."""
    os.environ["MODECHECK_CACHE"] = str(tmp_path_factory.mktemp("objects"))


@pytest.fixture
def interruptible() -> Iterator[None]:
    """Ctrl-C interrupts this process and those that it starts, also where the tests themselves run
    in the background of a shell without job control, which lets them discard it (POSIX.1-2017,
    Shell Command Language, 2.11, from memory). A program that is started has the default in place
    of a handler.
    """
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
