"""Whether two devices behave alike, look by look and mode by mode, under a renaming."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest

from modecheck.compare.behaviour import WHOLE, Behaviour, Outcome, compare_behaviour
from modecheck.compare.difference import BehaviourDifference, How
from modecheck.compare.looks import Devices, chosen_look, looks_at_media
from modecheck.compare.observation import ObservedSpace
from modecheck.compare.refinement import Equivalence, equivalent
from modecheck.compare.text_changes import text_changes
from modecheck.compare.told_systems import ToldSystem
from modecheck.compare.visible import Visible, reporting
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from tests.compare.changing import MODELS, edited, read_edited, starter
from tests.compare.systems import messages_over
from tests.compare.test_visible import device as two_modes
from tests.generation.devices import device_from


def devices_of(old: Device, new: Device) -> Devices:
    """Both composed, with the renaming between."""
    return Devices(compose(old), compose(new), text_changes(old, new).renaming)


def behaviours(old: Device, new: Device, search: Search | None = None) -> list[Behaviour]:
    """What each medium's messages show in each mode."""
    devices = devices_of(old, new)
    return list(compare_behaviour(devices, looks_at_media(devices), search=search))


def outcomes(found: list[Behaviour]) -> dict[tuple[str, str], Outcome]:
    """By the last word of the look, and the mode."""
    return {(one.look.title.split()[-1], one.mode): one.outcome for one in found}


def test_what_is_only_renamed_or_reordered_is_the_same(tmp_path: Path) -> None:
    """A state, a message, a link, a chip and a mode have other names, and rules stand elsewhere."""
    edits = (
        (r"\bchanging\b", "waiting"), (r"\bpicture\b(?=[:(]| via)", "view"),
        (r"(?<=from: )pedal|(?<=  )pedal(?=:)|pedal(?=\.foot)", "tread"),

        (r"(\b|via )air\b", r"\1ether"), (r"(?m)^  radio:", "  aloft:"),
        (r"(?m)^(  plugged: .*\n)(  pulled: .*\n)", r"\2\1"),
    )  # fmt: skip
    found = behaviours(starter(), read_edited(tmp_path / "new", edits))
    assert {one.outcome for one in found} == {Outcome.SAME}
    assert {one.mode for one in found} == {WHOLE, "wired", "aloft"}


BELL = """\
links:
  back: {from: receiver, to: pedal, medium: radio, carries: [bell], when_full: drop_new,
    up_when: not player.plugged}
"""
RING = "  ring: {in: on_air, if: sounding, send: [bell via back], do: [sounding = false]}\n"


def test_a_link_that_carries_one_more_message_differs_in_its_mode_alone(tmp_path: Path) -> None:
    """In radio mode the receiver now sounds a bell: over the cable nothing has changed, and in
    wired mode nobody sends a bell.
    """
    edits = (
        (r"(?m)^links:\n", BELL),
        (r"(?m)^  hear_cable:", f"{RING}  hear_cable:"),
        (r"chip: pedal\n", "chip: pedal\ndiscards: [bell]\n"),
    )
    new = read_edited(tmp_path / "new", edits)
    found = behaviours(starter(), new)
    outcome = outcomes(found)
    assert {outcome["cable", mode] for mode in (WHOLE, "wired", "radio")} == {Outcome.SAME}
    assert outcome["radio", "radio"] is outcome["radio", WHOLE] is Outcome.DIFFERENT
    one = next(o for o in found if o.mode == WHOLE and o.outcome is Outcome.DIFFERENT)
    assert one.difference is not None
    assert not one.difference.by_first
    assert one.difference.event == "sent bell via back"
    assert one.trace is not None
    steps = one.trace.told
    assert steps[-1].label == "receiver ring"
    assert not any("over air" in step.text for step in steps[:-2])


def test_what_was_not_explored_is_unknown() -> None:
    """Never the same, however alike both are."""
    found = behaviours(starter(), starter(), Search(engine="plain", limits=Limits(states=5)))
    assert {one.outcome for one in found} == {Outcome.UNKNOWN}
    assert {one.reason for one in found} == {
        "the comparison is incomplete: exploration was stopped by the bound of 5 states"
    }


def test_a_person_chooses_messages_by_any_of_their_names(tmp_path: Path) -> None:
    """In the words of the new device; what neither has is told with the nearest name."""
    new = read_edited(tmp_path / "new", ((r"(\b|via )air\b", r"\1ether"),))
    devices = devices_of(starter(), new)
    for text in ("ether", "ether.picture", "radio"):
        look = chosen_look(devices, text)
        assert (len(look.old), len(look.new)) == (1, 1)
        assert all(one.outcome is Outcome.SAME for one in compare_behaviour(devices, [look]))
    assert len(chosen_look(devices, "picture, cord").new) == 2
    with pytest.raises(InvalidInput, match="did you mean 'ether'"):
        chosen_look(devices, "ethr")


SLEEPER = """
device: a hub that sleeps
chips:
  tile:
    copies: 2
    states: {{idle: {{rest: true}}, busy: {{}}}}
    rules:
      begin: {{in: idle, on: "step[i]", to: busy}}
      end: {{in: busy, to: idle, signal: over}}
  hub:
    states: {{awake: {{rest: true}}, asleep: {{rest: true}}}}
    rules:
      doze: {{in: awake, if: {when}(tile.idle), to: asleep}}
      {wake}: {{in: asleep, on: {signal}, to: awake}}
actors:
  player:
    states: [here]
    rules:
      each tile:
        step: {{signal: "step[i]"}}
      call: {{signal: {signal}}}
"""


def sleeper(when: str = "all", wake: str = "wake", signal: str = "call") -> Device:
    return device_from(SLEEPER.format(when=when, wake=wake, signal=signal))


@pytest.mark.parametrize(
    ("seen", "outcome"),
    [
        ("call", Outcome.SAME),
        ("over, call", Outcome.SAME),
        ("tile, tile.begin, tile[1].end", Outcome.SAME),
        ("hub.doze", Outcome.SAME),
        ("hub", Outcome.SAME),
        ("hub.doze, tile", Outcome.DIFFERENT),
        ("step, over, hub.doze", Outcome.DIFFERENT),
    ],
)
def test_signals_and_rules_can_be_seen(seen: str, outcome: Outcome) -> None:
    """Whether the hub sleeps as soon as any tile is idle shows only to who sees both: when it dozes
    off, and what the tiles do. Copies are seen under their common name, too.
    """
    devices = devices_of(sleeper("all"), sleeper("any"))
    (whole,) = compare_behaviour(devices, [chosen_look(devices, seen)])
    assert whole.outcome is outcome
    if whole.difference is not None:
        assert whole.difference.event == "hub takes doze"
        assert not whole.difference.by_first


def test_signals_and_rules_are_seen_under_their_new_names() -> None:
    """As messages are; a name that neither has is told with the nearest one."""
    devices = devices_of(sleeper(), sleeper(wake="rise", signal="hail"))
    look = chosen_look(devices, "hail, hub.rise")
    assert [(len(one.signals), len(one.rules)) for one in (look.old, look.new)] == [(1, 1)] * 2
    (whole,) = compare_behaviour(devices, [look])
    assert whole.outcome is Outcome.SAME
    with pytest.raises(InvalidInput, match=r"did you mean .hub\.rise"):
        chosen_look(devices, "hub.ris")


POLLING = """
device: a hub that asks its tile again and again
chips:
  hub:
    states: {{asking: {{rest: true}}, hearing: {{rest: true}}, done: {{rest: true}}}}
    rules:
      ask: {{in: asking, to: hearing, signal: asked}}
      give_up: {{in: hearing, to: done, signal: gave_up}}
      again: {{in: hearing, to: {again}}}
      {more}
"""
BACK = "wake: {in: pause, to: hearing}"
AT_LAST = """nap: {in: pause, to: pause}
      quit: {in: pause, to: done, signal: gave_up}"""


@pytest.mark.parametrize(
    ("again", "more", "steps"),
    [
        ("asking", "", None),
        ("hearing", "", ("hub ask", "(again) hub again")),
        ("pause", BACK, ("hub ask", "(again) hub again", "(again) hub wake")),
        ("pause", AT_LAST, ("hub ask", "hub again", "(again) hub nap")),
    ],
)
def test_silent_steps_forever_differ_with_divergence_alone(
    again: str, more: str, steps: tuple[str, ...] | None
) -> None:
    """Once it has asked, the hub may wait again and again unseen: nothing for an observer who sees
    what it asks, except with divergence. The scenario ends with the loop (an invented device).
    """
    text = POLLING.format(again=again, more=more)
    if again == "pause":
        text = text.replace("done:", "pause: {}, done:")
    plain = POLLING.format(again="hearing", more="").replace("      again:", "      # again:")
    if steps is None:
        plain = text
    devices = devices_of(device_from(plain), device_from(text))
    look = chosen_look(devices, "asked, gave_up")
    (branching,) = compare_behaviour(devices, [look])
    assert branching.outcome is Outcome.SAME
    (found,) = compare_behaviour(devices, [look], Equivalence.DIVERGENCE)
    if steps is None:
        assert found.outcome is Outcome.SAME
        return
    assert found.difference == BehaviourDifference(
        How.DIVERGENCE, ("signalled asked",), by_first=False
    )
    assert found.trace is not None
    told = [f"{'(again) ' if one.again else ''}{one.label}" for one in found.trace.told]
    assert tuple(told) == steps


CLOCKED = """
device: a hub with a clock
clock: {tick: 1 ms}
chips:
  hub:
    states: {asking: {}, done: {rest: true}}
    rules:
      ask: {in: asking, after: 5 ms, to: done, signal: asked}
"""


def test_a_periodic_timer_goes_on_forever_and_waiting_does_not() -> None:
    """Ticks that change nothing are no steps, so a device at rest does not diverge."""
    beat = "      beat: {in: done, period: 2 ms}\n"
    sides = (CLOCKED, CLOCKED.replace("5 ms", "7 ms"), CLOCKED + beat)
    old, later, beating = map(device_from, sides)
    devices = devices_of(old, later)
    look = chosen_look(devices, "asked")
    (found,) = compare_behaviour(devices, [look], Equivalence.DIVERGENCE)
    assert found.outcome is Outcome.SAME
    (found,) = compare_behaviour(devices_of(old, beating), [look], Equivalence.DIVERGENCE)
    assert found.difference == BehaviourDifference(
        How.DIVERGENCE, ("signalled asked",), by_first=False
    )
    assert found.trace is not None
    again = [step.label for step in found.trace.told if step.again]
    assert again.count("hub beat") == 1
    assert len(again) == 3


VARIANTS = [
    two_modes(),
    two_modes(radio=3),
    two_modes(wired=3),
    two_modes(plug=', send: "level(0) via air"'),
    two_modes(full="error"),
]


@pytest.mark.parametrize("equivalence", Equivalence)
def test_putting_states_together_first_changes_no_answer(
    equivalence: Equivalence, tmp_path: Path
) -> None:
    """Of every two variants of an invented device, in each mode and as a whole.
    Somewhere they are equivalent and somewhere they are not, and there are fewer states.
    """
    systems: list[tuple[Visible, ToldSystem, ToldSystem]] = []
    for number, text in enumerate(VARIANTS):
        path = tmp_path / f"{number}.yaml"
        path.write_text(text, encoding="utf-8")
        product = compose(read_device(str(path)))
        radio = messages_over(product, ["radio"])
        told = ObservedSpace(explore_with(reporting(product, radio)), radio).told
        systems.append((radio, told, told.reduced(equivalence)))
    fewer = [reduced.system.count < told.system.count for _, told, reduced in systems]
    assert any(fewer) or equivalence is Equivalence.STRONG
    answers = set()
    for (radio, one, less), (other_radio, other, other_less) in combinations(systems, 2):
        for mode in (None, "wired", "radio"):
            whole, reduced = (
                equivalent(
                    old.looked_at(radio, mode), new.looked_at(other_radio, mode), equivalence
                )
                for old, new in ((one, other), (less, other_less))
            )
            assert whole == reduced
            answers.add(whole)
    assert answers == {True, False}


BUNDLED = MODELS / "tandem" / "device.yaml"
OTHER_NAMES = (
    (r"\bsecuring\b", "agreeing"),
    (r"\bfront_picture\b", "front_image"),
    (r"\brear_picture\b", "rear_image"),
    (r"\{side\}_picture\b", "{side}_image"),
    # Two rules that never compete: their conditions exclude each other.
    (r"(?m)^(  choose_tablet:\n(?:    .*\n)+)(  choose_laptop:\n(?:    .*\n)+)", r"\2\1"),
)
BLUETOOTH_RULE = """\
chips: {hub: {rules: {front_to_tablet: {if: value != (held == front)}, nobody_calls: {after: 20 s},
  front_repeats: {in: bluetooth_up, on: front_image, signal: [front_answer], text: has it}}}}
"""
BEACON = """\
links:
  front_down: {from: hub, to: front_bridge, medium: radio, carries: [beacon], when_full: drop_new,
    up_when: hub.bluetooth_up}
chips:
  front_bridge: {discards: [beacon]}
  hub: {rules: {calls_the_tile: {in: bluetooth_up, after: 10 s, send: [beacon via front_down]}}}
"""


def tandem(path: Path, over: str = "", base: Path = BUNDLED) -> Device:
    """A device without its faults, which makes it smaller, with an overlay."""
    text = f"device: tandem\nbased_on: {base}\nfaults: null\n{over}"
    path.write_text(text, encoding="utf-8")
    return read_device(str(path))


def test_other_names_in_a_large_device_are_told_as_such(tmp_path: Path) -> None:
    """A state, two messages on two links each, and two rules in another order: nothing is changed,
    and the conditions of all requirements say the same.
    """
    old = read_device(str(BUNDLED))
    new = read_device(str(edited(tmp_path / "new", OTHER_NAMES, "tandem")))
    changes = text_changes(old, new).changes
    assert sorted((one.what, str(one.name)) for one in changes) == [
        ("moved", "hub.choose_laptop"),
        ("renamed", "front_air.front_image"),
        ("renamed", "front_cord.front_image"),
        ("renamed", "hub.agreeing"),
        ("renamed", "rear_air.rear_image"),
        ("renamed", "rear_cord.rear_image"),
    ]


@pytest.mark.thorough
def test_a_bluetooth_rule_leaves_the_radio_alone_and_a_beacon_does_not(tmp_path: Path) -> None:
    """One tandem tells the tablet only what is new to it, and has other names: over cable and radio
    that cannot be seen, in any mode. A beacon that is sent in Bluetooth mode can, and the scenario
    ends with it.
    """
    old = tandem(tmp_path / "old.yaml")
    renamed = edited(tmp_path / "renamed", OTHER_NAMES, "tandem")
    quiet = devices_of(old, tandem(tmp_path / "quiet.yaml", BLUETOOTH_RULE, renamed))
    looks = [look for look in looks_at_media(quiet) if "bluetooth" not in look.title]
    large = Search(expected=30_000)
    found = list(compare_behaviour(quiet, looks, search=large))
    assert len(found) == 8
    assert {one.outcome for one in found} == {Outcome.SAME}
    calls = devices_of(old, tandem(tmp_path / "calls.yaml", BEACON))
    looks = [look for look in looks_at_media(calls) if "bluetooth" not in look.title]
    found = list(compare_behaviour(calls, looks, search=large))
    different = {one.mode: one for one in found if one.outcome is Outcome.DIFFERENT}
    assert set(different) == {WHOLE, "bluetooth"}
    one = different["bluetooth"]
    assert one.difference is not None
    assert one.difference.events == ("enters bluetooth", "sent beacon via front_down")
    assert one.trace is not None
    assert one.trace.told[-1].label == "hub calls_the_tile"
