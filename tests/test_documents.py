"""What the README and the guide show is what the tool does, and together they say everything."""

from __future__ import annotations

import importlib
import json
import re
from pathlib import Path
from typing import Any

import click
import pytest
import yaml

from modecheck.cli.main import COMMANDS
from modecheck.model.exchanges import EXCHANGE_KEYS
from modecheck.model.finding_kinds import KINDS
from modecheck.model.keys import keys_of
from modecheck.model.requirements import SPAN_KEYS
from modecheck.model.shapes import FAIR
from modecheck.model.syntax import EVENT_WORDS
from tests.cli.running import Run, run
from tests.declared_keys import TOPIC, guide_text
from tests.documents import DOCUMENTS, GUIDE, README, ROOT, Example, examples, marks, the_guide

MARKS = {
    "shown by", "lesson", "lesson shown by", "every requirement holds", "finds",
    "laid over it, finds", "a sketch", "a job", "a rule to try", "a script", "shown by the script",
    "runs", "the finding",
}  # fmt: skip
"""What the comment above a block may say; each kind runs in a test, here or beside it."""
LONGEST_README = 300


def test_every_block_that_could_be_tried_is_tried() -> None:
    """Each block of YAML or Python has a comment above it that the tests know."""
    assert marks() == MARKS
    for path in DOCUMENTS:
        text = path.read_text(encoding="utf-8")
        alone = re.findall(r"(?<!-->\n)^```(?:yaml|python)\n", text, re.MULTILINE)
        assert alone == [], path


def test_the_readme_is_short() -> None:
    """Whoever comes here for the first time reads it to the end."""
    assert len(README.read_text(encoding="utf-8").splitlines()) <= LONGEST_README


SHOWN = [one for one in examples("shown by") if one.said.startswith("modecheck ")]


@pytest.mark.parametrize("example", SHOWN, ids=lambda one: str(one.said))
def test_the_output_shown_is_the_output(example: Example) -> None:
    """A reader who runs the command sees the same."""
    assert run(*example.said.split()[1:], folder=ROOT).out == example.text


LESSON = examples("lesson")


def in_lesson(command: str, folder: Path) -> Run:
    """A command that a reader runs beside `models`, with the lesson's files written."""
    (folder / "models").symlink_to(ROOT / "models")
    for example in LESSON:
        (folder / example.said).write_text(example.text, encoding="utf-8")
    return run(*command.split(), folder=folder)


def test_the_lesson_catches_a_deadlock(tmp_path: Path) -> None:
    """As the README shows it, at the beginning of the output."""
    (shown,) = examples("lesson shown by")
    result = in_lesson(shown.said.removeprefix("modecheck "), tmp_path)
    assert result.out.startswith(shown.text)
    assert result.code == 1


@pytest.mark.parametrize(
    ("name", "findings"),
    [
        ("waits.yaml", []),
        ("saves.yaml", ["deadlock:receiver.leaving", "broken-requirement:note_ends"]),
        ("hurries.yaml", ["broken-requirement:note_ends"]),
    ],
)
def test_the_lesson_finds_what_it_says(name: str, findings: list[str], tmp_path: Path) -> None:
    """In each of its files."""
    in_lesson(f"check {name} --json told.json", tmp_path)
    assert found_in(tmp_path / "told.json") == findings


def found_in(told: Path) -> list[str]:
    """The ids of the findings in the JSON of a check."""
    verdict = json.loads(told.read_text(encoding="utf-8"))
    return [finding["id"] for finding in verdict["findings"]]


def with_changes() -> list[tuple[Example, Example | None]]:
    """Each device of the tutorial, alone and with each change of it that is shown."""
    found: list[tuple[Example, Example | None]] = []
    devices = {one.text: one for one in examples("finds")}
    changes = {one.text: one for one in examples("laid over it, finds")}
    for path in DOCUMENTS:
        for text in re.findall(r"^```yaml\n(.*?)^```$", path.read_text("utf-8"), re.S | re.M):
            if text in devices:
                found.append((devices[text], None))
            elif text in changes:
                found.append((found[-1][0], changes[text]))
    return found


@pytest.mark.parametrize(("device", "change"), with_changes())
def test_the_tutorial_finds_what_it_says(
    device: Example, change: Example | None, tmp_path: Path
) -> None:
    """Neither more nor less."""
    (tmp_path / "device.yaml").write_text(device.text, encoding="utf-8")
    command = ["check", "device.yaml", "--json", "told.json"]
    if change is not None:
        (tmp_path / "change.yaml").write_text(change.text, encoding="utf-8")
        command += ["--with", "change.yaml"]
    run(*command, folder=tmp_path)
    said = (change or device).said.replace("nothing", "")
    assert found_in(tmp_path / "told.json") == said.split()


def test_a_clock_decides_the_example_of_time(tmp_path: Path) -> None:
    """As the guide says: without it, both requirements are broken."""
    (device,) = [one for one in examples("finds") if one.document == "time.md"]
    text = re.sub(r"(?m)^clock: .*\n|, within: 9 ms", "", device.text)
    assert verdicts(device.text, tmp_path) == ["holds", "holds"]
    assert verdicts(device.text.replace("9 ms", "8 ms"), tmp_path) == ["holds", "broken"]
    assert verdicts(text, tmp_path) == ["broken", "broken"]


HOLDING = examples("every requirement holds")


def verdicts(text: str, folder: Path) -> list[str]:
    """What check says of each requirement of a device."""
    (folder / "device.yaml").write_text(text, encoding="utf-8")
    run("check", "device.yaml", "--json", "told.json", folder=folder)
    told = json.loads((folder / "told.json").read_text(encoding="utf-8"))
    return [need["verdict"] for need in told["requirements"]]


@pytest.mark.parametrize("example", HOLDING)
def test_the_requirements_shown_hold(example: Example, tmp_path: Path) -> None:
    """Each is put to the test in the device shown, and none is broken."""
    needs = re.findall(r"^  R\d+:", example.text, re.MULTILINE)
    assert verdicts(example.text, tmp_path) == ["holds"] * len(needs)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("    can: [lose]\n", "    can: [lose]\n    fair: weak\n"),
        ("{send: hello}", "{send: hello, fair: none}"),
    ],
)
def test_less_fairness_breaks_the_requirement_shown(old: str, new: str, tmp_path: Path) -> None:
    """As the guide says of its last example."""
    text = HOLDING[-1].text
    assert old in text
    assert verdicts(text.replace(old, new), tmp_path) == ["broken"]


@pytest.mark.parametrize("example", examples("a sketch"), ids=lambda one: str(one.document))
def test_a_sketch_has_the_shape_of_a_model(example: Example) -> None:
    """It is no whole device, but an editor would accept each of its lines."""
    sketch: dict[str, Any] = yaml.load(example.text, Loader=yaml.BaseLoader)  # noqa: S506 - words
    kind = "chip" if "chip" in sketch else "device"
    schema = json.loads((ROOT / f"modecheck/model/schema/{kind}.json").read_text("utf-8"))
    parts = {key: value for key, value in schema["properties"].items() if key in sketch}
    assert parts.keys() == sketch.keys()


SCHEMAS = [
    json.loads((ROOT / f"modecheck/model/schema/{kind}.json").read_text("utf-8"))
    for kind in ("device", "chip")
]


def properties(schema: object) -> set[str]:
    """Every key that a JSON Schema names, at any depth."""
    found: set[str] = set()
    if isinstance(schema, dict):
        found |= set(schema.get("properties", {}))
        found = found.union(*map(properties, schema.values()))
    elif isinstance(schema, list):
        found = found.union(*map(properties, schema))
    return found


KEYS = properties(SCHEMAS)
LINK = keys_of("link")
CHOICES = {*LINK["when_down"].schema["enum"], *LINK["when_full"].schema["enum"]} - {None}
WORDS = {*EVENT_WORDS, *FAIR, *CHOICES, "value", "late", "min", "max"}


def as_code(text: str) -> str:
    """What stands between backticks, outside of fenced blocks."""
    return "\n".join(re.findall(r"`([^`\n]+)`", re.sub(r"(?ms)^```.*?^```$", "", text)))


def test_every_key_is_explained() -> None:
    """Each key of a model, and each word that expressions and links know, is in the guide."""
    code = as_code(the_guide())
    assert [word for word in sorted(KEYS | WORDS) if not re.search(rf"\b{word}\b", code)] == []


def test_the_tables_of_keys_follow_from_the_declared_keys() -> None:
    """`python -m tests.declared_keys` writes them anew."""
    assert TOPIC.read_text(encoding="utf-8") == guide_text()


def test_a_requirement_is_explained_in_one_place() -> None:
    """Patterns, their partners, scopes, events and kinds of fairness."""
    words = {*keys_of("requirement"), *SPAN_KEYS, *EXCHANGE_KEYS, *EVENT_WORDS, *FAIR}
    code = as_code((GUIDE / "requirements.md").read_text(encoding="utf-8"))
    assert [word for word in sorted(words) if not re.search(rf"\b{word}\b", code)] == []


@pytest.mark.parametrize("path", [README, GUIDE / "findings.md"], ids=lambda path: path.stem)
def test_every_finding_is_explained(path: Path) -> None:
    """Each code of a finding stands in the table of the README and in that of the guide."""
    text = path.read_text(encoding="utf-8")
    assert [code for code in KINDS if f"`{code}`" not in text] == []


def test_every_command_is_explained() -> None:
    """Each has a line in the README, in the order of the alphabet."""
    table = re.findall(r"^\| `modecheck ([\w-]+)", README.read_text(encoding="utf-8"), re.MULTILINE)
    assert table == sorted(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_of_a_command_says_everything(name: str) -> None:
    """What each option does, and what each exit code means."""
    command: click.Command = importlib.import_module(COMMANDS[name]).command
    for param in command.params:
        if isinstance(param, click.Option):
            assert param.help, param.name
    told = run(name, "--help").out
    assert re.search(r"Exit codes:\n +0  .+\n(.*\n)* +2  .+\n(.*\n)* *70  .+\n", told)
    assert max(map(len, told.splitlines())) <= 80


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.stem)
def test_no_option_is_told_of_that_does_not_exist(path: Path) -> None:
    """An option that is renamed is renamed here, too; those of other programs are listed."""
    commands = [importlib.import_module(module).command for module in COMMANDS.values()]
    own = {word for command in commands for param in command.params for word in param.opts}
    text = path.read_text(encoding="utf-8")
    told = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", text))
    others = {"--scheduler-file", "--nworkers", "--nthreads"} if path.stem == "cluster" else set()
    assert told - own - others <= {"--help", "--version", "--dist", "--install", "--quiet"}


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.stem)
def test_every_link_leads_somewhere(path: Path) -> None:
    """Links to files of the repository are not stale."""
    targets = re.findall(r"\]\(([^)#:]+)\)", path.read_text(encoding="utf-8"))
    assert [target for target in targets if not (path.parent / target).exists()] == []


def test_the_readme_leads_to_every_topic() -> None:
    """Nobody has to guess that it exists."""
    text = README.read_text(encoding="utf-8")
    assert [path.name for path in GUIDE.glob("*.md") if f"guide/{path.name})" not in text] == []
