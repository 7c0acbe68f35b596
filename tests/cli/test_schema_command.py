"""`modecheck schema` prints what an editor needs, or where it lies."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from tests.cli.running import run


@pytest.mark.parametrize(
    ("words", "key"), [((), "device"), (("device",), "device"), (("chip",), "chip")]
)
def test_it_prints_a_schema(words: tuple[str, ...], key: str) -> None:
    """Of a device file, unless that of a chip file is asked for; --path names its file."""
    shown = run("schema", *words)
    schema = json.loads(shown.out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert key in schema["properties"]
    (path,) = run("schema", *words, "--path").out.splitlines()
    assert Path(path).is_absolute()
    assert Path(path).read_text(encoding="utf-8") == shown.out


def test_another_word_is_an_error() -> None:
    """That lists the two."""
    shown = run("schema", "link")
    assert (shown.code, shown.out) == (2, "")
    assert "'device', 'chip'" in shown.err
