"""modecheck from Python: load a device, check, explore or draw it, and compare it with another.

Invalid input raises `InvalidInput`, which lists every error with its place. A fault of the *device*
is never an exception: it is a `Finding` in the `Verdict`.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Literal, TypedDict

from modecheck.engine.choice import EngineName, Search, explore_with
from modecheck.engine.contract.space import Limits, Space
from modecheck.model.devices import read_device, variants
from modecheck.model.parts import Device
from modecheck.product.composition import compose

if TYPE_CHECKING:
    from modecheck.checks.explored import Verdict
    from modecheck.review.device_comparison import DeviceComparison


class _Bounds(TypedDict):
    max_states: int | None
    max_seconds: float | None
    engine: EngineName


def load(path: str | os.PathLike[str], options: Mapping[str, str] | None = None) -> Device:
    """The device in a file; options that are not chosen take their first value.

    Raises `InvalidInput` with every error in the files of the device.
    """
    return read_device(os.fspath(path), options)


def check(
    device: Device,
    *,
    every_option: bool = False,
    max_states: int | None = None,
    max_seconds: float | None = None,
    engine: EngineName = "auto",
) -> Verdict:
    """Explore a device and report what can go wrong, as the command `check` does.

    With `every_option` its file is read again for every combination of options. A bound that is
    hit makes the verdict incomplete: look at `Verdict.complete` before you trust an empty list.
    """
    from modecheck.checks.verdict import check as verdict_on

    devices: Iterable[Device] = [device]
    if every_option:
        devices = (read_device(device.file, choice) for choice in variants(device))
    return verdict_on(devices, search=_search(max_states, max_seconds, engine))


def explore(
    device: Device,
    *,
    max_states: int | None = None,
    max_seconds: float | None = None,
    engine: EngineName = "auto",
) -> Space:
    """The explored states of a device, numbered in order of depth."""
    return explore_with(compose(device), _search(max_states, max_seconds, engine))


def comparison(
    old: Device,
    new: Device,
    *,
    every_option: bool = False,
    equivalence: Literal["strong", "divergence", "branching", "weak"] = "branching",
    see: Sequence[str] = (),
    max_states: int | None = None,
    max_seconds: float | None = None,
    engine: EngineName = "auto",
) -> DeviceComparison:
    """Compare two devices, as the command `compare` does: text, findings, behaviour, what to test.

    `see` chooses what is observable, in place of the messages of each medium: each string lists
    messages, links and media, separated by commas. Raises `InvalidInput` when neither device has
    one of them. A bound that is hit makes the comparison incomplete: look at
    `DeviceComparison.complete`.
    """
    from modecheck.compare.refinement import Equivalence
    from modecheck.review.device_comparison import ComparisonRequest, compared

    bounds: _Bounds = {"max_states": max_states, "max_seconds": max_seconds, "engine": engine}
    verdicts = [check(device, every_option=every_option, **bounds) for device in (old, new)]
    asked = ComparisonRequest(Equivalence(equivalence), tuple(see))
    return compared(verdicts[0], verdicts[1], asked, _search(max_states, max_seconds, engine))


def pictures(verdict: Verdict, *, folds: Iterable[Sequence[str]] = ()) -> dict[str, str]:
    """Every picture of a device as SVG text, by its name, as the command `draw` writes them.

    It shows the first variant of the verdict. Pictures that cannot be laid out are left out.
    """
    from modecheck.draw.gallery import every_drawing
    from modecheck.draw.picture_files import rendered

    files = rendered(every_drawing(verdict.explored[0], verdict.findings, folds))
    svgs = (file for file in files if file.name.endswith(".svg"))
    return {file.name.removesuffix(".svg"): file.text for file in svgs if file.text is not None}


def _search(states: int | None, seconds: float | None, engine: EngineName) -> Search:
    return Search(engine=engine, limits=Limits(states=states, seconds=seconds))
