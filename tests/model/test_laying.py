"""What an overlay adds and removes: told, or refused where it can only be a slip of the pen."""

from __future__ import annotations

import pytest

from tests.model.folder import Folder

BASE = """\
device: plain
chips:
  pedal: {file: pedal.yaml}
  receiver:
    variables: {sounding: bool}
    states: {on_air: {rest: true}, changing: {}}
    rules:
      pulled: {in: changing, on: pulled_out, to: on_air}
      hear: {in: on_air, on: picture, do: [sounding = true], to: changing}
actors:
  player:
    states: [here]
    rules: {pull: {signal: [pulled_out]}}
links: {air: {from: pedal, to: receiver, carries: {picture: event, hello: event}, when_full: wait}}
modes: {radio: receiver.on_air}
requirements: {heard: {text: it is heard, possible: receiver.sounding}}
"""
PEDAL = """\
chip: pedal
states: {by_air: {rest: true, rules: {rest_a_while: {after: 1 s, to: by_air}}}}
rules:
  pull: {in: by_air, on: pulled_out, send: [picture]}
  call: {in: by_air, if: receiver.on_air, send: [hello]}
"""
FILES = {"base.yaml": BASE, "pedal.yaml": PEDAL}


def twin(rest: str) -> str:
    return f"device: twin\nbased_on: base.yaml\n{rest}\n"


def notes(folder: Folder, rest: str) -> list[str]:
    """What is said of a twin that is read, without its folder."""
    device = folder.device(twin(rest), FILES)
    return [str(note).replace(f"{folder.path}/", "") for note in device.notes]


def error(folder: Folder, rest: str) -> str:
    return folder.error(twin(rest), FILES)


@pytest.mark.parametrize(
    ("rest", "told"),
    [
        ("chips: {pedal: {rules: {pulled: {send: ~}}}}", "rule 'pulled' to chip pedal"),
        ("chips: {pedal: {rules: {pulled: {send: [hello]}}}}", "rule 'pulled' to chip pedal"),
        ("chips: {pedal: {rules: {pulled: {text: x, in: by_air}}}}", "rule 'pulled' to chip pedal"),
        ("chips: {pedal: {rules: {cal: {after: 2 s}}}}", "rule 'cal' to chip pedal"),
        ("chips: {receiver: {rules: {haer: {to: on_air}}}}", "rule 'haer' to chip receiver"),
        ("chips: {receiver: {variables: {sunding: {start: true}}}}", "variable 'sunding' to chip"),
        ("chips: {pedl: {rules: {pull: {send: ~}}}}", "chip 'pedl' (close to 'pedal')"),
        ("links: {ar: {capacity: 2}}", "link 'ar' (close to 'air')"),
        ("requirements: {herd: {builds_on: []}}", "requirement 'herd' (close to 'heard')"),
        ("actors: {player: {rules: {pul: {text: pulls}}}}", "rule 'pul' to actor player"),
    ],
)
def test_a_part_of_a_part_under_a_name_close_to_another_is_refused(
    folder: Folder, rest: str, told: str
) -> None:
    """It was meant for the other: by itself it says too little."""
    text = error(folder, rest)
    assert f"overlay adds {told}" in text
    assert "(close to '" in text
    assert "that is complete by itself" in text


def test_a_rule_inside_a_state_is_known_to_the_whole_chip(folder: Folder) -> None:
    """Who changes it outside its state adds another one."""
    text = error(folder, "chips: {pedal: {rules: {rest_a_while: {text: rests}}}}")
    assert "overlay adds rule 'rest_a_while' to chip pedal (close to 'rest_a_while')" in text


@pytest.mark.parametrize(
    ("rest", "told"),
    [
        (
            "chips: {pedal: {rules: {pulled: {in: by_air, on: pulled_out, send: [hello]}}}}",
            "3:25: note: overlay adds rule 'pulled' to chip pedal (close to 'pull')",
        ),
        (
            "chips: {pedal: {rules: {blink: {after: 1 s, to: by_air}}}}",
            "3:25: note: overlay adds rule 'blink' to chip pedal",
        ),
        (
            "chips: {pedal: {states: {asleep: {}, awake: {}}, variables: {x: bool}}}",
            "3:26: note: overlay adds to chip pedal: states 'asleep', 'awake'; variable 'x'",
        ),
        ("modes: {silent: receiver.changing}", "3:9: note: overlay adds mode 'silent'"),
        (
            "requirements: {R2: {text: x, possible: pedal.by_air}}",
            "3:16: note: overlay adds requirement 'R2'",
        ),
        (
            "links: {air: {carries: {bye: event}}}",
            "3:25: note: overlay adds message 'bye' to link 'air'",
        ),
    ],
)
def test_what_is_complete_by_itself_is_told(folder: Folder, rest: str, told: str) -> None:
    """In a line, with the name close to its own, where there is one."""
    assert notes(folder, rest) == [f"device.yaml:{told}"]


def test_what_a_device_adds_to_a_chip_file_itself_is_no_overlay(folder: Folder) -> None:
    """Unless it is close to what the file has."""
    entry = "{file: pedal.yaml, rules: {blink: {after: 1 s, to: by_air}}}"
    text = BASE.replace("{file: pedal.yaml}", entry)
    assert folder.device(text, FILES).notes == ()
    near = folder.error(text.replace("blink: {after: 1 s, to: by_air}", "puul: {send: ~}"), FILES)
    assert "overlay adds rule 'puul' to chip pedal (close to 'pull')" in near


@pytest.mark.parametrize(
    ("rest", "told", "advice"),
    [
        (
            "chips: {pedal: {rules: {pul: ~}}}",
            "there is no rule 'pul' in chip pedal to remove",
            "did you mean 'pull'?",
        ),
        (
            "chips: {pedal: {rules: {pull: {sned: ~}}}}",
            "there is no 'sned' in rule 'pull'",
            "did you mean 'send'?",
        ),
        (
            "chips: {pedal: {rules: {pull: {to: ~}}}}",
            "there is no 'to' in rule 'pull' of chip",
            "expected one of in, on, send",
        ),
        ("chips: {pedl: ~}", "there is no chip 'pedl' to remove", "did you mean 'pedal'?"),
        ("links: {ar: ~}", "there is no link 'ar' to remove", "did you mean 'air'?"),
        ("options: ~", "there is no 'options' to remove", "expected one of "),
        (
            "requirements: {herd: ~}",
            "there is no requirement 'herd' to remove",
            "did you mean 'heard'?",
        ),
    ],
)
def test_what_is_not_there_cannot_be_removed(
    folder: Folder, rest: str, told: str, advice: str
) -> None:
    """The nearest name is told, or else all that are there."""
    text = error(folder, rest)
    assert told in text
    assert advice in text


def test_removing_reaches_through_an_entry_into_the_file_of_a_chip(folder: Folder) -> None:
    """A rule that the device's entry changes and an overlay removes is gone, not back as it was."""
    base = BASE.replace("{file: pedal.yaml}", "{file: pedal.yaml, rules: {call: {if: true}}}")
    text = twin("chips: {pedal: {rules: {call: ~}}}")
    rules = folder.device(text, {**FILES, "base.yaml": base}).chips["pedal"].rules
    assert [rule.title for rule in rules] == ["rest_a_while", "pull"]


@pytest.mark.parametrize(
    ("rest", "word", "told"),
    [
        ("actors: {player: {rules: {pull: ~}}}", "pulled_out", "removes the rule 'pull' of actor"),
        (
            "actors: {player: {rules: {pull: {signal: other}}}}",
            "pulled_out",
            "replaces 'signal' of",
        ),
        ("actors: {player: ~}", "pulled_out", "removes the actor 'player'"),
        ("actors: ~", "pulled_out", "removes 'actors'"),
        ("links: {air: ~}", "picture", "removes the link 'air'"),
        ("links: {air: {carries: [hello]}}", "picture", "replaces 'carries' of link 'air'"),
        ("chips: {receiver: {states: {changing: ~}}}", "changing", "removes the state 'changing'"),
    ],
)
def test_who_speaks_of_what_an_overlay_removed_is_told_so(
    folder: Folder, rest: str, word: str, told: str
) -> None:
    """With the place of the removal, and never as if nobody had known the name."""
    found = [str(one) for one in folder.errors(twin(rest), FILES)]
    gone = [one for one in found if f"{word!r} is gone: " in one]
    assert gone
    assert all("device.yaml:3:" in one and told in one for one in gone)
    assert not [one for one in found if f"unknown event {word!r}" in one]


def test_rules_without_names_cannot_be_changed_by_name(folder: Folder) -> None:
    """A mapping over a list would replace every rule."""
    pedal = PEDAL.replace("  pull:", "  -").replace("  call:", "  -")
    over = twin("chips: {pedal: {rules: {pull: {send: ~}}}}")
    text = folder.errors(over, {**FILES, "pedal.yaml": pedal})
    assert any("the rules of chip pedal are a list" in str(one) for one in text)
