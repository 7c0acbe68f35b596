"""The JSON Schemas say what the reader says: same keys, same choices, same bounds, same files."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from modecheck.compare.described import SEEN
from modecheck.model import exchanges, faults, links, outlines, requirements, shapes
from modecheck.model.errors import InvalidInput
from modecheck.model.key_readers import READERS
from modecheck.model.values import MOST_KEYS
from modecheck.model.verdicts import LONGEST_SCENARIO
from tests.declared_keys import SCHEMAS, path_of, schema_text
from tests.model.folder import Folder
from tests.model.plain_data import data_in_file
from tests.model.schemas import NAMES, complaints, kind_of_file, schema

MODELS = Path(__file__).parents[2] / "models"
FILES = sorted(MODELS.rglob("*.yaml"))


def with_keys(part: Any) -> Any:
    """The choice of a part that is a mapping with known keys."""
    return next(choice for choice in [part, *part.get("anyOf", [])] if "properties" in choice)


def definition(file: str, name: str, *path: str) -> Any:
    """A definition of a schema, or what stands under keys in it."""
    found = schema(file)["$defs"][name]
    for step in path:
        found = with_keys(found)["properties"][step]
    return found


def choices_of(part: Any) -> set[str]:
    """The words that a part of a schema allows."""
    words = set(part.get("enum", []))
    for choice in part.get("anyOf", []):
        words |= choices_of(choice)
    return {word for word in words if isinstance(word, str)}


@pytest.mark.parametrize("name", NAMES)
def test_the_schemas_are_schemas(name: str) -> None:
    """Draft 2020-12 of JSON Schema."""
    assert schema(name)["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(schema(name))


@pytest.mark.parametrize("path", FILES, ids=[str(path.relative_to(MODELS)) for path in FILES])
def test_every_bundled_file_is_valid(path: Path) -> None:
    """What is read as an example is an example for editors, too."""
    data = data_in_file(str(path))
    assert complaints(kind_of_file(data), data) == []


@pytest.mark.parametrize("name", NAMES)
def test_the_schemas_follow_from_the_declared_keys(name: str) -> None:
    """`python -m tests.declared_keys` writes them anew."""
    assert path_of(name).read_text(encoding="utf-8") == schema_text(name)


@pytest.mark.parametrize(
    ("part", "keys"),
    [
        (definition("device", "requirement", "scope"), requirements.SPAN_KEYS),
        (definition("device", "requirement", "exactly_once"), exchanges.EXCHANGE_KEYS),
    ],
)
def test_the_keys_inside_of_a_key_are_those_of_the_reader(part: Any, keys: Collection[str]) -> None:
    """No key is missing and none is invented."""
    assert set(with_keys(part)["properties"]) == set(keys)


@pytest.mark.parametrize("place", [*SCHEMAS["chip"], *SCHEMAS["device"]])
def test_other_keys_are_refused(place: tuple[str, ...]) -> None:
    """An editor marks a key that no part has."""
    part = schema("chip" if place in SCHEMAS["chip"] and place else "device")
    for step in place:
        part = part[step]
    assert with_keys(part)["additionalProperties"] is False


def test_every_kind_of_key_that_is_read_in_general_can_be_compared() -> None:
    """Nothing that a key changes is overlooked: what has a reader here has a facet there."""
    assert READERS.keys() <= SEEN.keys()


@pytest.mark.parametrize(
    ("part", "choices"),
    [
        (definition("device", "link", "can"), links.LINK_FAULTS),
        (definition("device", "message"), links.MESSAGE_KINDS),
        (definition("device", "message", "kind"), links.MESSAGE_KINDS),
        (definition("chip", "fair"), shapes.FAIR),
        (definition("chip", "name")["not"], shapes.RESERVED),
    ],
)
def test_the_choices_are_those_of_the_reader(part: Any, choices: Collection[str]) -> None:
    """The words that a key takes, and those that no name may be."""
    assert choices_of(part) == set(choices)


@pytest.mark.parametrize(
    ("part", "low", "high"),
    [
        (definition("device", "fault_of_chips", "at_most"), 0, faults.LARGEST_BUDGET),
        (definition("device", "fault_of_links", "at_most"), 0, faults.LARGEST_BUDGET),
        (definition("device", "expectation", "steps"), 0, LONGEST_SCENARIO),
        (definition("device", "under_way"), 1, exchanges.MOST_UNDER_WAY),
        (definition("chip", "variable", "list"), 1, outlines.LONGEST_LIST),
        (definition("chip", "variable", "bond")["anyOf"][1], 1, MOST_KEYS),
    ],
)
def test_the_bounds_are_those_of_the_reader(part: Any, low: int, high: int) -> None:
    """The smallest and the largest number that a key takes."""
    assert (part["minimum"], part["maximum"]) == (low, high)


def test_every_key_is_described() -> None:
    """An editor that completes a key says what it is for; a reference may say it for the key."""
    silent = [
        f"{name}: {key}"
        for name in NAMES
        for part in [schema(name), *schema(name)["$defs"].values()]
        for place in [part, *part.get("anyOf", [])]
        for key, value in place.get("properties", {}).items()
        if "description" not in value and "$ref" not in value
    ]
    assert silent == []


DEVICE = "device: d\nchips: {hub: {states: [s], rules: [{signal: ping}]}, tile: {states: [s]}}\n"


@pytest.mark.parametrize(
    "text",
    [
        DEVICE + "zebra: 1\n",
        "device: d\nchips: {hub: {states: [s], zebra: 1}}\n",
        "device: d\nchips: {hub: {states: {s: {zebra: 1}}}}\n",
        "device: d\nchips: {hub: {states: {s: {states: {t: {zebra: 1}}}}}}\n",
        "device: d\nchips: {hub: {states: {s: {rules: [{zebra: 1}]}}}}\n",
        "device: d\nchips: {hub: {states: [s], rules: [{zebra: 1}]}}\n",
        "device: d\nchips: {hub: {states: [s], rules: {r: {zebra: 1}}}}\n",
        "device: d\nchips: {hub: {states: [s], variables: {v: {bool: true, zebra: 1}}}}\n",
        DEVICE + "actors: {a: {states: [s], zebra: 1}}\n",
        DEVICE + "links: {l: {from: hub, to: tile, carries: [m], zebra: 1}}\n",
        DEVICE + "links: {l: {from: hub, to: tile, carries: {m: {zebra: 1}}}}\n",
        DEVICE + "pairings: {p: {ends: [hub.a, tile.a], zebra: 1}}\n",
        DEVICE + "faults: {zebra: {chips: [hub]}}\n",
        DEVICE + "faults: {power_cut: {chips: [hub], zebra: 1}}\n",
        DEVICE + "faults: {power_cut: {chips: [hub], links: [l]}}\n",
        DEVICE + "requirements: {R: {text: t, never: hub.s, zebra: 1}}\n",
        DEVICE + "requirements: {R: {text: t, recoverable: {to: hub.s, zebra: 1}}}\n",
        DEVICE + "requirements: {R: {text: t, never: hub.s, scope: {zebra: hub.s}}}\n",
        DEVICE + "requirements: {R: {text: t, exactly_once: {zebra: hub.s}}}\n",
        DEVICE + "accepted: [{finding: 'deadlock:x', reason: r, zebra: 1}]\n",
        DEVICE + "expect: [{finding: 'deadlock:x', zebra: 1}]\n",
    ],
)
def test_what_the_reader_refuses_for_an_unknown_key_the_schema_refuses(
    folder: Folder, text: str
) -> None:
    """Wherever a key can stand, both know which."""
    errors = [str(error) for error in folder.errors(text)]
    assert any("unknown key" in error for error in errors)
    assert complaints("device", data_in_file(str(folder.path / "device.yaml")))


@pytest.mark.parametrize(
    "text",
    ["chip: c\nstates: [s]\nzebra: 1\n", "states: [s]\n", "chip: c\nstates: {s: {zebra: 1}}\n"],
)
def test_chip_files_are_refused_likewise(folder: Folder, text: str) -> None:
    """The schema of chip files is as strict."""
    with pytest.raises(InvalidInput):
        folder.device("device: d\nchips: {a: {file: c.yaml}}\n", {"c.yaml": text})
    assert complaints("chip", data_in_file(str(folder.path / "c.yaml")))


@pytest.mark.parametrize(
    "text",
    [
        "based_on: other.yaml\n",
        "device: d\nbased_on: other.yaml\nlinks: {up: {capacity: 2, can: ~}, down: ~}\n",
        "device: d\nbased_on: other.yaml\nchips: {hub: {rules: {r: ~, q: {send: ~}}}, tile: ~}\n",
        "device: d\nbased_on: other.yaml\nrequirements: {R: ~, Q: {text: other}}\nfaults: ~\n",
        DEVICE + "actors: ~\nlinks: ~\nmodes: ~\noptions: ~\nexpect: ~\nclock: ~\n",
        "device: 7\nchips: {a: {states: [s], rules: ~, variables: {v: bool, w: true}}}\n",
    ],
)
def test_overlays_and_short_forms_are_valid(tmp_path: Path, text: str) -> None:
    """A file that is laid over another says only what is different; null removes."""
    path = tmp_path / "device.yaml"
    path.write_text(text, encoding="utf-8")
    assert complaints("device", data_in_file(str(path))) == []


@pytest.mark.parametrize(
    ("need", "valid"),
    [
        ("never: signalled(ping)", True),
        ("always: hub.s, scope: globally", True),
        ("eventually: hub.s, scope: {after: tile.s, until: signalled(ping)}", True),
        ("whenever: hub.s, then: tile.s, scope: {before: hub.s}", True),
        ("before: hub.s, first: tile.s, scope: {between: [hub.s, tile.s]}", True),
        ("exactly_once: {sent: hub.m, received: tile.m, under_way: 2}, may_lose: hub.s", True),
        ("exactly_once: {sent: [hub.m], received: [tile.m], may_lose: while hub.s}", True),
        ("exactly_once: {sent: hub.m, received: tile.m, under_way: 17}", False),
        ("exactly_once: {sent: hub.m}", False),
        ("never: hub.s, scope: globaly", False),
        ("never: hub.s, scope: {between: [hub.s]}", False),
        ("never: [hub.s]", False),
    ],
)
def test_requirements_are_valid_where_the_reader_takes_them(
    folder: Folder, need: str, valid: bool
) -> None:
    """Every pattern and scope, and what is none."""
    text = DEVICE.replace("{signal: ping}", "{signal: ping, send: m}").replace(
        "tile: {states: [s]}", "tile: {states: [s], discards: [m]}"
    )
    text += "links: {l: {from: hub, to: tile, carries: [m], when_full: wait}}\n"
    text += f"requirements: {{R: {{text: t, {need}}}}}\n"
    read = True
    try:
        folder.device(text)
    except InvalidInput:
        read = False
    assert read is valid
    assert (complaints("device", data_in_file(str(folder.path / "device.yaml"))) == []) is valid
