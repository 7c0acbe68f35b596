"""The worked example: firmware in C is held against the starter's model."""

from __future__ import annotations

import ctypes
from collections import deque
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings

from modecheck.model.devices import read_device
from modecheck.testing import Adapter, ConformanceRun, Disagreement, run_conformance
from tests.testing.firmware import Heard, LookedInto, build, compiler

STARTER = Path(__file__).parents[2] / "models" / "starter" / "device.yaml"

pytestmark = pytest.mark.skipif(compiler() is None, reason="there is no C compiler")

SHRINKING = settings(
    max_examples=200,
    stateful_step_count=12,
    phases=[Phase.generate, Phase.shrink],
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture(scope="module")
def right(tmp_path_factory: pytest.TempPathFactory) -> ctypes.CDLL:
    """The firmware without its mistake."""
    return build(tmp_path_factory.mktemp("rear"))


@pytest.fixture(scope="module")
def wrong(tmp_path_factory: pytest.TempPathFactory) -> ctypes.CDLL:
    """The firmware that forgets a cable that is pulled out again at once."""
    return build(tmp_path_factory.mktemp("wrong"), "-DHOT_PLUG_MISTAKE")


@pytest.mark.thorough
def test_the_right_firmware_passes_a_thousand_examples(right: ctypes.CDLL) -> None:
    """State and sound are those of the model in every step of 1000 runs."""
    firmware = LookedInto(right)
    run_conformance(
        read_device(str(STARTER)),
        "receiver",
        lambda _: firmware,
        settings=settings(SHRINKING, max_examples=1000),
    )
    assert firmware.resets >= 1000


def fewest_steps(adapter: Adapter, inside: LookedInto) -> int:
    """After how many steps a run can first tell the implementation from its model, found breadth
    first: a run goes on only from states of both that no shorter one has come to.
    """
    bench = ConformanceRun(read_device(str(STARTER)), "receiver", lambda _: adapter)
    bench.begin()
    known = {(bench.state, str(inside.state()))}
    waiting: deque[tuple[str, ...]] = deque([()])
    while waiting:
        path = waiting.popleft()
        _walk(bench, path)
        for choice in list(bench.choices):
            _walk(bench, path)
            try:
                bench.take(choice)
            except Disagreement:
                return len(path) + 1
            both = (bench.state, str(inside.state()))
            if both not in known:
                known.add(both)
                waiting.append((*path, choice))
    raise AssertionError("the firmware is rear")


def _walk(bench: ConformanceRun, path: tuple[str, ...]) -> None:
    bench.begin()
    for choice in path:
        bench.take(choice)


@pytest.mark.parametrize(("kind", "steps"), [(Heard, 4), (LookedInto, 2)])
def test_the_mistake_is_found_and_shrunk_to_the_fewest_steps(
    wrong: ctypes.CDLL, kind: type[Heard], steps: int
) -> None:
    """Whether only the sound is compared or the state as well, no shorter run shows it."""
    with pytest.raises(Disagreement) as found:
        run_conformance(
            read_device(str(STARTER)), "receiver", lambda _: kind(wrong), settings=SHRINKING
        )
    assert len(found.value.walk) == steps
    assert fewest_steps(kind(wrong), LookedInto(wrong)) == steps


def test_shorter_runs_are_looked_for_where_shrinking_ends_too_early(wrong: ctypes.CDLL) -> None:
    """Even without any shrinking by hypothesis the run told is one of the shortest."""
    with pytest.raises(Disagreement) as found:
        run_conformance(
            read_device(str(STARTER)),
            "receiver",
            lambda _: Heard(wrong),
            settings=settings(SHRINKING, phases=[Phase.generate]),
        )
    assert len(found.value.walk) == 4


def test_the_failure_tells_the_walk_and_both_sides(wrong: ctypes.CDLL) -> None:
    """A stranger reads what was done, what the chip was given, and what each of the two did."""
    with pytest.raises(Disagreement) as found:
        run_conformance(
            read_device(str(STARTER)), "receiver", lambda _: LookedInto(wrong), settings=SHRINKING
        )
    assert str(found.value) == TOLD
    assert "state.take(step='player plug')" in "\n".join(found.value.__notes__)


TOLD = """\
receiver deviates from its model at step 2
  1. the player plugs the cable in: pedal hears plugged_in, switches to the cable and goes
     from by_air to by_cable; receiver hears plugged_in, waits for the first picture
     through the cable and goes from on_air to changing; pedal sends picture(lifted) over
     cord
  2. the player pulls the cable out: pedal hears pulled_out, switches to the radio and
     goes from by_cable to by_air; receiver hears pulled_out, switches to the radio and
     goes from changing to on_air; pedal sends picture(lifted) over air; picture over cord
     is dropped because the link is down
  receiver was given
    Signal(name='pulled_out', value=None)
  is in state
    the model:           on_air
    the implementation:  changing"""
