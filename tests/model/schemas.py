"""The JSON Schemas that the package ships for editors, ready to validate plain data."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any

from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from tests.model.plain_data import Data

NAMES = ("device", "chip")


@cache
def schema(name: str) -> Any:
    """The schema of device files or of chip files, as it stands in the package."""
    text = (files("modecheck.model") / "schema" / f"{name}.json").read_text(encoding="utf-8")
    return json.loads(text)


@cache
def validator(name: str) -> Draft202012Validator:
    """A validator in which each schema finds the other, as an editor does beside it."""
    resources = [(f"{each}.json", Resource.from_contents(schema(each))) for each in NAMES]
    registry: Registry[Any] = Registry().with_resources(resources)
    return Draft202012Validator(schema(name), registry=registry)


def kind_of_file(data: Data) -> str:
    """Which of the two schemas is the right one."""
    return "device" if isinstance(data, dict) and "device" in data else "chip"


def complaints(name: str, data: Data) -> list[str]:
    """What a schema has against some data."""
    return [f"{error.json_path}: {error.message}" for error in validator(name).iter_errors(data)]
