"""What is seen of a device: messages with their values, modes, steps that must not happen."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.compare.difference import difference, run_of
from modecheck.compare.labelled import LabelledSystem
from modecheck.compare.observation import NotExplored
from modecheck.compare.refinement import Equivalence, equivalent
from modecheck.compare.visible import FAILS, TooMuchVisible, reporting
from modecheck.engine.choice import EngineName, Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.compare.systems import labelled_from, messages_over, signals_named

ROOT = Path(__file__).parents[2]

DEVICE = """\
device: two modes
chips:
  hub:
    states: {{wired: {{rest: true}}, radio: {{rest: true}}}}
    rules:
      tell_wired: {{in: wired, send: "level({wired}) via air"}}
      tell_radio: {{in: radio, send: "level({radio}) via air"}}
      cord: {{in: wired, send: note via cable}}
      pull: {{in: wired, to: radio}}
      plug: {{in: radio, to: wired{plug}}}
  ear:
    states: {{listens: {{rest: true}}}}
    rules: {{hear: {{on: level}}, note: {{on: note}}}}
links:
  air: {{from: hub, to: ear, medium: radio, carries: {{level: {{range: [0, 3]}}}}, when_full: wait}}
  cable: {{from: hub, to: ear, medium: cable, carries: {{note: {{}}}}, when_full: {full}}}
modes: {{wired: hub.wired, radio: hub.radio}}
"""
"""Invented: tells a level by radio in both modes, and a note by cable when wired."""


def device(wired: int = 1, radio: int = 2, plug: str = "", full: str = "wait") -> str:
    return DEVICE.format(wired=wired, radio=radio, plug=plug, full=full)


def seen(
    path: Path,
    medium: str = "radio",
    mode: str | None = None,
    engine: EngineName = "plain",
    limits: Limits | None = None,
) -> LabelledSystem:
    """What is seen of a device file over one medium."""
    product = compose(read_device(str(path)))
    chosen = messages_over(product, [medium])
    search = Search(engine=engine, limits=limits or Limits())
    return labelled_from(explore_with(reporting(product, chosen), search), chosen, mode)


@pytest.fixture
def written(tmp_path: Path) -> Path:
    return tmp_path / "device.yaml"


def seen_of(
    path: Path, text: str, medium: str = "radio", mode: str | None = None
) -> LabelledSystem:
    path.write_text(text, encoding="utf-8")
    return seen(path, medium, mode)


def test_messages_of_one_medium_are_seen_with_their_values(written: Path) -> None:
    """Sent and delivered are two events, each with the value; other media are silent."""
    assert set(seen_of(written, device()).names) == {
        "",
        "sent level = 1 via air",
        "sent level = 2 via air",
        "delivered level = 1 via air",
        "delivered level = 2 via air",
    }
    assert set(seen_of(written, device(), "cable").names) == {
        "",
        "sent note via cable",
        "delivered note via cable",
    }


def test_another_value_is_another_behaviour(written: Path) -> None:
    """A device that sends 3 where 2 was sent is not equivalent, and a shortest run shows it."""
    old, new = seen_of(written, device()), seen_of(written, device(radio=3))
    assert not equivalent(old, new, Equivalence.WEAK)
    found = difference(old, new)
    assert found is not None
    assert found.sentence("the old", "the new") == (
        "from the start, the new can do sent level = 3 via air, and the old cannot"
    )
    assert len(run_of(new, found.events) or []) == 2


def test_a_signal_is_seen_with_its_values(written: Path) -> None:
    """Also where one step gives it several times: with each of them."""
    text = """\
device: steps
signals: {level: {range: [0, 3]}}
chips:
  hub:
    states: {calm: {rest: true}}
    rules: [{signal: [level(1), level(3)]}, {signal: [level(2), plain]}]
  ear: {states: {calm: {rest: true}}, rules: [{on: level}, {on: plain}]}
"""
    written.write_text(text, encoding="utf-8")
    product = compose(read_device(str(written)))
    chosen = signals_named(product, ["level", "plain"])
    system = labelled_from(explore_with(reporting(product, chosen), Search(engine="plain")), chosen)
    assert set(system.names) == {
        "",
        "signalled level = 1, 3",
        "signalled level = 2 + signalled plain",
    }


def test_a_change_shows_in_the_modes_and_media_that_it_reaches(written: Path) -> None:
    """Level 2 becomes 3 in the mode radio: over the cable nothing changed in any mode. Over the air
    it shows in the mode wired too, where a level that was sent before the switch is delivered.
    """
    old, new = device(), device(radio=3)
    for mode in (None, "wired", "radio"):
        for medium, same in (("cable", True), ("radio", False)):
            one, other = (seen_of(written, text, medium, mode) for text in (old, new))
            assert equivalent(one, other, Equivalence.BRANCHING) == same
    one, other = (seen_of(written, text, mode="wired") for text in (old, new))
    found = difference(one, other)
    assert found is not None
    assert found.event == "delivered level = 3 via air"


def test_entering_and_leaving_a_mode_is_seen(written: Path) -> None:
    """Also where no message is; a message of the leaving step is seen with it, of the entering
    step it is not.
    """
    text = device(plug=', send: "level(0) via air"')
    assert {"leaves radio + sent level = 0 via air", "enters radio"} <= set(
        seen_of(written, text, mode="radio").names
    )
    names = set(seen_of(written, text, mode="wired").names)
    assert {"enters wired", "leaves wired", "delivered level = 0 via air"} <= names
    assert "sent level = 0 via air" not in names


def test_a_step_that_must_not_happen_is_seen(written: Path) -> None:
    """A device that can overflow a link is not equivalent to one that waits."""
    waits, fails = seen_of(written, device()), seen_of(written, device(full="error"))
    assert FAILS in set(fails.names) - set(waits.names)
    assert not equivalent(waits, fails, Equivalence.WEAK)


@pytest.mark.parametrize("name", ["starter/device.yaml", "small/handshake.yaml", "own"])
def test_both_engines_see_the_same(name: str, written: Path) -> None:
    """The compiled engine's arrays give the same system as the interpreter's steps."""
    written.write_text(device(plug=', send: "level(0) via air"'), encoding="utf-8")
    path = written if name == "own" else ROOT / "models" / name
    product = compose(read_device(str(path)))
    media = {link.medium for link in product.device.links.values()}
    for medium in sorted(media):
        for mode in (None, *product.device.modes):
            plain = seen(path, medium, mode, "plain")
            compiled = seen(path, medium, mode, "compiled")
            assert plain.count == compiled.count
            assert set(plain.names) == set(compiled.names)
            assert len(plain.names) > 1
            assert equivalent(plain, compiled, Equivalence.STRONG)


def test_an_incomplete_exploration_is_no_verdict(written: Path) -> None:
    """What was not explored may differ."""
    written.write_text(device(), encoding="utf-8")
    with pytest.raises(NotExplored, match="stopped by the bound of 3 states"):
        seen(written, limits=Limits(states=3))


def test_too_much_to_be_seen_is_told(written: Path) -> None:
    """A step can report 31 things; more than that is an error and not left out in silence."""
    many = ", ".join(f"m{number}: {{}}" for number in range(32))
    text = device().replace("note: {}", f"note: {{}}, {many}")
    with pytest.raises(TooMuchVisible, match="33 messages, signals and rules"):
        seen_of(written, text, "cable")


DEAF = """\
device: a link that may be down
chips:
  hub:
    states: {on: {rest: true}}
    variables: {level: {range: [0, 3]}}
    rules:
      turn: {in: on, do: [level = level + 1 if level < 3 else 0]}
      tell: {in: on, if: level > 0, send: SENT}
  ear:
    states: {listens: {rest: true}}
    discards: [level, bell, gong]
links:
  air:
    from: hub
    to: ear
    medium: radio
    carries: {level: {range: [0, 4]}, bell: {}, gong: {}}
    KIND
"""
"""Invented: a hub that tells a level, or sounds a bell, over a link that drops it."""
DEAD, FULL = "up_when: 'false'", "when_full: drop_new"


def sent(path: Path, what: str, kind: str, engine: EngineName = "plain") -> set[str]:
    """What is seen to be sent."""
    path.write_text(DEAF.replace("SENT", what).replace("KIND", kind), encoding="utf-8")
    return {name for name in seen(path, engine=engine).names if name.startswith("sent")}


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize("kind", [DEAD, FULL])
def test_what_is_dropped_at_once_was_sent(kind: str, engine: EngineName, written: Path) -> None:
    """A link that is down or full takes nothing, and the sender has sent all the same: which
    message, with which value, and how often.
    """
    assert sent(written, "bell via air", kind, engine) == {"sent bell via air"}
    assert sent(written, "gong via air", kind, engine) == {"sent gong via air"}
    assert sent(written, '"level(level + 1) via air"', kind, engine) == {
        f"sent level = {value} via air" for value in (2, 3, 4)
    }
    assert sent(written, "[bell via air, bell via air]", kind, engine) == {
        "sent bell via air 2 times"
    }
    assert sent(written, '["level(1) via air", "level(4) via air"]', kind, engine) == {
        "sent level = 1, 4 via air"
    }


def test_other_messages_into_a_dead_link_are_another_behaviour(written: Path) -> None:
    """Nothing is ever delivered, and who listens to the sender hears the difference."""
    texts = ("bell via air", "gong via air", '"level(1) via air"', '"level(2) via air"')
    systems = []
    for text in texts:
        written.write_text(DEAF.replace("SENT", text).replace("KIND", DEAD), encoding="utf-8")
        systems.append(seen(written))
    for number, one in enumerate(systems):
        for other in systems[:number]:
            assert not equivalent(one, other, Equivalence.WEAK)
