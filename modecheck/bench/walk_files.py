"""Walks as files: JSON, with the label of each step, and a sentence for people."""

from __future__ import annotations

import json
import re
from typing import Any

from modecheck.bench.manual_walk import ManualWalk, NotAllowed
from modecheck.model.errors import InputError, InvalidInput, nearest_name
from modecheck.model.places import Place, Source

MOST_BYTES = 16 * 1024 * 1024
"""Room for about 50,000 steps; nobody takes more by hand."""
EXPECTED = "a walk saved with 'keep'"


def walk_as_json(walk: ManualWalk) -> dict[str, Any]:
    """The walk, with the names of its device and variant."""
    device = walk.product.device
    return {
        "device": device.name,
        "options": dict(device.variant),
        "steps": [
            {"label": label, "text": told.text}
            for label, told in zip(walk.labels, walk.told(), strict=True)
        ],
    }


def load_walk(walk: ManualWalk, path: str) -> None:
    """Replace the walk by the one in a file, replayed step by step.

    Raises `InvalidInput` if it cannot be read, or if the model no longer allows a step.
    """
    text = _text_of(path)
    source = Source(path, tuple(text.split("\n")))
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        place = Place(source, error.lineno, error.colno)
        raise InvalidInput([InputError("this is not JSON", place, EXPECTED)]) from error
    except (ValueError, RecursionError) as error:
        message = f"{path!r} is too large to read"
        raise InvalidInput([InputError(message, None, EXPECTED)]) from error
    labels = _labels(data, Place(source, 1, 1))
    try:
        walk.follow_labels(labels)
    except NotAllowed as refused:
        where = _place_of(source, text, refused.position)
        here = ", ".join(map(repr, refused.labels)) or "no step at all"
        nearest = nearest_name(refused.label, refused.labels)
        raise InvalidInput(
            [InputError(str(refused), where, f"one of {here}", nearest)]
        ) from refused


def _text_of(path: str) -> str:
    try:
        with open(path, "rb") as file:
            raw = file.read(MOST_BYTES + 1)
        if len(raw) <= MOST_BYTES:
            return raw.decode("utf-8-sig")
        problem = f"{path!r} is too large"
    except UnicodeDecodeError:
        problem = f"{path!r} is not UTF-8 text"
    except FileNotFoundError:
        problem = f"there is no file {path!r}"
    except (OSError, ValueError) as error:
        problem = f"{path!r} cannot be read: {getattr(error, 'strerror', None) or error}"
    raise InvalidInput([InputError(problem, None, EXPECTED)])


def _labels(data: object, place: Place) -> list[str]:
    steps = data.get("steps") if isinstance(data, dict) else None
    if not isinstance(steps, list):
        raise InvalidInput([InputError("the key 'steps', a list, is missing", place, EXPECTED)])
    labels = []
    for position, step in enumerate(steps, start=1):
        label = step.get("label") if isinstance(step, dict) else None
        if not isinstance(label, str):
            message = f"step {position} has no label"
            raise InvalidInput([InputError(message, place, "the key 'label', a string")])
        labels.append(label)
    return labels


def _place_of(source: Source, text: str, position: int) -> Place | None:
    """Where the label of a step stands, if the file is laid out as we write it."""
    found = list(re.finditer(r'"label"\s*:\s*("(?:[^"\\]|\\.)*")', text))
    if position > len(found):
        return None
    match = found[position - 1]
    before = text[: match.start(1)]
    column = match.start(1) - (before.rfind("\n") + 1)
    return Place(source, before.count("\n") + 1, column + 1, len(match[1]))
