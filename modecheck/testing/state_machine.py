"""The rule-based state machine of hypothesis that compares an implementation with the model."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from modecheck.model.parts import Device
from modecheck.testing.adapter import Adapter
from modecheck.testing.conformance_run import ConformanceRun
from modecheck.testing.mismatches import Disagreement

try:
    from hypothesis import HealthCheck
    from hypothesis import settings as Settings  # noqa: N812 - used as a type
    from hypothesis import strategies as st
    from hypothesis.stateful import RuleBasedStateMachine, rule, run_state_machine_as_test
except ImportError as missing:
    raise ImportError(
        "modecheck.testing needs the package hypothesis: install it with 'pip install hypothesis'"
    ) from missing


def conformance(
    device: Device, chips: str | Sequence[str], make_adapter: Callable[[str], Adapter]
) -> type[RuleBasedStateMachine]:
    """A test of implementations of one or more chips of a device against the model.

    `make_adapter` is called once for each chip, with its name. What the model's chip does by itself
    (timers, internal rules) happens when the model says so; steps at which the model itself fails
    are left out, and so are power cuts in the middle of a rule. Hypothesis shrinks what fails. Its
    `TestCase` is collected by pytest. Raises `InvalidInput` for a chip that the device does not
    have.
    """
    bench = ConformanceRun(device, chips, make_adapter)
    # Drawn from a fixed alphabet, a choice means the same step wherever it stands: so hypothesis
    # can leave out the steps before it. Numbered among what is possible, it could not.
    possible = st.sampled_from(bench.alphabet).filter(lambda step: step in bench.choices)

    class Conformance(RuleBasedStateMachine):
        """A run: each step is one that the model allows at that point."""

        def __init__(self) -> None:
            super().__init__()
            bench.begin()

        @rule(step=possible)
        def take(self, step: str) -> None:
            """A step of the device, by its label; raises `Disagreement`."""
            bench.take(step)

    words = re.findall(r"[^\W_]+", " ".join([device.name, *bench.seats]))
    Conformance.__name__ = Conformance.__qualname__ = "".join(word.title() for word in words)
    return Conformance


def run_conformance(
    device: Device,
    chips: str | Sequence[str],
    make_adapter: Callable[[str], Adapter],
    *,
    settings: Settings | None = None,
) -> None:
    """Run the test at once. Raises the shortest `Disagreement` that it finds.

    Hypothesis shrinks a run by leaving steps out and changing them one by one, and can end at one
    that is not the shortest. So runs with fewer steps are tried, as many again, until none fails.
    """
    machine = conformance(device, chips, make_adapter)
    chosen = settings or Settings(deadline=None, suppress_health_check=list(HealthCheck))
    shortest: Disagreement | None = None
    while shortest is None or len(shortest.walk) > 1:
        try:
            run_state_machine_as_test(machine, settings=chosen)
        except Disagreement as found:
            shortest = found
            chosen = Settings(chosen, stateful_step_count=max(len(found.walk) - 1, 1))
        else:
            break
    if shortest is not None:
        raise shortest
