"""What is added to a text stands behind what is there, however that is written; and what is taken
out leaves nothing behind.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.editor.actions import actions
from modecheck.editor.insertions import Insertions
from modecheck.editor.mentions import tree_of
from modecheck.editor.navigation import ends_of, outline
from modecheck.editor.positions import TextSpan
from modecheck.editor.rename import Edit, with_edits
from modecheck.editor.workspace import kind_of_file, uri_of
from modecheck.model.devices import read_device
from modecheck.model.text_files import HeldTexts, instead_of_files, real_path
from modecheck.model.yaml_nodes import MappingNode
from tests.editor.texts import alone, checked

CHIPS = "device: x\nchips:\n  a: {states: [p, q], rules: {go: {in: p, to: q}}}\n"
ENTRY = '{finding: "deadlock:a.q", reason: r}'
TEXTS = {
    "plain": f"{CHIPS}requirements:\n  r:\n    text: t\n    never: a.p and\n      not a.p\n",
    "quoted": f"{CHIPS}about: 'it''s\n  two'\n",
    "a block": f"{CHIPS}about: >-\n  a\n\n  b\n\n# c\n",
    "a block that is kept": f"{CHIPS}about: |+\n  a\n\n",
    "an alias": "device: x\nmodes: {m: &c a.p}\nchips:\n  a: {states: [p, q]}\nlists: {l: [*c]}\n",
    "anchored": f"{CHIPS}accepted: &x [{{finding: 'dead-rule:a.go', reason: r}}]\n",
    "an empty list": f"{CHIPS}accepted: []\n",
    "brackets": "device: x\nchips: {\n  a: {states: [p, q]},\n  # }\n  } # }\n",
    "all in brackets": "{device: x, chips: {a: {states: [p, q]}}}\n",
    "a list": f"{CHIPS}accepted:\n- finding: 'dead-rule:a.go'\n  reason: >-\n    r\n    s\n\n# c\n",
    "the mark of the byte order": f"\ufeff{CHIPS}",
    "no end of the line": CHIPS.rstrip(),
    "the end of the document": f"---\n{CHIPS}...\n",
}


@pytest.mark.parametrize("what", TEXTS)
def test_an_acceptance_is_added_behind_what_is_there(what: str, tmp_path: Path) -> None:
    """The device is read as before, and with one acceptance more."""
    path, text = tmp_path / "device.yaml", TEXTS[what]
    assert kind_of_file(text) == "device"
    made = with_edits(text, [_acceptance(path, text)])
    before, after = _accepted(path, text), _accepted(path, made)
    assert {*after} == {*before, "deadlock:a.q"}


def _acceptance(path: Path, text: str) -> Edit:
    session = alone()
    session.put(uri_of(str(path)), text)
    scene = session.scene(str(path))
    tree = tree_of(scene, str(path))
    assert isinstance(tree, MappingNode)
    insert = Insertions(str(path), ends_of(session, scene, str(path)))
    return insert.item(tree, "accepted", ENTRY)


def _accepted(path: Path, text: str) -> list[str]:
    with instead_of_files(HeldTexts({real_path(str(path)): text.removeprefix("\ufeff")})):
        return [one.finding for one in read_device(str(path)).accepted]


def test_lines_end_as_others_do(tmp_path: Path) -> None:
    """With a carriage return, where the others have one."""
    text = CHIPS.replace("\n", "\r\n")
    made = with_edits(text, [_acceptance(tmp_path / "device.yaml", text)])
    assert made.count("\n") == made.count("\r\n") == text.count("\n") + 2


def test_what_several_share_is_left_alone(tmp_path: Path) -> None:
    """An answer in the description of a chip that is an alias would be that of others, too."""
    path = tmp_path / "device.yaml"
    text = (
        "device: x\nchips:\n  c: &c {states: [p]}\n  a: *c\n  b: {states: [s], rules: {l: "
        "{send: hi}}}\nlinks: {l: {from: b, to: a, carries: [hi], when_full: wait}}\n"
    )
    path.write_text(text, encoding="utf-8")
    session = alone()
    found = {one.code for one in checked(session, path).found}
    offered = actions(session, uri_of(str(path)), TextSpan(0, len(text)))
    assert "unspecified-reception" in found
    assert {one.title.split()[0] for one in offered} == {"accept", "open"}


NEEDED, NEEDLESS = '{finding: "deadlock:a.q", reason: r}', '{finding: "deadlock:a.p", reason: r}'
REMOVALS = {
    f"{CHIPS}accepted:\n  - {NEEDED}\n  - {NEEDLESS}\n# c\n": (
        f"{CHIPS}accepted:\n  - {NEEDED}\n# c\n"
    ),
    f"{CHIPS}accepted:\n- finding: deadlock:a.p\n  reason: >-\n    r\n\n    s\n\n- {NEEDED}": (
        f"{CHIPS}accepted:\n\n- {NEEDED}"
    ),
    f"{CHIPS}accepted: [{NEEDED}, {NEEDLESS}]  # c\n": f"{CHIPS}accepted: [{NEEDED}]  # c\n",
    f"{CHIPS}accepted: [{NEEDLESS}, {NEEDED}]\n": f"{CHIPS}accepted: [{NEEDED}]\n",
    f"{CHIPS}accepted: [{NEEDLESS}]  # c\nmodes: {{}}\n": f"{CHIPS}modes: {{}}\n",
    f"{CHIPS}accepted:\n  - {NEEDLESS}": CHIPS,
}


@pytest.mark.parametrize("number", range(len(REMOVALS)))
def test_a_needless_acceptance_is_removed_and_not_accepted_once_more(
    number: int, tmp_path: Path
) -> None:
    """With the line or the comma that only it needs."""
    path, (text, wanted) = tmp_path / "device.yaml", list(REMOVALS.items())[number]
    path.write_text(text, encoding="utf-8")
    session = alone()
    assert "needless-acceptance" in [one.code for one in checked(session, path).found]
    offered = actions(session, uri_of(str(path)), TextSpan(0, len(text)))
    assert not [one for one in offered if "accept needless" in one.title]
    (fix,) = (one for one in offered if one.title == "remove the acceptance")
    assert with_edits(text, list(fix.edits)) == wanted


def test_the_parts_of_an_alias_are_not_within_what_uses_it(tmp_path: Path) -> None:
    """They are shown once, where they stand; and a text of several lines belongs to its part."""
    text = "device: x\nchips:\n  a: &c {states: [p]}\n  b: *c\nmodes:\n  m: a.p and\n    b.p\n"
    session = alone()
    session.put(uri_of(str(tmp_path / "device.yaml")), text)
    a, b, m = outline(session, uri_of(str(tmp_path / "device.yaml")))
    assert [[one.label for one in part.inside] for part in (a, b, m)] == [["p"], [], []]
    assert [text[one.whole.start : one.whole.end] for one in (b, m)] == [
        "b: *c",
        "m: a.p and\n    b.p",
    ]
