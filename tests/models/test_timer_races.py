"""What races between two timers look like: who was first, when, and where the boundary lies.

The models are invented. The classes are from reports on real devices: late callbacks, stale timers,
sleep timers that disagree, a pulled cable taken for a suspended bus.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN
from modecheck.checks.verdict import check
from modecheck.model.devices import read_device
from tests.models.bundled import MODELS, verdict_on


def told(twin: str, finding: str) -> list[tuple[int, str]]:
    """The steps of a finding's scenario that are no ticks, each with the ticks before it."""
    verdict = verdict_on(MODELS / "faulty" / f"{twin}.yaml")
    found: Finding = next(one for one in verdict.findings if one.id == finding)
    assert found.trace is not None
    labels = verdict.explored[0].exploration.product.labels
    steps, now = [], 0
    for move in found.trace.moves:
        label = labels[move.label]
        if label.kind == "tick":
            now += 1
        else:
            steps.append((now, label.text))
    return steps


def moment(steps: list[tuple[int, str]], text: str) -> tuple[int, int]:
    """When a step is taken first, in ticks, and its place in the order."""
    return next((now, place) for place, (now, label) in enumerate(steps) if text in label)


def test_a_repetition_is_sent_while_the_answer_is_under_way() -> None:
    """The hub has answered and the pedal repeats before it hears that: the two messages cross."""
    steps = told("repeats_too_early", "unspecified-reception:pedal.quiet.answer")
    answer, repeat, heard = (
        moment(steps, text) for text in ("hub hear", "pedal repeat", "pedal answered")
    )
    assert [now for now, _ in (answer, repeat, heard)] == [2, 3, 3]
    assert answer[1] < repeat[1] < heard[1]


def test_the_crossing_is_what_the_requirement_tells() -> None:
    """Its scenario ends with the repetition, one tick after the answer and before it is heard."""
    steps = told("repeats_too_early", "broken-requirement:no_crossing")
    assert [label for _, label in steps][-2:] == ["up to hub hear", "pedal repeat"]


@pytest.mark.parametrize(("timer", "crosses"), [(3, True), (4, True), (5, False), (6, False)])
def test_messages_cross_exactly_when_the_timer_is_not_longer_than_both_ways(
    tmp_path: Path, timer: int, crosses: bool
) -> None:
    """2 ms there and up to 2 ms back: at 4 ms the repetition may come first."""
    path = tmp_path / "device.yaml"
    path.write_text(
        f"device: d\nbased_on: {MODELS / 'small' / 'retry.yaml'}\n"
        f"chips: {{pedal: {{rules: {{repeat: {{after: {timer} ms}}}}}}}}\n",
        encoding="utf-8",
    )
    verdicts = {one.need.name: one.verdict for one in check([read_device(str(path))]).requirements}
    assert (verdicts["no_crossing"] == BROKEN) is crosses


def test_the_old_timer_strikes_the_new_connection() -> None:
    """100 ms after the last packet of the old one, when the pedal is connected anew."""
    steps = told("stale_timer", "broken-requirement:session_lives")
    (restart, one), (anew, two), (lost, three) = (
        moment(steps, text) for text in ("battery sags", "accept_anew", "hub lose")
    )
    assert one < two < three
    assert restart < anew
    assert lost - restart == 10  # ticks of 10 ms


def test_the_hub_falls_asleep_between_the_call_and_the_picture() -> None:
    """Its own timer ends after the pedal has called it, and before the pedal says what
    it has to.
    """
    steps = told("sleep_timers_disagree", "broken-requirement:heard_in_time")
    places = [moment(steps, text)[1] for text in ("pedal doze", "player press", "hub doze")]
    assert places == sorted(places)
    assert moment(steps, "hub doze")[0] == 30  # ticks of 100 ms: 3 s
    assert 27 <= moment(steps, "player press")[0] <= 30


def test_a_pulled_cable_is_suspended_before_it_is_debounced() -> None:
    """3 ms after it was felt, and never later."""
    steps = told("pulled_is_suspended", "broken-requirement:falls_back_in_time")
    gone, suspended = moment(steps, "power_gone"), moment(steps, "hub suspend")
    assert suspended[0] - gone[0] == 3
    assert not any("fall_back" in label for _, label in steps)
