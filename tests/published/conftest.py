"""The machines of models/published/, each explored once in a session.

The marks beside the values say how they were obtained before this tool existed:
PC: a published value, read and reproduced by brute force; MC: a published value, recalled from
memory and reproduced by brute force; C: brute force alone, an anchor against regressions and no
outside evidence; P: read and not computed; M: from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TypeAlias

import pytest

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.search.exploration import PlainExploration
from modecheck.engine.search.explored_space import Exploration
from modecheck.model.devices import read_device

MODELS = Path(__file__).parents[2] / "models" / "published"

Checked: TypeAlias = Callable[[str], Verdict]
Explored: TypeAlias = Callable[[str], PlainExploration]


@pytest.fixture(scope="session")
def models() -> Path:
    """The folder of the bundled standard machines."""
    return MODELS


@pytest.fixture(scope="session")
def checked() -> Checked:
    """Checks a model of models/published/ by its name, completely and once."""

    @cache
    def completely(name: str) -> Verdict:
        plain = Search(engine="plain")
        verdict = check([read_device(str(MODELS / f"{name}.yaml"))], search=plain)
        assert verdict.complete
        return verdict

    return completely


@pytest.fixture(scope="session")
def explored(checked: Checked) -> Explored:
    """The exploration behind that check."""

    def of(name: str) -> PlainExploration:
        exploration = checked(name).explored[0].exploration
        assert isinstance(exploration, Exploration)
        return exploration

    return of
