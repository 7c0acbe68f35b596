"""A bench list says what comes out of the device, not only what changes in it."""

from __future__ import annotations

from pathlib import Path

from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.report.bench_report import to_see
from modecheck.tours.coming_out import chips_acted_on
from modecheck.tours.plan import BenchStep
from modecheck.tours.settled_tour import bench_test

DEVICE = """\
device: pedal with a laptop
chips:
  hub:
    states: {ready: {rest: true}}
    variables: {down: bool}
    rules:
      step: {on: step, do: [down = not down], send: [note(down) via air]}
      again: {on: again, send: [note(down) via air], signal: [blink]}
  relay:
    states: {ready: {rest: true}}
    rules: {pass_on: {on: note, send: [report(value) via usb]}}
  laptop:
    states: {open: {rest: true}}
    rules: {play: {on: report}}
actors:
  player:
    states: [here]
    rules:
      step: {signal: [step]}
      press: {signal: [again]}
      see: {on: blink}
links:
  air: {from: hub, to: relay, when_full: drop_old, carries: {note: {kind: state, bool: true}}}
  usb: {from: relay, to: laptop, when_full: drop_old, carries: {report: {kind: state, bool: true}}}
"""
"""Invented: pressing changes no state and no variable."""


def steps_of(text: str, folder: Path) -> dict[str, BenchStep]:
    """The steps of its bench test, the last of each deed."""
    (folder / "device.yaml").write_text(text, encoding="utf-8")
    test = bench_test(compose(read_device(str(folder / "device.yaml"))))
    return {step.do: step for sequence in test.sequences for step in sequence.steps}


def test_what_reaches_a_host_or_a_person_is_listed(tmp_path: Path) -> None:
    """With its value, and not what is only passed on."""
    steps = steps_of(DEVICE, tmp_path)
    pressed = next(step for do, step in steps.items() if "press" in do)
    assert pressed.see.changed == ()
    (line,) = to_see(pressed, in_full=False)
    down = pressed.see.values["hub.down"]
    received = (
        "player hears blink",
        f"relay receives note({down})",
        f"laptop receives report({down})",
    )
    assert pressed.see.received == received
    assert line == f"see: {'; '.join(received)}"


def test_only_those_that_nobody_acts_on_stand_outside(tmp_path: Path) -> None:
    """The hub hears the player; nobody but the relay reaches the laptop."""
    (tmp_path / "device.yaml").write_text(DEVICE, encoding="utf-8")
    assert chips_acted_on(read_device(str(tmp_path / "device.yaml"))) == {"hub"}


def test_a_chip_that_passes_something_on_is_left_out_unless_nothing_else_is_seen(
    tmp_path: Path,
) -> None:
    """Here somebody acts on the relay, too, so that it is part of the device."""
    acted = DEVICE.replace("{pass_on: {on: note,", "{tune: {on: tune}, pass_on: {on: note,")
    acted = acted.replace("see: {on: blink}", "tune: {signal: [tune]}")
    acted = acted.replace(", signal: [blink]}", "}")
    steps = steps_of(acted, tmp_path)
    pressed = next(step for do, step in steps.items() if "press" in do)
    assert [one.split("(")[0] for one in pressed.see.received] == ["laptop receives report"]
    back = acted.replace("  usb: {from: relay, to: laptop,", "  usb: {from: relay, to: hub,")
    back = back.replace("rules: {play: {on: report}}", "rules: {rest: {if: false, to: open}}")
    back = back.replace("states: {ready: {rest: true}}", "states: {ready: {rest: true}}", 1)
    back = back.replace(
        "    variables: {down: bool}", "    variables: {down: bool}\n    discards: [report]"
    )
    pressed = next(step for do, step in steps_of(back, tmp_path).items() if "press" in do)
    assert [one.split("(")[0] for one in pressed.see.received] == ["relay receives note"]


def test_a_step_without_anything_to_see_says_so(tmp_path: Path) -> None:
    """Nothing is made up."""
    text = DEVICE.replace(", send: [note(down) via air], signal: [blink]}", "}")
    text = text.replace("      see: {on: blink}\n", "")
    pressed = next(step for do, step in steps_of(text, tmp_path).items() if "press" in do)
    assert to_see(pressed, in_full=False) == ["see: nothing changes"]
