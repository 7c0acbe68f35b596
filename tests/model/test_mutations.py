"""Bundled models, damaged: reading gives a device or errors, and never anything else.

What is still a device can be composed and explored, and what the reader accepts the schema accepts.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.engine.search.exploration import explore
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from tests.model.plain_data import Data, data_in_file
from tests.model.schemas import complaints

MODELS = Path(__file__).parents[2] / "models"
DAMAGED = [
    ("starter/device.yaml", "starter/device.yaml"),
    ("starter/device.yaml", "starter/receiver.yaml"),
    ("tandem/device.yaml", "tandem/device.yaml"),
    ("published/alternating_bit_2.yaml", "published/alternating_bit_2.yaml"),
    ("published/dekker.yaml", "published/chips/dekker.yaml"),
]
"""A device, and which of its files is damaged."""

Damage = Callable[[st.DataObject, Path], str]

KEYS = st.sampled_from(
    [
        "name", "in", "on", "after", "if", "do", "send", "signal", "to", "steps", "text", "from",
        "medium", "capacity", "carries", "can", "up_when", "when_down", "when_full", "delay",
        "about", "rest", "initial", "states", "rules", "discards", "defers", "variables", "with",
        "parameters", "file", "bool", "range", "one_of", "bond", "list", "start", "persistent",
        "kind", "chips", "actors", "links", "modes", "pairings", "faults", "options",
        "requirements", "accepted", "expect", "clock", "based_on", "ends", "at_most", "lose",
    ]
)  # fmt: skip
SCALARS = st.sampled_from(
    [
        None, True, False, 0, -1, 7, 2**31, 10**30, 1.5, "", "x", "none", "state", "value", "a b",
        "a.b", "{x}", "{", "x via y", "x(1)", "x = 1", "20 ms", "²", "--5", "a, b = b, a", "x[0]",
        "not", "é", "hub", "hub.state", "min(1)", "a" * 3000, "separate", "0x", "on", "\u2028",
    ]
)  # fmt: skip
VALUES: st.SearchStrategy[Data] = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(KEYS, inner, max_size=2),
    max_leaves=3,
)
SNIPPETS = st.sampled_from(
    [
        *"{}[]:,#&*!|>'\"%@`-? \t\n\0\x1b\x85\u2028é1ax=.()",
        "&a ",
        "*a",
        "!t ",
        "---\n",
        "<<: ",
        "null",
    ]
)


ODD_VALUES: list[Data] = [
    None, True, 0, -1, 10**30, "", "x", "a.b.c", "{x}", "x = 1", "x via y", "state", [], {}, ["x"],
    [None], {"x": None}, [[1]],
]  # fmt: skip
SMALL = [
    ("starter/device.yaml", "starter/device.yaml"),
    ("starter/device.yaml", "starter/receiver.yaml"),
    ("published/alternating_bit_1.yaml", "published/alternating_bit_1.yaml"),
    ("published/brand_zafiropulo.yaml", "published/brand_zafiropulo.yaml"),
    pytest.param("small/handshake.yaml", "small/handshake.yaml", marks=pytest.mark.thorough),
]
"""Devices that are read in a few milliseconds, so that very many replacements can be tried."""

STRIDE = 5 if settings().max_examples < 100 else 2
"""Of all pairs of a place and an odd value each fifth is tried; in CI each second one."""

HOW = st.sampled_from(["replace", "remove", "rename", "fill", "edit"])


@pytest.fixture(scope="module")
def models(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the bundled models that may be damaged."""
    copy = tmp_path_factory.mktemp("damaged") / "models"
    shutil.copytree(MODELS, copy)
    return copy


def paths_in(data: Data, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The way to every value inside."""
    items: Any = ()
    if isinstance(data, (dict, list)):
        items = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in items:
        yield (*path, key)
        yield from paths_in(value, (*path, key))


def damaged_tree(data: st.DataObject, file: Path) -> str:
    """One to three values replaced, removed, renamed, filled or edited; as JSON."""
    tree = data_in_file(str(file))
    for _ in range(data.draw(st.integers(1, 3))):
        paths = list(paths_in(tree))
        if paths:
            _damage_value(data, tree, data.draw(st.sampled_from(paths)))
    return json.dumps(tree)


def _damage_value(data: st.DataObject, tree: Data, path: tuple[str | int, ...]) -> None:
    holder: Any = tree
    for key in path[:-1]:
        holder = holder[key]
    last, how = path[-1], data.draw(HOW)
    value = holder[last]
    if how == "remove":
        del holder[last]
    elif how == "rename" and isinstance(holder, dict):
        holder[data.draw(KEYS)] = holder.pop(last)
    elif how == "fill" and isinstance(value, dict):
        value[data.draw(KEYS)] = data.draw(VALUES)
    elif how == "edit" and isinstance(value, str):
        holder[last] = _spliced(data, value)
    else:
        holder[last] = data.draw(VALUES)


def _spliced(data: st.DataObject, text: str) -> str:
    begin = data.draw(st.integers(0, len(text)))
    snippet: str = data.draw(SNIPPETS)
    return text[:begin] + snippet + text[begin + data.draw(st.integers(0, 3)) :]


def damaged_text(data: st.DataObject, file: Path) -> str:
    """One to three lines deleted, doubled or swapped, or characters replaced."""
    text = file.read_text(encoding="utf-8")
    for _ in range(data.draw(st.integers(1, 3))):
        lines = text.split("\n")
        one, other = (data.draw(st.integers(0, len(lines) - 1)) for _ in range(2))
        how = data.draw(st.sampled_from(["delete", "double", "swap", "splice"]))
        if how == "delete":
            del lines[one]
        elif how == "double":
            lines.insert(other, lines[one])
        elif how == "swap":
            lines[one], lines[other] = lines[other], lines[one]
        else:
            lines[one] = _spliced(data, lines[one])
        text = "\n".join(lines)
    return text


def read_and_judged(target: Path, device: Path) -> Device | None:
    """The device, unless it is refused; what is accepted must suit the schema."""
    try:
        read = read_device(str(device))
    except InvalidInput as error:
        if not error.errors or not str(error):
            raise
        return None
    if device == target:
        assert complaints("device", data_in_file(str(target))) == []
    return read


@pytest.mark.parametrize("damage", [damaged_tree, damaged_text])
@pytest.mark.parametrize(("device", "file"), DAMAGED)
@given(data=st.data())
def test_a_damaged_model_is_a_device_or_wrong(
    models: Path, device: str, file: str, damage: Damage, data: st.DataObject
) -> None:
    """Any exception but `InvalidInput` fails this test, and so does a stricter schema."""
    target = models / file
    target.write_text(damage(data, MODELS / file), encoding="utf-8", newline="")
    try:
        read = read_and_judged(target, models / device)
    finally:
        shutil.copy(MODELS / file, target)
    if read is not None:
        explore(compose(read), max_states=200)


def without(tree: Data, path: tuple[str | int, ...], replacement: list[Data]) -> str:
    """The tree as JSON, with the value at the path replaced, or removed when there is none."""
    copy: Any = json.loads(json.dumps(tree))
    holder = copy
    for key in path[:-1]:
        holder = holder[key]
    if replacement:
        holder[path[-1]] = replacement[0]
    else:
        del holder[path[-1]]
    return json.dumps(copy)


@pytest.mark.parametrize(("device", "file"), SMALL)
def test_an_odd_value_anywhere_is_refused_or_means_something(
    models: Path, device: str, file: str
) -> None:
    """The values of a small device removed one by one, and replaced by odd ones."""
    target, tree = models / file, data_in_file(str(MODELS / file))
    replacements: list[list[Data]] = [[], *([value] for value in ODD_VALUES)]
    pairs = list(product(paths_in(tree), replacements))[::STRIDE]
    for path, replacement in pairs:
        target.write_text(without(tree, path, replacement), encoding="utf-8")
        try:
            read = read_and_judged(target, models / device)
            if read is not None:
                explore(compose(read), max_states=20)
        except Exception as error:
            pytest.fail(f"{path} replaced by {replacement}: {error!r}")
    shutil.copy(MODELS / file, target)
    assert len(pairs) > 100
