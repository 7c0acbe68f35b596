"""The search: what it keeps, what it does not, and that it says what it left out."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from modecheck.checks.verdict import check
from modecheck.model.devices import read_device
from modecheck.repair.changes import Candidate, Data
from modecheck.repair.families.siblings import sibling_changes
from modecheck.repair.repair_search import changes_for
from modecheck.repair.situation import RepairSituation
from modecheck.repair.trying import Trial, TrialBench, TrialOutcome
from modecheck.repair.written import read_written
from tests.benchmarks.repair import Row, fails_again, is_the_original, original_of, row_of
from tests.models.bundled import MODELS, TWINS, is_small
from tests.repair.devices import NOTHING_GOOD, TWO_ENDS, TWO_PEDALS, bench_of, repairs_of, sentences
from tests.sweeps import sweep

QUICK = ("queue_exhausted", "one_behind")
OUT_OF_REACH = {
    "asks_for_what_never_is": "its requirement speaks of what cannot be, so no rule is wrong",
    "beyond_the_end": "the player goes too far, and what people do is not changed",
}
"""Twins for which no repair is looked for where it would be, and why."""


def faulty(name: str) -> Path:
    return MODELS / "faulty" / f"{name}.yaml"


@cache
def searched(twin: Path) -> Row:
    """What is found for a twin, looked for once."""
    return row_of(twin)


@pytest.mark.parametrize(
    "twin",
    sweep([one for one in TWINS if is_small(one)], lambda path: path.stem in QUICK),
    ids=lambda path: path.stem,
)
def test_a_twin_is_repaired(twin: Path) -> None:
    """By one or two changes, after which nothing at all is found: a complete check of the written
    file says so. Where none can be found, none is.
    """
    if twin.stem in OUT_OF_REACH:
        assert not searched(twin).found.proposals, "a repair is found: take it off the list"
        return
    found = searched(twin).found
    assert found.proposals
    assert twin.stem in QUICK or fails_again(found) == []


def test_the_rule_of_the_original_is_found() -> None:
    """The link has one place too few; the original has two."""
    twin = faulty("queue_exhausted")
    row = searched(twin)
    assert row.own == 1
    best = row.found.proposals[0].trial
    original = read_device(str(original_of(twin)))
    assert is_the_original(twin, best.candidate, original)
    assert best.outcome is TrialOutcome.KEPT
    assert best.states == (12,)
    others = row.found.proposals[1:]
    assert not any(is_the_original(twin, one.trial.candidate, original) for one in others)


def test_the_message_that_is_waited_for_is_found(tmp_path: Path) -> None:
    """It is sent by nobody, so no other rule could be copied."""
    path = tmp_path / "device.yaml"
    path.write_text(TWO_ENDS, encoding="utf-8")
    found = repairs_of(path)
    assert any("hear also sends answer via down" in one for one in sentences(found))


@pytest.mark.parametrize(
    ("written", "wrong", "repair"),
    [
        (
            "send: [refused via rear_down]",
            "to: taken",
            "hub: refuse_rear also sends refused via rear_down",
        ),
        (
            "send: [refused via rear_down]",
            "send: [granted via rear_down]",
            "hub: refuse_rear sends refused, not granted",
        ),
        (
            "      yield: {in: asking, on: refused, to: silent}\n  rear",
            "  rear",
            "front: in asking, refused leads to silent",
        ),
    ],
)
def test_the_answer_to_one_of_two_is_found(
    written: str, wrong: str, repair: str, tmp_path: Path
) -> None:
    """Although the message goes to the other one already, over another link; although the chip has
    no rule for it that could be copied; although another message is sent.
    """
    path = tmp_path / "device.yaml"
    assert TWO_PEDALS.count(written) == 1
    path.write_text(TWO_PEDALS.replace(written, wrong), encoding="utf-8")
    bench = bench_of(path, tmp_path)
    assert bench.wanted
    at = RepairSituation(bench.devices[0], read_written(bench.file), bench.wanted)
    found = [one for one in changes_for(at) if one.sentence == repair]
    assert [bench.try_out(Candidate((one,))).outcome for one in found] == [TrialOutcome.KEPT]


@pytest.mark.parametrize(
    ("base", "wrong", "repair"),
    [
        (
            "small/credits",
            "chips: {bridge: {rules: {step: {if: null}}}}",
            "bridge: step is taken only if credits != 0",
        ),
        (
            "published/alternating_bit_1",
            "chips: {receiver: {rules: {hand_over_0: {do: null}}}}",
            "receiver: hand_over_0 also does expects = not expects",
        ),
        (
            "small/loudness",
            "chips: {hub: {rules: {unmute: {signal: [loudness(0)]}}}}",
            "hub: unmute signals loudness(level), not loudness(0)",
        ),
        (
            "small/loudness",
            "chips: {ribbon: {rules: {show: {do: null}}}}",
            "ribbon: show also does length = value",
        ),
        (
            "small/loudness",
            "chips: {hub: {rules: {mute: {signal: null}}}}",
            "hub: mute also signals loudness(0)",
        ),
    ],
)
def test_what_no_other_rule_does_is_found(
    base: str, wrong: str, repair: str, tmp_path: Path
) -> None:
    """A guard against the value with which a rule fails, a bit that alternates, what came with a
    signal; and with a signal the value of a variable, or the loudness of nothing at all.
    """
    path = tmp_path / "device.yaml"
    text = f"device: wrong\nbased_on: {MODELS / base}.yaml\n{wrong}\n"
    path.write_text(text, encoding="utf-8")
    bench = bench_of(path, tmp_path)
    assert bench.wanted
    at = RepairSituation(bench.devices[0], read_written(bench.file), bench.wanted)
    found = [one for one in changes_for(at) if one.sentence == repair]
    assert [bench.try_out(Candidate((one,))).outcome for one in found] == [TrialOutcome.KEPT]


def test_a_value_alternates_only_if_nothing_else_sets_it() -> None:
    """Of the laptop's note, which a report sets, the opposite is no likely repair."""
    twin = faulty("accepted_is_not_delivered")
    device = read_device(str(twin))
    at = RepairSituation(device, read_written(str(twin)), check([device]).findings)
    assert not [one for one in changes_for(at) if "sounding = not sounding" in one.sentence]


def test_the_start_of_a_list_is_changed_as_a_whole(tmp_path: Path) -> None:
    """Of two places for firmware none is good, so that nothing ever starts."""
    path = tmp_path / "device.yaml"
    path.write_text(NOTHING_GOOD, encoding="utf-8")
    bench = bench_of(path, tmp_path)
    at = RepairSituation(bench.devices[0], read_written(bench.file), bench.wanted)
    (one,) = (
        x for x in changes_for(at) if x.sentence == "boot: each item of good starts as 1, not 0"
    )
    assert bench.try_out(Candidate((one,))).outcome is TrialOutcome.KEPT


def test_new_rules_for_two_events_make_a_pair(tmp_path: Path) -> None:
    """One may be needed in each of two states, or for each of two messages."""
    bench = bench_of(faulty("silent_plug"), tmp_path)
    at = RepairSituation(bench.devices[0], read_written(bench.file), bench.wanted)
    chip = next(one for one in at.entries if one.name == "receiver")
    data: list[Data] = [{"in": "changing", "on": "step"}, {"in": "on_air", "on": "lift"}]
    both = Candidate(tuple(at.new_rule("answers", chip, one, "answers") for one in data))
    (changed,) = bench.changed(both)
    added = {rule.whole for rule in changed.chips["receiver"].rules} - {r.name for r in chip.rules}
    assert added == {"step_in_changing", "lift_in_on_air"}


def test_a_link_is_made_as_on_the_other_side() -> None:
    """With the names of its own side; the one link of the original is what comes of it."""
    twin = faulty("radio_on_the_dock")
    at = RepairSituation(read_device(str(twin)), read_written(str(twin)), [])
    found = [one for one in sibling_changes(at) if ("", "front_air") in one.about]
    assert [one.sentence for one in found] == ["front_air: up_when as rear_air has it"]
    assert is_the_original(twin, Candidate((found[0],)), read_device(str(original_of(twin))))


def test_the_number_of_processes_makes_no_difference() -> None:
    """Neither to what is found nor to what is counted."""
    one, two = (repairs_of(faulty("queue_exhausted"), workers=n) for n in (1, 2))
    assert sentences(one) == sentences(two)
    assert (one.tally.singles, one.tally.outcomes) == (two.tally.singles, two.tally.outcomes)
    assert one.tally.families == two.tally.families


def test_a_search_that_is_stopped_says_so() -> None:
    """It is then not complete, whatever it has found."""
    found = repairs_of(faulty("queue_exhausted"), seconds=1e-6)
    assert found.tally.stopped_by == "the bound of seconds"
    assert not found.complete
    assert repairs_of(faulty("queue_exhausted")).complete


def test_an_interruption_keeps_what_was_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """And says that not everything was tried."""
    tried: list[Candidate] = []

    def interrupted(bench: TrialBench, candidate: Candidate) -> Trial:
        if len(tried) == 10:
            raise KeyboardInterrupt
        tried.append(candidate)
        return try_out(bench, candidate)

    try_out = TrialBench.try_out
    monkeypatch.setattr(TrialBench, "try_out", interrupted)
    found = repairs_of(faulty("queue_exhausted"))
    assert found.tally.stopped_by == "an interruption"
    assert (found.tally.singles, len(tried)) == (10, 10)
    assert found.proposals


def test_a_switch_that_is_lost_is_no_repair(tmp_path: Path) -> None:
    """A receiver that never leaves the cable has no deadlock, and one mode less to switch to."""
    bench = bench_of(faulty("silent_plug"), tmp_path)
    at = RepairSituation(bench.devices[0], read_written(bench.file), bench.wanted)
    stays = next(one for one in changes_for(at) if one.sentence == "pedal: plug stays in its state")
    trial = bench.try_out(Candidate((stays,)))
    assert trial.outcome is not TrialOutcome.KEPT


def test_chips_of_one_file_are_changed_together() -> None:
    """Unless one of them was changed for itself."""
    twin = faulty("calls_for_ever")
    written = read_written(str(twin))
    assert written.alike("front_bridge") == ["front_bridge", "rear_bridge"]
    one = read_written(str(faulty("restarts_in_silence")))
    assert one.alike("front_bridge") == ["front_bridge"]
