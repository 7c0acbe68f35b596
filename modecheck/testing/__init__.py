"""Tests a team's own implementation of a chip against the model, with hypothesis.

Write an `Adapter` for the implementation, then let pytest collect the class that `conformance`
makes, or call `run_conformance`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from modecheck.testing.adapter import (
    Adapter,
    Delivery,
    Event,
    InternalStep,
    Output,
    Restart,
    Sent,
    Sight,
    Signal,
    Signalled,
    StatefulAdapter,
    TimerExpired,
    Value,
)
from modecheck.testing.conformance_run import ConformanceRun
from modecheck.testing.mismatches import AdapterError, Disagreement

if TYPE_CHECKING:
    from modecheck.testing.state_machine import conformance, run_conformance

__all__ = [
    "Adapter",
    "AdapterError",
    "ConformanceRun",
    "Delivery",
    "Disagreement",
    "Event",
    "InternalStep",
    "Output",
    "Restart",
    "Sent",
    "Sight",
    "Signal",
    "Signalled",
    "StatefulAdapter",
    "TimerExpired",
    "Value",
    "conformance",
    "run_conformance",
]


def __getattr__(name: str) -> object:
    """What needs hypothesis is imported when it is asked for: an adapter alone does not need it."""
    if name in ("conformance", "run_conformance"):
        from modecheck.testing import state_machine

        return getattr(state_machine, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
