"""What is offered at each place of tandem, an invented device, and in texts half written."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from modecheck.editor.completion import Completion, completions
from modecheck.editor.navigation import all_mentions
from modecheck.editor.session import EditorSession
from modecheck.model.finding_kinds import KINDS
from modecheck.model.keys import keys_of
from modecheck.model.text_files import real_path
from tests.editor.texts import MODELS, TANDEM, alone, changed, cut, opened
from tests.sweeps import sweep

BRIDGE, HUB, DEVICE = (
    TANDEM / "chips" / "bridge.yaml", TANDEM / "chips" / "hub.yaml", TANDEM / "device.yaml"
)  # fmt: skip
DOCK = "  dock:\n    in: alone\n"
SEND = '    send: ["{side}_picture(switch.pressed) via {side}_cord"]\n    to: docked\n    text: sw'
ONE_OUTPUT = "    never: laptop.sounding and tablet.sounding"

OFFERED = {
    "states": (BRIDGE, DOCK, "  dock:\n    in: ¦\n", {"booting", "telling"}, {"hub", "side"}),
    "events": (
        BRIDGE,
        '    on: "{side}_docked"',
        '    on: "¦',
        {"{side}_docked", "tiles_paired"},
        {"note"},
    ),
    "messages": (
        BRIDGE,
        SEND,
        "    send: [¦]\n    to: docked\n    text: sw",
        {'"{side}_picture"'},
        {"note"},
    ),
    "links": (
        BRIDGE,
        SEND,
        '    send: ["{side}_picture(true) via ¦',
        {"{side}_air", "{side}_cord"},
        {"usb_up"},
    ),
    "forms": (
        BRIDGE,
        SEND,
        '    send: ["{side}_picture(true) via {si¦',
        {"{side}_air", "{side}_cord"},
        {"via"},
    ),
    "forms of messages": (BRIDGE, SEND, '    send: ["{¦', {"{side}_picture"}, {"via"}),
    "behind a quote that is open": (
        BRIDGE,
        '    if: "not {side}_dock.seated and bond != none"',
        '    if: "not {side}_dock.seated and ¦',
        {"bond", "true"},
        {"wired"},
    ),
    "values": (BRIDGE, "    if: bond != none", "    if: bond != ¦", {"none"}, set()),
    "through a parameter": (
        BRIDGE,
        "    if: bond != none",
        "    if: switch.¦",
        {"pressed", "lifted"},
        {"side"},
    ),
    "members": (DEVICE, ONE_OUTPUT, "    never: hub.¦", {"state", "held", "wired_up"}, {"laptop."}),
    "states compared": (
        DEVICE,
        ONE_OUTPUT,
        "    never: hub.state == ¦",
        {"starting", "dark"},
        {"held"},
    ),
    "states listed": (
        DEVICE,
        ONE_OUTPUT,
        "    never: hub.state not in [dark, ¦",
        {"starting"},
        {"held"},
    ),
    "words": (DEVICE, ONE_OUTPUT, "    never: hub.held == ¦", {"nobody", "front"}, set()),
    "happenings": (DEVICE, ONE_OUTPUT, "    never: sent(¦", {"hub.", "usb_up."}, {"min("}),
    "what is sent": (
        DEVICE,
        ONE_OUTPUT,
        "    never: sent(hub.¦",
        {"note", "report"},
        {"front_picture"},
    ),
    "rules taken": (
        DEVICE,
        ONE_OUTPUT,
        "    never: taken(tablet.¦",
        {"call", "hang_up"},
        {"sounding"},
    ),
    "signals": (DEVICE, ONE_OUTPUT, "    never: signalled(¦", {"mode_button"}, {"note"}),
    "modes": (DEVICE, ONE_OUTPUT, "    never: ¦", {"wired", "radio", "hub.", "not"}, {"sounding"}),
    "chips": (DEVICE, "    from: front_bridge", "    from: ¦", {"hub", "player"}, {"wired"}),
    "files": (
        DEVICE,
        "{file: chips/hub.yaml}",
        "{file: chips/¦",
        {"chips/bridge.yaml"},
        {"device.yaml"},
    ),
    "parameters": (DEVICE, "with: {side: front}", "with: {¦", {"side: "}, {"file: "}),
    "bonds": (DEVICE, "ends: [front_bridge.bond,", "ends: [¦", {"hub.tablet_bond"}, {"hub.held"}),
    "requirements": (
        DEVICE,
        "builds_on: [old_host_is_silent]",
        "builds_on: [¦",
        {"note_ends"},
        {"hub"},
    ),
    "words of a key": (
        DEVICE,
        "    when_full: wait",
        "    when_full: ¦",
        {"wait", "drop_old"},
        {"hub"},
    ),
    "codes": (
        DEVICE,
        "requirements:\n",
        "accepted:\n  - finding: ¦\nrequirements:\n",
        {'"deadlock:"'},
        {"hub"},
    ),
    "subjects": (
        DEVICE,
        "requirements:\n",
        'accepted:\n  - finding: "overflow:¦\nrequirements:\n',
        {"overflow:usb_notes.note"},
        {"overflow:hub.dark"},
    ),
    "units": (BRIDGE, "    after: 20 ms", "    after: 20¦", {"20 ms", "20 us"}, {"side"}),
}


def texts_at(path: Path, text: str) -> set[str]:
    """What would be inserted at the mark of a text."""
    return {one.text for one in found_at(path, text)}


@cache
def shared() -> EditorSession:
    """One session for all, so that files that nobody changes are parsed once."""
    return alone()


def found_at(path: Path, text: str) -> list[Completion]:
    shared().workspace.buffers.clear()
    return completions(shared(), *opened(shared(), path, text))


@pytest.mark.parametrize("what", OFFERED)
def test_names_that_fit_are_offered(what: str) -> None:
    """And no others: what the rest of the line leaves open decides."""
    path, old, new, wanted, unwanted = OFFERED[what]
    found = texts_at(path, changed(path, old, new))
    assert wanted <= found
    assert not unwanted & found


def test_keys_are_offered_with_what_they_mean() -> None:
    """Those that the mapping has already are left out."""
    found = found_at(BRIDGE, changed(BRIDGE, DOCK, "  dock:\n    in: alone\n    ¦\n"))
    keys = {one.label: one.about for one in found if one.kind == "key"}
    assert set(keys) == set(keys_of("rule")) - {"in", "on", "send", "to", "text"}
    assert keys["after"] == keys_of("rule")["after"].sentence


@pytest.mark.parametrize(
    ("text", "part"), [("device: x\n¦", "device"), ("chip: x\n¦", "behaviour")]
)
def test_keys_of_a_file_are_offered(tmp_path: Path, text: str, part: str) -> None:
    """At the beginning of a line that is still empty."""
    found = texts_at(tmp_path / "x.yaml", text)
    assert {f"{key}: " for key in keys_of(part)} - {"device: "} <= found


WITH_VALUES = """\
device: x
constants: {most: 2}
signals: {level: {range: [0, most]}}
options: {on_lift: [stay, fall]}
chips:
  tile:
    copies: 2
    initial: idle
    with: {left: "tile[i - 1]"}
    parameters: {left: null}
    constants: {least: 1}
    variables: {heard: {range: [0, 1]}, way: {one_of: [wired, radio]}, ready: bool}
    states: {idle: {}, calling: {}}
    timers: {patience: 5 ms}
    rules: {tell: {in: idle, if: left.idle, signal: level(heard), to: calling}, hear: {on: knob}}
accepted: [{finding: "deadlock:tile.idle", reason: r}]
"""


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("if: left.idle", "if: left.¦", {"calling", "heard"}),
        ("if: left.idle", "if: left.state == ¦", {"calling"}),
        ("range: [0, 1]", "range: [0, ¦", {"most", "least"}),
        ("range: [0, 1]", "range: [0, 1], start: ¦", {"most", "any"}),
        ("level(heard)", "level(¦", {"heard"}),
        ("level(heard)", "¦", {"level", "knob"}),
        ("if: left.idle", "if: way in [wired, ¦", {"radio"}),
        ("if: left.idle", "if: on_lift == ¦", {"fall"}),
        ("if: left.idle", "if: left.calling and ¦", {"i"}),
        ("signal: level", "do: way = radio if ready else ¦", {"wired"}),
        ("ready: bool", "ready: ¦", {"bool", "false"}),
        ("patience: 5 ms", "patience: ¦", {"left"}),
        ("initial: idle", "initial: ¦", {"any", "calling"}),
        ("on: knob", "on: knob v¦", {"via"}),
    ],
)
def test_names_are_offered_where_values_stand(old: str, new: str, wanted: set[str]) -> None:
    """Of the neighbour among copies, of numbers with a name, and in what a signal carries."""
    assert old in WITH_VALUES
    text = WITH_VALUES.replace(old, new)
    assert wanted <= texts_at(Path("/nowhere/x.yaml"), text)


@pytest.mark.parametrize(
    ("old", "new", "after"),
    [
        ('"deadlock:tile.idle"', "¦deadlock:tile.idle", 'finding: "stuck-chip:", reason'),
        ("deadlock:tile.idle", "deadlock:ti¦le.idle", '"deadlock:tile.calling", reason'),
        ("patience: 5 ms", "patience: 5¦ ms", "patience: 5 us}"),
    ],
)
def test_what_is_one_text_is_replaced_as_a_whole(old: str, new: str, after: str) -> None:
    """Also what stands behind the cursor, though it is several words."""
    text, offset = cut(WITH_VALUES.replace(old, new))
    found = found_at(Path("/nowhere/x.yaml"), f"{text[:offset]}¦{text[offset:]}")
    made = {f"{text[: one.span.start]}{one.text}{text[one.span.end :]}" for one in found}
    assert any(after in one for one in made)


def test_every_code_is_offered_with_its_meaning() -> None:
    """An acceptance begins with one."""
    text = "device: x\naccepted:\n  - {finding: ¦"
    found = {one.label: one.about for one in found_at(Path("/nowhere/x.yaml"), text)}
    assert found == {f"{code}:": kind.meaning for code, kind in KINDS.items()}


def test_a_copy_with_a_file_of_its_own_has_names_there() -> None:
    """Its own, and those of its neighbours, which have another file."""
    path = MODELS / "published" / "chips" / "ring_bottom.yaml"
    assert "x" in texts_at(path, changed(path, "x == left.x", "¦ == left.x"))
    assert "x" in texts_at(path, changed(path, "x == left.x", "x == left.¦"))


def test_names_of_the_file_beneath_are_offered(tmp_path: Path) -> None:
    """An overlay names what the device and its chips declare."""
    text = f"device: x\nbased_on: {DEVICE}\nchips:\n  hub:\n    rules:\n      ¦"
    assert "button_on_usb: " in texts_at(tmp_path / "x.yaml", text)
    removing = f"device: x\nbased_on: {DEVICE}\nchips: {{hub: {{rules: {{button_on_usb: {{send: ¦"
    assert "null" in texts_at(tmp_path / "x.yaml", removing)
    assert "null" not in texts_at(HUB, changed(HUB, "send: [hush via usb_down]", "send: ¦"))


def test_a_name_replaces_the_word_that_is_being_written() -> None:
    """From its first letter on, also that which stands behind the cursor."""
    text = "device: é🎸\nlinks:\n  a: {from: hu¦bbub}\nchips: {hub: {states: [a]}}\n"
    session = alone()
    uri, position = opened(session, Path("/nowhere/x.yaml"), text)
    (found,) = (one for one in completions(session, uri, position) if one.label == "hub")
    assert text.replace("¦", "")[found.span.start : found.span.end] == "hubbub"


def test_names_are_known_although_the_text_cannot_be_read() -> None:
    """The line that is being written is left out of it, and nothing else."""
    text = changed(BRIDGE, DOCK, "  dock:\n    in: [alone, ¦\n    x: : {\n")
    assert {"booting", "telling"} <= texts_at(BRIDGE, text)


MODELS_WITH_A_DEVICE = sorted(
    path.relative_to(MODELS).as_posix()
    for path in MODELS.rglob("*.yaml")
    if path.parent.name != "surroundings"  # actors that no device here names
)
MOST_OF_A_MODEL = 8
"""Names of a model that are taken out, one after the other."""


@pytest.mark.parametrize(
    "name", sweep(MODELS_WITH_A_DEVICE, lambda name: name == "tandem/chips/laptop.yaml")
)
def test_every_name_of_a_valid_model_is_offered_where_it_stands(name: str) -> None:
    """The model is valid, so what stands in it fits: taken out, it is among what is offered."""
    path = MODELS / name
    text = path.read_text(encoding="utf-8")
    session = alone()
    uri, _ = opened(session, path, text + "¦")
    spots = {
        one.span: one.written
        for one in all_mentions(session, str(path)).get(real_path(str(path)), ())
        if not one.declares and one.symbol.kind not in ("code", "file")
    }
    chosen = list(spots.items())[:: len(spots) // MOST_OF_A_MODEL + 1]
    for span, written in chosen:
        if text[span.end : span.end + 1] == ":" or text[span.start - 1] == "{":
            continue  # a key alone cannot be missing; in braces, the word is only a part
        uri, place = opened(session, path, f"{text[: span.start]}¦{text[span.end :]}")
        found = {one.text for one in completions(session, uri, place)}
        word = written.strip("{}")  # a parameter alone is written with or without
        assert any(word in one for one in found), (written, text[: span.start][-60:])
