"""A repository of models under git, in which commits plant mistakes, and the job that the guide
documents for it.
"""

from __future__ import annotations

import html
import json
import os
import re
import shlex
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from xml.etree import ElementTree

import yaml

from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from tests.cli.running import MODELS, Run, run
from tests.documents import examples

TANDEM = "models/tandem/device.yaml"
FILES = ("modecheck.xml", "modecheck.sarif", "modecheck.md")
KEPT = ("tandem", "starter", "small")
"""Folders of the clean models that twins are based on."""


def texts_in(document: object) -> Iterator[str]:
    """Every text in YAML that was read."""
    if isinstance(document, str):
        yield document
    elif isinstance(document, dict):
        yield from chain.from_iterable(map(texts_in, document.values()))
    elif isinstance(document, list):
        yield from chain.from_iterable(map(texts_in, document))


def command_in(job: str) -> list[str]:
    """The words behind `modecheck` in the only command of a job that checks."""
    texts = texts_in(yaml.safe_load(job))
    (command,) = [text for text in texts if text.startswith("modecheck check ")]
    return shlex.split(command)[1:]


def command_of_the_job() -> list[str]:
    """The words behind `modecheck` in the jobs of the guide, which all run the same."""
    commands = [command_in(example.text) for example in examples("a job")]
    assert all(command == commands[0] for command in commands)
    return commands[0]


def git(repository: Path, *arguments: str) -> None:
    """Run git there, as nobody in particular, with nobody's settings."""
    who = ("-c", "user.name=nobody", "-c", "user.email=nobody@example.org")
    subprocess.run(["git", *who, *arguments], cwd=repository, check=True, capture_output=True)


def repository_in(folder: Path) -> Path:
    """The clean models in a repository of their own, committed."""
    for name in KEPT:
        shutil.copytree(MODELS / name, folder / "models" / name)
    git(folder, "init", "-q")
    git(folder, "add", ".")
    git(folder, "commit", "-q", "-m", "Add the models")
    return folder


def plant(twin: str, repository: Path) -> str:
    """Commit a twin in the place of the device that it is based on, which moves beside it. The path
    of the device in the repository.
    """
    text = (MODELS / "faulty" / f"{twin}.yaml").read_text("utf-8")
    (base,) = re.findall(r"^based_on: \.\./(.*)$", text, re.M)
    device = repository / "models" / base
    git(repository, "mv", f"models/{base}", f"models/{base}.sound.yaml")
    text = re.sub(r"^based_on: .*$", f"based_on: {device.name}.sound.yaml", text, flags=re.M)
    device.write_text(text, encoding="utf-8")
    git(repository, "add", ".")
    git(repository, "commit", "-q", "-m", f"Plant {twin}")
    return f"models/{base}"


def take_back(repository: Path) -> None:
    """Everything as in the first commit."""
    git(repository, "reset", "-q", "--hard", "HEAD~1")


def job(repository: Path, device: str = TANDEM) -> Run:
    """What the documented job does, for a device of the repository."""
    for name in FILES:
        (repository / name).unlink(missing_ok=True)
    words = [device if word == TANDEM else word for word in command_of_the_job()]
    return run(*words, folder=repository)


@dataclass(frozen=True, slots=True)
class Shown:
    """A finding's id, and its place as `file:line`."""

    finding: str
    place: str


def shown_in_all(repository: Path) -> set[Shown]:
    """The findings that the job's files show, with the place that each gives; in SARIF, in JUnit
    and in Markdown alike, or an assertion fails.
    """
    log = json.loads((repository / "modecheck.sarif").read_text("utf-8"))
    shown = set()
    failed = "\n".join(
        element.text or ""
        for element in ElementTree.fromstring(  # noqa: S314 - we wrote it
            (repository / "modecheck.xml").read_text("utf-8")
        ).iter("failure")
    )
    text = html.unescape((repository / "modecheck.md").read_text("utf-8"))
    text = re.sub(r"\\(.)", r"\1", text)
    for result in log["runs"][0]["results"]:
        name = result["partialFingerprints"]["findingId/v1"]
        place = result["locations"][0]["physicalLocation"]
        line = f"{place['artifactLocation']['uri']}:{place['region']['startLine']}"
        assert f"{name}\nat {line}:" in failed, name
        assert re.search(
            rf"<code>{re.escape(name)}</code>\)</summary>\n\n.+\n\nat <code>{line}:", text
        ), name
        shown.add(Shown(name, line))
    return shown


def _enclosing(lines: list[str]) -> list[str]:
    """The last line, and the keys below which it stands."""
    found = lines[-1:]
    for line in reversed(lines[:-1]):
        indents = [len(one) - len(one.lstrip()) for one in (line, found[-1])]
        if line.strip() and indents[0] < indents[1]:
            found.append(line)
    return found


def _files_of_chips(device: Device, names: set[str]) -> set[str]:
    """Where the states of the chips stand that have one of these names."""
    states = [chip.states.values() for chip in device.chips.values() if chip.name in names]
    return {os.path.normpath(state.place.file) for state in chain(*states)}


def need_caught(twin: str, repository: Path) -> None:
    """Assert that the job fails when a twin is planted, and that each finding that the twin
    deserves is shown in each file: at the mistake itself, or at a line that holds a name out of the
    finding, stands below such a key, or belongs to the file of a chip that the finding names.
    """
    device = plant(twin, repository)
    try:
        result = job(repository, device)
        assert result.code == 1, (twin, result)
        shown = {one.finding: one.place for one in shown_in_all(repository)}
        planted = read_device(str(repository / device))
        expected = {one.finding for one in planted.expected}
        assert expected
        assert expected <= shown.keys(), (twin, expected - shown.keys())
        for finding in expected:
            file, _, number = shown[finding].rpartition(":")
            lines = (repository / file).read_text("utf-8").splitlines()[: int(number)]
            around = "\n".join(_enclosing(lines))
            names = set(re.findall(r"\w+", finding.partition(":")[2]))
            near = names & set(re.findall(r"\w+", around))
            own = str(repository / file) in _files_of_chips(planted, names)
            assert file == device or near or own, (twin, finding, around)
    finally:
        take_back(repository)
