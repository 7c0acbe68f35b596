"""Hovers, hints, actions and colours: what is known, where it is asked for."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from modecheck.editor.actions import OPEN_SCENARIO, QuickFix, actions
from modecheck.editor.highlighting import LEGEND, coloured, encoded
from modecheck.editor.hints import hints
from modecheck.editor.hover import OLDER, hover
from modecheck.editor.positions import TextSpan
from modecheck.editor.rename import with_edits
from modecheck.editor.session import EditorSession
from modecheck.editor.workspace import uri_of
from tests.editor.texts import MODELS, TANDEM, alone, changed, checked, opened

STARTER = MODELS / "starter"
DEVICE, RECEIVER = STARTER / "device.yaml", STARTER / "receiver.yaml"
HOVERS = {
    "state": (RECEIVER, "  changing:", "  chang¦ing:", ["leads here:\n- plugged", "after 1 step"]),
    "rule": (
        RECEIVER,
        "  hear_air:",
        "  hear¦_air:",
        ["sets `sounding = value == pressed`", "takes it in 4 tr", "note_ends"],
    ),
    "message": (
        RECEIVER,
        "on: picture via air",
        "on: pict¦ure via air",
        ["from pedal to receiver over air", "| changing |"],
    ),
    "signal": (
        RECEIVER,
        "on: plugged_in",
        "on: plug¦ged_in",
        ["given by: player", "heard by: pedal (plug)"],
    ),
    "requirement": (
        DEVICE,
        "  note_ends:",
        "  note_e¦nds:",
        ["verdict: **holds**", "cost: 16 states"],
    ),
    "key": (
        RECEIVER,
        "rules:\n",
        "ru¦les:\n",
        ["a list, or a mapping that gives each rule a name"],
    ),
    "chip": (DEVICE, "  receiver: {", "  rec¦eiver: {", ["receives over: cord, air"]),
    "link": (DEVICE, "  air:", "  a¦ir:", ["from pedal to receiver", "medium: `radio`"]),
}


@pytest.mark.parametrize("what", HOVERS)
def test_a_hover_tells_what_is_known(what: str) -> None:
    """From the text, and from the last check."""
    path, old, new, told = HOVERS[what]
    session = alone()
    place = opened(session, path, changed(path, old, new))
    checked(session, DEVICE)
    found = hover(session, *place)
    assert found is not None
    assert [part for part in told if part not in found.text] == []


NESTED = """\
device: x
chips:
  a:
    states:
      outer: {}
      inner: {rest: true, initial: two, states: {one: {}, two: {}}}
    rules:
      enter: {in: outer, on: "press[1]", to: inner}
      swap: {in: one, to: two}
      leave: {in: inner, to: outer}
  b: {states: [s], rules: {press: {signal: "press[1]"}, odd: {send: "(", do: "="}}}
modes: {inside: a.two}
requirements: {r: {text: t, possible: inside}, n: {text: press, never: a.one or b.s}}
"""
IN_NESTED = {
    "outer:": (["the chip starts here", "- leave"], ["at rest", "- enter"]),
    "inner:": (["- enter", "at rest here"], ["- swap", "- leave", "starts here"]),
    "one:": (["no rule leads here", "at rest here"], ["- "]),
    "two:": (["- enter", "- swap"], ["- leave"]),
    "enter:": (["looked at by: r"], [", n"]),
    "press:": (["signals `press[1]`"], ["looked at"]),
    "odd:": (["odd"], ["looked at"]),
    "press[1]": (["given by: b", "heard by: a (enter)"], []),
}
"""What is told of a name, and what is not."""


@pytest.mark.parametrize("word", IN_NESTED)
def test_a_hover_tells_the_truth_about_states_inside_others(word: str) -> None:
    """Who enters a state enters the first ones inside; modes stand for their conditions."""
    told, untold = IN_NESTED[word]
    text = NESTED.replace(word, f"{word[:2]}¦{word[2:]}", 1)
    session = alone()
    found = hover(session, *opened(session, Path("/nowhere/device.yaml"), text))
    assert found is not None
    assert [part for part in told if part not in found.text] == []
    assert [part for part in untold if part in found.text] == []


def test_a_hover_says_when_its_check_is_older_than_the_text() -> None:
    """What it tells may not be so any more."""
    session = alone()
    place = opened(session, RECEIVER, changed(RECEIVER, "  changing:", "  chang¦ing:"))
    checked(session, DEVICE)
    before = hover(session, *place)
    text = session.workspace.text_of(str(RECEIVER)) or ""
    session.put(place[0], f"{text}# changed\n")
    after = hover(session, *place)
    assert before is not None
    assert after is not None
    assert after.text == f"{before.text}\n\n{OLDER}"


def test_a_hover_tells_of_every_chip_that_a_text_describes() -> None:
    """A parameter has a value in each of them; a code is explained where it is accepted."""
    session, bridge = alone(), TANDEM / "chips" / "bridge.yaml"
    place = opened(session, bridge, changed(bridge, "via {side}_air", "via {s¦ide}_air"))
    found = hover(session, *place)
    assert found is not None
    assert "- front_bridge: `front`\n- rear_bridge: `rear`" in found.text
    twin = MODELS / "faulty" / "silent_plug.yaml"
    place = opened(session, twin, changed(twin, '"deadlock:rec', '"dead¦lock:rec'))
    found = hover(session, *place)
    assert found is not None
    assert "What usually helps" in found.text


DEAD = """\
device: x
chips:
  a:
    states: {p: {rest: true}, q: {}, r: {}}
    rules: {go: {in: p, on: s, to: q}, back: {in: q, to: p}}
  b: {states: {t: {rest: true}}, rules: {give: {if: "false", signal: s}}}
"""


def test_hints_are_behind_what_is_never_seen(tmp_path: Path) -> None:
    """Only of a text that was checked as it is, and as a whole."""
    session, path = alone(), tmp_path / "device.yaml"
    uri, _ = opened(session, path, DEAD + "¦")
    checked(session, path)
    found = {
        (DEAD[: one.offset].rpartition(" ")[2].strip("{,:"), one.text)
        for one in hints(session, uri)
    }
    assert found == {("q", "unreachable"), ("r", "unreachable"), ("go", "never taken"),
                     ("back", "never taken"), ("give", "never taken")}  # fmt: skip
    opened(session, path, DEAD + "# changed\n¦")
    assert hints(session, uri) == []


def offered(session: EditorSession, path: Path) -> dict[str, QuickFix]:
    text = session.workspace.text_of(str(path)) or ""
    return {one.title: one for one in actions(session, uri_of(str(path)), TextSpan(0, len(text)))}


def applied(session: EditorSession, action: QuickFix) -> str:
    """The text of the one file that an action changes, afterwards."""
    (path,) = {one.path for one in action.edits}
    return with_edits(session.workspace.text_of(path) or "", list(action.edits))


SLIPS = {
    "chips: {a: {states: [p, q]}}\nmodes: {m: a.state == pp}\n": ("write 'p'", "a.state == p}"),
    "chips: {a: {states: [p, q]}}\nmodes: {m: min(1, 2) == 1}\n": (
        'write "min(1, 2) == 1" in quotes', 'm: "min(1, 2) == 1"}'),
    "chips: {a: {states: [p, q]}}\nrequirements:\n"
    "  r: {text: t, whenever: a.p, then: a.q, within: 5 ms}\n": (
        "add a clock with a tick of 1 ms", "device: x\nclock: {tick: 1 ms}\nchips:"),
}  # fmt: skip


@pytest.mark.parametrize("text", SLIPS)
def test_an_error_can_be_mended_where_it_is(tmp_path: Path, text: str) -> None:
    """The nearest name, quotes, a clock."""
    session, path = alone(), tmp_path / "device.yaml"
    opened(session, path, f"device: x\n{text}¦")
    before = len(checked(session, path).reading.problems)
    title, wanted = SLIPS[text]
    mended = applied(session, offered(session, path)[title])
    assert wanted in mended
    opened(session, path, f"{mended}¦")
    assert len(checked(session, path).reading.problems) < before


LINKED = """\
device: x
chips:
  tile: {file: tile.yaml, copies: 2, with: {side: up}}
  hub: {states: [still], discards: [hi]}
links: {each tile: {up_air: {from: tile, to: hub, carries: [hi], when_full: wait}}}
modes:
  m: hub.still and
    any(tile.ready) and
    hub.still
"""
SIDED = """\
chip: tile
parameters: {side: null}
states: [ready]
rules: {go: {send: "hi via {side}_air"}}
"""


@pytest.mark.parametrize(
    ("word", "slip", "title"),
    [
        ("any(tile.", "any(tille.", "write 'tile'"),
        ("and\n    hub.still", "and\n    hub.stil", "write 'still'"),
        ("from: tile", "from: tille", "write 'tile'"),
        ("{side}_air", "{sides}_air", "write 'side'"),
        ("{side}_air", "{side}_aiir", "write '{side}_air'"),
    ],
)
def test_the_nearest_name_stands_in_place_of_the_wrong_word_alone(
    tmp_path: Path, word: str, slip: str, title: str
) -> None:
    """In a text of several lines, as a parameter within a word, and for a name with parameters."""
    device, chip, session = tmp_path / "device.yaml", tmp_path / "tile.yaml", alone()
    for path, text in ((device, LINKED), (chip, SIDED)):
        opened(session, path, f"{text.replace(word, slip, 1)}¦")
    checked(session, device)
    path, text = (device, LINKED) if word in LINKED else (chip, SIDED)
    assert applied(session, offered(session, path)[title]) == text


UNHEARD = MODELS / "faulty" / "unheard_of.yaml"


@pytest.mark.parametrize(
    "title",
    ["discard picture in on_cable", "let picture wait in on_cable",
     "add a rule for picture in on_cable",
     "accept unspecified-reception:receiver.on_cable.picture, with a reason"],
)  # fmt: skip
def test_a_gap_can_be_answered(title: str) -> None:
    """With each of the answers offered, a check no longer finds it."""
    session = alone()
    text = UNHEARD.read_text(encoding="utf-8").partition("expect:")[0]
    opened(session, UNHEARD, text + "¦")
    known = checked(session, UNHEARD)
    (problem,) = (one for one in known.found if one.code == "unspecified-reception")
    action = offered(session, Path(problem.path))[title]
    (path,) = {one.path for one in action.edits}
    session.workspace.put(uri_of(path), applied(session, action))
    codes = {one.code for one in checked(session, UNHEARD).found}
    assert not session.upkeep.known[str(UNHEARD)].reading.problems
    assert "unspecified-reception" not in codes


def test_a_scenario_can_be_opened() -> None:
    """By a command that names the device and the finding."""
    session = alone()
    text = UNHEARD.read_text(encoding="utf-8").partition("expect:")[0]
    opened(session, UNHEARD, text + "¦")
    (problem,) = (p for p in checked(session, UNHEARD).found if p.code == "unspecified-reception")
    action = offered(session, Path(problem.path))["open the scenario"]
    assert (action.command, action.arguments) == (OPEN_SCENARIO, (str(UNHEARD), problem.subject))


def test_words_of_expressions_have_the_colour_of_what_they_mean() -> None:
    """A chip, a state, a variable, an operator; lengths are in UTF-16 code units."""
    chip = "chips: {é𝒂: {states: [p, q], variables: {v: bool}}}"
    text = f"device: x\n{chip}\nmodes: {{m: é𝒂.v and é𝒂.state == p}}\n¦"
    session = alone()
    uri, _ = opened(session, Path("/nowhere/device.yaml"), text)
    found = coloured(session, uri)
    assert [(one.character, one.length, one.type) for one in found] == [
        (11, 3, "namespace"), (15, 1, "variable"), (17, 3, "keyword"), (21, 3, "namespace"),
        (25, 5, "keyword"), (31, 2, "operator"), (34, 1, "enumMember"),
    ]  # fmt: skip
    numbers = encoded(found)
    assert numbers[:10] == [
        2,
        11,
        3,
        LEGEND.index("namespace"),
        0,
        0,
        4,
        1,
        LEGEND.index("variable"),
        0,
    ]


@pytest.mark.parametrize("name", ["device.yaml", "chips/hub.yaml", "chips/bridge.yaml"])
def test_every_word_of_tandem_means_something(name: str) -> None:
    """No word is left without a colour: the reader accepts all of them."""
    session, path = alone(), TANDEM / name
    text = path.read_text(encoding="utf-8")
    uri, _ = opened(session, path, text + "¦")
    found = coloured(session, uri)
    kinds = Counter(one.type for one in found)
    assert kinds["variable"] > 5
    assert kinds["enumMember"] > 2
    places = {(one.line, one.character) for one in found}
    assert len(places) == len(found)
