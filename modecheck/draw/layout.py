"""Finds a place for everything in a sketch, by running Graphviz' `dot` as a separate process.

The program comes with the package graphviz-pure: nothing has to be installed on the system, and
layouts are the same on every platform. As a separate process it can be stopped. If the package is
missing, the system's `dot` is used; `stand_in` says so, since another version may place things
elsewhere.

    ModecheckError
    └── NoLayout            the picture cannot be laid out; its DOT text can still be written
"""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import metadata
from pathlib import Path
from typing import Any

from modecheck.draw.geometry import Curve, Point, Rectangle
from modecheck.model.errors import ModecheckError

TIME_LIMIT = 20.0
"""Seconds for one layout. A statechart of 12 states and 35 rules takes 0.03; one that takes longer
than this is too large to read anyway."""

MOST_BOXES = 400
"""Boxes and labels in a picture. A statechart of 120 states has about this many, takes 3 seconds in
all, and is two metres wide: no page holds more."""

PROGRAM = "graphviz-pure"
SYSTEM_PROGRAM = "dot"

MOST_REMEMBERED = 256
"""Layouts kept: variants of a device have most of their pictures in common."""


class NoLayout(ModecheckError):
    """A picture that cannot be laid out. `name` is the drawing's, `reason` says why."""

    def __init__(self, name: str, reason: str) -> None:
        super().__init__(name, reason)
        self.name = name
        self.reason = reason

    def __str__(self) -> str:
        return f"no picture of {self.name!r}: {self.reason}; its DOT text is complete"


@dataclass(frozen=True, slots=True)
class LaidLine:
    """The curve of a line in the direction in which the DOT text names its ends.

    `tip` is the point of its arrow's tip, which begins where the curve ends.
    """

    curve: Curve
    tip: Point | None


@dataclass(frozen=True, slots=True)
class PicturePlaces:
    """Where boxes and frames stand, by key, and each line, by its id."""

    boxes: dict[str, Rectangle]
    frames: dict[str, Rectangle]
    lines: dict[str, LaidLine]


def laid_out(name: str, dot: str, boxes: int) -> PicturePlaces:
    """Where `dot` puts everything in the DOT text of the drawing `name`.

    Raises NoLayout if the program is missing, fails, or takes too long, and for more than
    MOST_BOXES boxes.
    """
    if boxes > MOST_BOXES:
        raise NoLayout(name, f"it has {boxes} boxes and labels; the limit is {MOST_BOXES}")
    return _places(json.loads(_answer(name, dot, _program(name))))


def stand_in() -> str:
    """The note to show if the system's program is used instead; else empty."""
    if _installed_program() is None and (found := _system_program()) is not None:
        return (
            f"laid out by the system's {found}, since the package {PROGRAM} is not installed; "
            "pictures may differ from those drawn elsewhere"
        )
    return ""


@lru_cache(maxsize=MOST_REMEMBERED)
def _answer(name: str, dot: str, program: Path) -> str:
    command = [str(program), "-Kdot", "-Tjson0"]
    try:
        answer = subprocess.run(  # noqa: S603 - a program of ours, and no shell
            command, input=dot.encode(), capture_output=True, timeout=TIME_LIMIT, check=True
        )
    except subprocess.TimeoutExpired as error:
        raise NoLayout(name, f"its layout took longer than {TIME_LIMIT:.0f} s") from error
    except subprocess.CalledProcessError as error:
        said = error.stderr.decode(errors="replace").strip().splitlines()
        raise NoLayout(
            name, f"the layout failed ({said[-1] if said else 'no reason given'})"
        ) from error
    except OSError as error:
        raise NoLayout(name, f"the layout program did not start ({error})") from error
    return answer.stdout.decode()


def _program(name: str) -> Path:
    found = _installed_program() or _system_program()
    if found is None:
        reason = f"neither the package {PROGRAM} (pip install {PROGRAM}) nor a program "
        raise NoLayout(name, f"{reason}{SYSTEM_PROGRAM!r} is installed")
    return found


def _system_program() -> Path | None:
    found = shutil.which(SYSTEM_PROGRAM)
    return Path(found) if found else None


@cache
def _installed_program() -> Path | None:
    """The program that came with the package; else one of that name on the search path."""
    try:
        files = metadata.distribution(PROGRAM).files or []
    except metadata.PackageNotFoundError:
        files = []
    for file in files:
        if file.stem == PROGRAM and file.suffix in ("", ".exe"):
            return Path(str(file.locate())).resolve()
    found = shutil.which(PROGRAM)
    return Path(found) if found else None


def _places(answer: dict[str, Any]) -> PicturePlaces:
    height = float(answer["bb"].split(",")[3])
    boxes: dict[str, Rectangle] = {}
    frames: dict[str, Rectangle] = {}
    for thing in answer.get("objects", []):
        if thing["name"].startswith("cluster_"):
            frames[thing["name"].removeprefix("cluster_")] = _cluster(thing, height)
        elif "pos" in thing:
            boxes[thing["name"]] = _node(thing, height)
    lines = {
        edge["id"]: _line(edge["pos"], height)
        for edge in answer.get("edges", [])
        if "id" in edge and "pos" in edge
    }
    return PicturePlaces(boxes, frames, lines)


def _cluster(thing: dict[str, Any], height: float) -> Rectangle:
    left, bottom, right, top = (float(part) for part in thing["bb"].split(","))
    return Rectangle(left, height - top, right, height - bottom)


def _node(thing: dict[str, Any], height: float) -> Rectangle:
    x, y = _point(thing["pos"], height)
    half_width = float(thing["width"]) * 36
    half_height = float(thing["height"]) * 36
    return Rectangle(x - half_width, y - half_height, x + half_width, y + half_height)


def _line(text: str, height: float) -> LaidLine:
    """A line has a tip at one of its ends at most: "e,X,Y" or "s,X,Y" before its curve."""
    tips = [part[2:] for part in text.split() if part[0] in "es"]
    curve = tuple(_point(part, height) for part in text.split() if part[0] not in "es")
    return LaidLine(curve, _point(tips[0], height) if tips else None)


def _point(text: str, height: float) -> Point:
    x, y = text.split(",")[:2]
    return (float(x), height - float(y))
