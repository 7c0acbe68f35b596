"""Definitions, references and outlines; the reader of models is the judge of what is declared."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from modecheck.editor.device_names import names_of
from modecheck.editor.mentions import Mention, mentions_in_device
from modecheck.editor.navigation import (
    OutlineEntry,
    definitions,
    folds,
    outline,
    references,
    workspace_symbols,
)
from modecheck.editor.positions import TextSpan
from modecheck.editor.scenes import Scenes
from modecheck.editor.workspace import Workspace, kind_of_file
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.links import CORRUPTED
from tests.editor.texts import MODELS, TANDEM, alone, changed, opened
from tests.sweeps import sweep

DEVICE, BRIDGE = TANDEM / "device.yaml", TANDEM / "chips" / "bridge.yaml"
DEVICES = sorted(
    path.relative_to(MODELS).as_posix()
    for path in MODELS.rglob("*.yaml")
    if kind_of_file(path.read_text(encoding="utf-8")) == "device"
)
FEW = (
    "starter/device.yaml", "small/announcing.yaml", "small/joining.yaml",
    "published/token_ring_4.yaml",
)  # fmt: skip


def mentions(name: str) -> tuple[Workspace, list[Mention]]:
    workspace = Workspace()
    found = mentions_in_device(workspace, Scenes().of(workspace, str(MODELS / name)))
    return workspace, [one for many in found.values() for one in many]


@pytest.mark.parametrize("name", sweep(DEVICES, FEW.__contains__))
def test_every_name_of_a_valid_model_is_declared_somewhere(name: str) -> None:
    """The reader accepts the model, so what the index takes for a name without a declaration would
    be wrong. The exception is what a link makes of a message itself.
    """
    workspace, found = mentions(name)
    declared = {one.symbol for one in found if one.declares}
    lost = {
        one.symbol
        for one in found
        if one.symbol not in declared and one.symbol.kind not in ("file", "code")
    }
    assert {one.name for one in lost} <= {CORRUPTED}
    for one in found:
        text = workspace.text_of(one.path) or ""
        assert text[one.span.start : one.span.end] == one.written


@pytest.mark.parametrize("name", sweep(DEVICES, FEW.__contains__))
def test_names_are_those_of_the_model(name: str) -> None:
    """As the reader has them, for a device in which no chip has copies."""
    try:
        device = read_device(str(MODELS / name))
    except InvalidInput:
        pytest.skip("not a valid model")
    if device.copies:
        pytest.skip("copies have one name here")
    names = names_of(str(MODELS / name))
    assert set(names.chips) == set(device.chips)
    assert set(names.links) == {link.called for link in device.links.values()}
    assert names.signals == set(device.signals)
    for chip in device.chips.values():
        own = names.chips[chip.name]
        assert set(own.states) == set(chip.states)
        assert set(own.variables) == set(chip.variables)
        assert set(own.timers) == set(chip.timers)


def shown(places: list[tuple[str, TextSpan]], texts: Workspace) -> set[tuple[str, str]]:
    """The names of the files, with the lines of the places in them."""
    found = set()
    for path, span in places:
        text = texts.map_of(path)
        start = span.start
        line = text.text[text.line_start(start) : text.line_end(start)]
        found.add((Path(path).name, line.strip()))
    return found


def test_a_name_leads_to_its_declaration_in_another_file() -> None:
    """Through the parameter of each of the chips that the text describes."""
    session = alone()
    place = opened(session, BRIDGE, changed(BRIDGE, "via {side}_air", "via {side}_a¦ir"))
    assert shown(definitions(session, *place), session.workspace) == {
        ("device.yaml", "front_air:"),
        ("device.yaml", "rear_air:"),
    }


def test_a_file_leads_to_itself() -> None:
    """From where another file names it."""
    session = alone()
    place = opened(
        session, DEVICE, changed(DEVICE, "{file: chips/hub.yaml", "{file: chips/h¦ub.yaml")
    )
    ((path, span),) = definitions(session, *place)
    assert (Path(path).name, span.start) == ("hub.yaml", 0)


def test_references_are_in_all_files() -> None:
    """Of a state: rules of its chip, and conditions of others that compare it."""
    session = alone()
    hub = TANDEM / "chips" / "hub.yaml"
    text = hub.read_text(encoding="utf-8")
    place = opened(session, hub, text.replace("  starting:", "  star¦ting:", 1))
    found = references(session, *place)
    files = {Path(path).name for path, _ in found}
    assert {"hub.yaml", "device.yaml"} <= files
    texts = session.workspace
    words = {(texts.text_of(p) or "")[s.start : s.end] for p, s in found}
    assert words == {"starting"}
    assert len(references(session, *place, declared=False)) == len(found) - 1


def labels(entries: list[OutlineEntry]) -> Iterator[str]:
    for one in entries:
        yield one.label
        yield from labels(one.inside)


def test_an_outline_has_every_named_part_within_its_whole() -> None:
    """States inside states, and rules; each part lies within the one around it."""
    session = alone()
    uri, _ = opened(session, BRIDGE, BRIDGE.read_text(encoding="utf-8") + "¦")
    entries = outline(session, uri)
    assert {"side", "bond", "alone", "telling", "give_up"} <= set(labels(entries))
    (outer,) = (one for one in entries if one.label == "alone")
    assert [one.label for one in outer.inside] == ["asleep", "linked"]
    text = session.workspace.text_of(str(BRIDGE)) or ""
    assert text[outer.whole.start : outer.whole.end].endswith("the hub has the newest picture}")
    for one in outer.inside:
        assert outer.whole.start <= one.whole.start <= one.name.start
        assert one.name.end <= one.whole.end <= outer.whole.end


def test_parts_and_comments_can_be_folded() -> None:
    """From the line of a key to the last line of what is under it."""
    text = "# a\n# b\ndevice: x\nchips:\n  a:\n    states:\n      p: {}\n\n  b: {states: [q]}\n¦"
    session = alone()
    uri, _ = opened(session, Path("/nowhere/device.yaml"), text)
    assert folds(session, uri) == [(0, 1), (3, 8), (4, 6), (5, 6)]


def test_symbols_of_all_files_are_found_by_their_letters() -> None:
    """In their order, as editors search."""
    session = alone()
    opened(session, DEVICE, DEVICE.read_text(encoding="utf-8") + "¦")
    found = {one.symbol.name for one in workspace_symbols(session, "frair")}
    assert "front_air" in found
    assert "rear_air" not in found
