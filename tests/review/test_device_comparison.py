"""Two devices compared: findings under new names, and what to test and certify again."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.compare.behaviour import Outcome
from modecheck.compare.forms import PartName
from modecheck.compare.refinement import Equivalence
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device
from modecheck.report.compare_words import (
    bench_in_words,
    concern_in_words,
    findings_of_concern,
    outcome_in_words,
    remarks_on_retest,
)
from modecheck.review.concerns import Standing
from modecheck.review.device_comparison import ComparisonRequest, DeviceComparison, compared
from modecheck.review.names import NewNames
from tests.compare.changing import MODELS, Edits, edited
from tests.review.broken import SILENT


@cache
def verdict_on(path: str) -> Verdict:
    """Each device is checked once."""
    return check([read_device(path)])


STARTER = str(MODELS / "starter" / "device.yaml")


def comparison(
    folder: Path, edits: Edits, asked: ComparisonRequest | None = None
) -> DeviceComparison:
    """The starter compared with an edited copy."""
    return compared(verdict_on(STARTER), verdict_on(str(edited(folder / "new", edits))), asked)


RENAME: Edits = ((r"\bchanging\b", "waiting"), (r"\bnote_ends\b", "falls_silent"))


def test_a_finding_is_known_again_under_its_new_name(tmp_path: Path) -> None:
    """A device that is broken before and after, and in which a state and a requirement were
    renamed, is broken in the same way: nothing is new.
    """
    before = edited(tmp_path / "old", SILENT)
    after = edited(tmp_path / "new", (*SILENT, *RENAME))
    found = compared(verdict_on(str(before)), verdict_on(str(after))).findings
    assert found.new == ()
    assert found.fixed == ()
    assert set(found.unchanged) == {"deadlock:receiver.waiting", "broken-requirement:falls_silent"}
    assert found.requirements == ()


def test_names_in_a_subject_are_renamed_where_they_stand_for_a_part() -> None:
    """A word behind a chip's name is a part of that chip; anything else stays."""
    names = NewNames(
        {
            PartName("chip", "hub"): PartName("chip", "core"),
            PartName("state", "idle", "hub"): PartName("state", "quiet", "core"),
            PartName("state", "idle", "ear"): PartName("state", "idle", "ear"),
            PartName("message", "go", "air"): PartName("message", "start", "air"),
        }
    )
    assert names.subject("hub.idle") == "core.quiet"
    assert names.subject("ear.idle") == "ear.idle"
    assert names.subject("air.go") == "air.start"
    assert names.subject("hub-ear") == "core-ear"
    assert names.subject("idle") == "idle"


def test_a_renaming_leaves_everything_untouched(tmp_path: Path) -> None:
    """No concern has to be looked at again, and no bench step."""
    found = comparison(tmp_path, RENAME)
    assert found.complete
    assert not found.broken
    assert found.different == ()
    assert {one.standing for one in found.retest.concerns} == {Standing.UNTOUCHED}
    assert found.retest.bench.steps == ()


def test_a_change_touches_the_medium_that_it_shows_on(tmp_path: Path) -> None:
    """Plugging says nothing any more: the cable is touched and the radio is not. Of the bench test,
    the steps that plug are to be taken again.
    """
    found = comparison(tmp_path, SILENT)
    assert found.broken
    concerns = {one.concern: one for one in found.retest.concerns}
    assert concerns["radio"].standing is Standing.UNTOUCHED
    cable = concerns["cable"]
    assert cable.standing is Standing.TOUCHED
    assert (cable.new, cable.fixed) == (("deadlock:receiver.changing",), ())
    assert found.retest.untagged == ("broken-requirement:note_ends",)
    assert [str(change.name) for change in cable.changes] == ["pedal.plug"]
    steps = found.retest.bench.steps
    assert steps
    assert {one.rules for one in steps} == {("pedal.plug",)}
    assert all("plugs the cable in" in one.do or "cable" in one.do for one in steps)


def test_text_that_changes_nothing_is_told_apart_from_text_that_is_untouched(
    tmp_path: Path,
) -> None:
    """A condition that always holds changes the text of a rule of the radio, and nothing that can
    be seen of it.
    """
    found = comparison(
        tmp_path,
        (
            (
                r"in: on_air, on: picture via air",
                "in: on_air, if: not player.plugged, on: picture via air",
            ),
        ),
    )
    concerns = {one.concern: one.standing for one in found.retest.concerns}
    assert concerns == {"radio": Standing.SAME_BEHAVIOUR, "cable": Standing.UNTOUCHED}
    assert next(one.rules for one in found.retest.bench.steps) == ("receiver.hear_air",)


def test_a_concern_without_a_medium_is_spoken_for_by_its_rules(tmp_path: Path) -> None:
    """The rules of a state with one are looked at: one taken otherwise touches it."""
    concern: Edits = ((r"changing: \{\}", "changing: {concerns: [power]}"),)
    old = edited(tmp_path / "old", concern)
    new = edited(
        tmp_path / "new",
        (*concern, (r"(?m)^  pulled: ", "  early: {in: changing, to: on_cable}\n  pulled: ")),
    )
    found = compared(verdict_on(str(old)), verdict_on(str(new)))
    (power,) = (one for one in found.retest.concerns if one.concern == "power")
    assert power.standing is Standing.TOUCHED
    assert any(one.look.title == "rules that concern power" for one in found.different)
    assert (
        compared(verdict_on(str(old)), verdict_on(str(old))).retest.concerns[1].standing
        is Standing.UNTOUCHED
    )


def test_what_is_not_looked_at_is_not_called_untouched(tmp_path: Path) -> None:
    """With chosen messages nobody knows of the rest."""
    found = comparison(tmp_path, RENAME, ComparisonRequest(see=("cord",)))
    assert {one.standing for one in found.retest.concerns} == {Standing.UNKNOWN}
    assert {one.outcome for one in found.behaviours} == {Outcome.SAME}


def test_a_bound_makes_all_of_it_unknown() -> None:
    """Incomplete, and no concern is untouched."""
    search = Search(engine="plain", limits=Limits(states=6))
    device = read_device(STARTER)
    verdict = check([device], search=search)
    found = compared(verdict, verdict, search=search)
    assert not found.complete
    assert {one.standing for one in found.retest.concerns} == {Standing.UNKNOWN}


@pytest.mark.parametrize("name", ["small/handshake.yaml", "small/knob.yaml"])
def test_a_device_is_the_same_as_itself(name: str) -> None:
    """Also one without modes: then its behaviour as a whole is compared."""
    verdict = verdict_on(str(MODELS / name))
    found = compared(verdict, verdict)
    assert found.complete
    assert found.text.changes == ()
    assert {one.outcome for one in found.behaviours} == {Outcome.SAME}
    assert {one.standing for one in found.retest.concerns} <= {Standing.UNTOUCHED}


BELL = """\
device: a bell
CLOCK
chips:
  hub:
    states: {on: {rest: true}, lost: {rest: true}}
    rules:
      ring: {in: on, after: 20 ms, send: bell via air}
      toss: {in: on, after: 5 ms, do: [tossed = true]}
    variables: {tossed: {bool: true}}
  ear:
    states: {listens: {rest: true}}
    discards: [bell]
links:
  air: {from: hub, to: ear, medium: radio, carries: [bell], when_full: drop_new}
  wire: {from: hub, to: ear, medium: cable, carries: [bell], when_full: drop_new}
"""
"""Invented: a hub that rings a bell by radio from time to time."""


def bells(
    folder: Path, new: str, clock: str = "", asked: ComparisonRequest | None = None
) -> DeviceComparison:
    """The bell compared with another one."""
    old, new_ = (judged(folder / name, one, clock) for name, one in (("old", BELL), ("new", new)))
    return compared(old, new_, asked)


def judged(path: Path, text: str, clock: str = "") -> Verdict:
    """The verdict on a device as text."""
    path.write_text(text.replace("CLOCK", clock), encoding="utf-8")
    return check([read_device(str(path))])


def standings(found: DeviceComparison) -> dict[str, Standing]:
    return {one.concern: one.standing for one in found.retest.concerns}


LATER = BELL.replace("20 ms", "30 ms")
TICKS = "clock: {tick: 5 ms}"


@pytest.mark.parametrize("clock", ["", TICKS])
def test_a_changed_duration_is_not_judged(clock: str, tmp_path: Path) -> None:
    """Without a clock time is not counted, and with one ticks are not seen: the bell that rings at
    another time is neither the same nor untouched; what has no changed duration is.
    """
    found = bells(tmp_path, LATER, clock)
    assert {one.outcome for one in found.behaviours} == {Outcome.SAME}
    assert standings(found) == {"radio": Standing.UNDECIDED, "cable": Standing.UNTOUCHED}
    assert [str(one.name) for one in found.retest.durations] == ["hub.ring"]
    assert outcome_in_words(found).endswith("behaviour unchanged except for durations")
    (why, *_) = remarks_on_retest(found)
    assert ("without a clock" in why) == (not clock)
    said = concern_in_words(found.retest.concerns[0])
    assert not any("proven" in line for line in said)


def test_where_ticks_are_counted_a_changed_duration_is_judged(tmp_path: Path) -> None:
    """With strong equivalence each tick is a step, so another time is another behaviour."""
    found = bells(tmp_path, LATER, TICKS, ComparisonRequest(Equivalence.STRONG))
    assert found.retest.durations == ()
    assert standings(found)["radio"] is Standing.TOUCHED


def test_a_part_with_a_duration_that_comes_or_goes_is_not_judged(tmp_path: Path) -> None:
    """A rule that was taken away by one name and written anew by another has a new duration."""
    found = bells(tmp_path, LATER.replace("ring:", "sound:"))
    names = {str(one.name) for one in found.retest.durations}
    assert names == {"hub.ring", "hub.sound"}
    assert standings(found)["radio"] is Standing.UNDECIDED


def test_a_concern_with_a_new_finding_is_touched(tmp_path: Path) -> None:
    """A state that nothing leads to comes with the concern of a certificate: no rule bears it, and
    all that is seen is proven the same.
    """
    concerns = ("lost: {rest: true}", "lost: {rest: true, concerns: [power]}")
    old = BELL.replace(*concerns)
    new = old.replace("      toss", "      lose: {in: on, if: false, to: lost}\n      toss")
    before, after = judged(tmp_path / "old.yaml", old), judged(tmp_path / "new.yaml", new)
    found = compared(before, after)
    (power,) = (one for one in found.retest.concerns if one.concern == "power")
    assert power.new == ("dead-rule:hub.lose",)
    assert power.standing is Standing.TOUCHED
    assert findings_of_concern(power) == [("new findings", ("dead-rule:hub.lose",))]
    assert "behaviour unchanged" not in outcome_in_words(found)
    back = compared(after, before)
    (power,) = (one for one in back.retest.concerns if one.concern == "power")
    assert power.fixed == ("dead-rule:hub.lose",)


def test_a_fixed_finding_is_told_where_nothing_else_changed(tmp_path: Path) -> None:
    """The requirement that was broken is gone: its link is not untouched."""
    need = "requirements: {R1: {text: never rings, never: sent(hub.bell)}}\n"
    found = bells(tmp_path, BELL)
    assert standings(found)["radio"] is Standing.UNTOUCHED
    found = compared(judged(tmp_path / "old.yaml", BELL + need), found.new)
    radio = found.retest.concerns[0]
    assert radio.fixed == ("broken-requirement:R1",)
    assert radio.standing is Standing.FIXED


def test_power_on_is_no_step_of_the_bench(tmp_path: Path) -> None:
    """A device without people has a bench test of no step, and power on takes what changed."""
    text = BELL.replace(
        "states: {on: {rest: true}, lost: {rest: true}}", "states: {on: {}, lost: {rest: true}}"
    )
    one = text.replace("after: 20 ms, send: bell via air", "send: bell via air, to: lost")
    other = one.replace("to: lost}", "to: lost, do: [tossed = true]}")
    found = compared(judged(tmp_path / "old.yaml", one), judged(tmp_path / "new.yaml", other))
    bench = found.retest.bench
    assert (bench.of, [step.start for step in bench.steps]) == (0, [True])
    said = "; ".join(bench_in_words(bench))
    assert said.startswith("power on in `modecheck tours` takes touched rules")
    assert "step 0" not in said
    assert "of 0 steps" not in said
