"""modecheck verifies how the firmware of a multi-chip device switches between modes.

The public API of the library is what `__all__` names. Modules are imported on first use.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from modecheck.checks.explored import Verdict
    from modecheck.checks.findings import Finding
    from modecheck.engine.contract.space import Space
    from modecheck.library import check, comparison, explore, load, pictures
    from modecheck.model.errors import InvalidInput, ModecheckError
    from modecheck.model.parts import Device
    from modecheck.review.device_comparison import DeviceComparison
    from modecheck.rigs.rig import machines
    from modecheck.scenario.telling import ToldStep
    from modecheck.supervision import check_supervision_timeout, smallest_supervision_timeout
    from modecheck.version import __version__ as __version__

__all__ = [
    "Device",
    "DeviceComparison",
    "Finding",
    "InvalidInput",
    "ModecheckError",
    "Space",
    "ToldStep",
    "Verdict",
    "check",
    "check_supervision_timeout",
    "comparison",
    "explore",
    "load",
    "machines",
    "pictures",
    "smallest_supervision_timeout",
]

_HOMES = {
    "__version__": "version",
    "DeviceComparison": "review.device_comparison",
    "Device": "model.parts",
    "Finding": "checks.findings",
    "InvalidInput": "model.errors",
    "ModecheckError": "model.errors",
    "Space": "engine.contract.space",
    "ToldStep": "scenario.telling",
    "Verdict": "checks.explored",
    "check_supervision_timeout": "supervision",
    "machines": "rigs.rig",
    "smallest_supervision_timeout": "supervision",
}


def __getattr__(name: str) -> Any:
    if name not in (*__all__, "__version__"):
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"modecheck.{_HOMES.get(name, 'library')}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
