"""Files laid over files: the laws of laying, and the files that are named."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.model.errors import Notebook
from modecheck.model.overlays import overlay
from modecheck.model.yaml_nodes import MappingNode, read_yaml
from tests.model.folder import Folder
from tests.model.plain_data import Data, plain_data

NAMES = st.sampled_from(["chips", "hub", "rules", "states", "to"])
LEAVES: st.SearchStrategy[Data] = st.none() | st.integers(0, 3) | st.lists(st.integers(0, 3))
MAPPINGS: st.SearchStrategy[dict[str, Data]] = st.dictionaries(
    NAMES,
    st.recursive(LEAVES, lambda inner: st.dictionaries(NAMES, inner, max_size=3), max_leaves=6),
    max_size=4,
)


def node_of(folder: Path, data: dict[str, Data]) -> MappingNode:
    """The data as a node, read from a file."""
    path = folder / "data.yaml"
    path.write_text(json.dumps(data), encoding="utf-8")
    node = read_yaml(str(path), Notebook())
    assert isinstance(node, MappingNode)
    return node


def without_nulls(data: Data) -> Data:
    """What a reader sees: a key without a value counts as absent."""
    if not isinstance(data, dict):
        return data
    return {name: without_nulls(value) for name, value in data.items() if value is not None}


def laid(base: Data, over: Data) -> Data:
    """The meaning of laying, on plain data, as one sentence: merge, null removes, else replace."""
    if not (isinstance(base, dict) and isinstance(over, dict)):
        return over
    names = [*base, *(name for name in over if name not in base)]
    both = {
        name: laid(base.get(name), over[name]) if name in over else base[name] for name in names
    }
    return {name: value for name, value in both.items() if value is not None}


@given(base=MAPPINGS)
def test_nothing_laid_over_changes_nothing(tmp_path: Path, base: dict[str, Data]) -> None:
    """An empty overlay is neutral, and so is an empty base."""
    node = node_of(tmp_path, base)
    assert overlay(node, node_of(tmp_path, {})) == node
    assert overlay(node_of(tmp_path, {}), node) == node


@given(base=MAPPINGS, over=MAPPINGS)
def test_laying_twice_is_laying_once(
    tmp_path: Path, base: dict[str, Data], over: dict[str, Data]
) -> None:
    """The second time changes nothing that a reader could see."""
    node = node_of(tmp_path, over)
    once = overlay(node_of(tmp_path, base), node)
    twice = overlay(once, node)
    assert without_nulls(plain_data(twice)) == without_nulls(plain_data(once))


@given(base=MAPPINGS, over=MAPPINGS)
def test_laying_is_what_the_sentence_says(
    tmp_path: Path, base: dict[str, Data], over: dict[str, Data]
) -> None:
    """Mappings merge key by key, null removes a key, anything else replaces what it covers."""
    merged = overlay(node_of(tmp_path, base), node_of(tmp_path, over))
    assert without_nulls(plain_data(merged)) == without_nulls(laid(base, over))


@given(base=MAPPINGS, over=MAPPINGS)
def test_keys_of_the_base_keep_their_order(
    tmp_path: Path, base: dict[str, Data], over: dict[str, Data]
) -> None:
    """Document order decides which rule wins, so an overlay must not shuffle it."""
    merged = list(overlay(node_of(tmp_path, base), node_of(tmp_path, over)).entries)
    kept = [name for name in merged if name in base]
    assert kept == [name for name in base if name in merged]
    assert merged[: len(kept)] == kept


BASE = """\
device: plain
chips: {hub: {file: hub.yaml, rules: {doze: {after: 1 s, to: resting}}}}
"""
HUB = """\
chip: hub
states: {on_air: {}, resting: {rest: true}}
rules:
  rest: {in: on_air, to: resting}
  wake: {in: resting, after: 1 s, to: on_air}
"""


def test_a_twin_says_only_what_is_different(folder: Folder) -> None:
    """A rule of the chip file can be changed, removed and added from the device file's twin."""
    twin = """\
        device: twin
        based_on: base.yaml
        chips: {hub: {rules: {rest: null, wake: {after: 5 s}, new: {to: resting}}}}
        """
    device = folder.device(twin, {"base.yaml": BASE, "hub.yaml": HUB})
    rules = device.chips["hub"].rules
    assert device.name == "twin"
    assert [rule.title for rule in rules] == ["wake", "doze", "new"]
    wake = rules[0]
    assert (wake.after and wake.after.text, wake.target) == ("5 s", "on_air")


def test_places_stay_where_something_is_written(folder: Folder) -> None:
    """A finding points into the file that is to blame."""
    twin = "device: twin\nbased_on: base.yaml\nchips: {hub: {rules: {rest: {to: on_air}}}}\n"
    device = folder.device(twin, {"base.yaml": BASE, "hub.yaml": HUB})
    rest, wake, doze = device.chips["hub"].rules
    files = [Path(rule.place.file).name for rule in (rest, wake, doze)]
    assert files == ["device.yaml", "hub.yaml", "base.yaml"]


def test_names_of_files_are_seen_from_the_file_that_names_them(folder: Folder) -> None:
    """A twin may stand in another folder than what it is based on."""
    files = {"models/base.yaml": BASE, "models/hub.yaml": HUB}
    device = folder.device("device: twin\nbased_on: models/base.yaml\n", files)
    state = device.chips["hub"].states["resting"]
    assert Path(state.place.file) == folder.path / "models" / "hub.yaml"


def test_chip_files_can_be_based_on_each_other(folder: Folder) -> None:
    """Twice over the same file is no cycle."""
    files = {
        "hub.yaml": HUB,
        "front.yaml": "based_on: hub.yaml\nchip: front\nrules: {rest: null}\n",
        "rear.yaml": "based_on: hub.yaml\nchip: rear\nstates: {asleep: {}}\n",
    }
    text = "device: d\nchips: {a: {file: front.yaml}, b: {file: rear.yaml}, c: {file: hub.yaml}}\n"
    device = folder.device(text, files)
    assert [len(chip.rules) for chip in device.chips.values()] == [1, 2, 2]
    assert [len(chip.states) for chip in device.chips.values()] == [2, 3, 2]


@pytest.mark.parametrize(
    ("device", "files", "message"),
    [
        (
            "based_on: device.yaml",
            {},
            "device.yaml:1:11: a cycle of files: device.yaml → device.yaml",
        ),
        (
            "based_on: a.yaml",
            {"a.yaml": "based_on: b.yaml", "b.yaml": "based_on: ./a.yaml"},
            "b.yaml:1:11: a cycle of files: device.yaml → a.yaml → b.yaml → a.yaml",
        ),
        (
            "device: d\nchips: {hub: {file: hub.yaml}}",
            {"hub.yaml": "chip: hub\nbased_on: hub.yaml"},
            "hub.yaml:2:11: a cycle of files: device.yaml → hub.yaml → hub.yaml",
        ),
        (
            "device: d\nchips: {hub: {file: device.yaml}}",
            {},
            "device.yaml:2:21: a cycle of files: device.yaml → device.yaml",
        ),
        ("based_on: [a]", {}, "device.yaml:1:11: a list cannot be used as based_on"),
        ("based_on: a.yaml", {"a.yaml": "[]"}, "a.yaml:1:1: a list at the top"),
        ("based_on: b.yaml", {"base.yaml": BASE}, "device.yaml:1:11: there is no file 'b.yaml'"),
        ("based_on: basse.yaml", {"base.yaml": BASE}, "did you mean 'base.yaml'?"),
        ("based_on: .", {}, "is a folder"),
    ],
)
def test_files_that_cannot_be_laid_are_told(
    folder: Folder, device: str, files: dict[str, str], message: str
) -> None:
    """A cycle of files, a missing file or a file of another kind is told where it is named."""
    assert message in folder.error(device, files)
