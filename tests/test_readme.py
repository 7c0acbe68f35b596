"""What the README shows is what the tool does."""

from __future__ import annotations

import importlib
import json
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from modecheck.cli.main import COMMANDS
from modecheck.model.exchanges import EXCHANGE_KEYS
from modecheck.model.requirements import REQUIREMENT_KEYS, SPAN_KEYS
from modecheck.model.shapes import FAIR
from modecheck.model.syntax import EVENT_WORDS

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"<!-- shown by: modecheck (.*?) -->\n```text\n(.*?)```", README, re.DOTALL)


def test_the_readme_shows_something() -> None:
    """There is an example to hold it against."""
    assert SHOWN


@pytest.mark.parametrize(("command", "shown"), SHOWN)
def test_the_output_shown_is_the_output(command: str, shown: str) -> None:
    """A reader who runs the command sees the same."""
    result = subprocess.run(
        [sys.executable, "-m", "modecheck", *command.split()],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert result.stdout == shown


LESSON = re.findall(r"<!-- lesson: (\S+) -->\n```yaml\n(.*?)```", README, re.DOTALL)
LESSON_SHOWN = re.findall(
    r"<!-- lesson shown by: modecheck (.*?) -->\n```text\n(.*?)```", README, re.DOTALL
)


def in_lesson(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """A command that a reader runs beside `models`, with the lesson's files written."""
    (folder / "models").symlink_to(ROOT / "models")
    for name, text in LESSON:
        (folder / name).write_text(text, encoding="utf-8")
    return subprocess.run(
        [sys.executable, "-m", "modecheck", *command.split()],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_lesson_catches_a_deadlock(tmp_path: Path) -> None:
    """As the README shows it, at the beginning of the output."""
    ((command, shown),) = LESSON_SHOWN
    result = in_lesson(command, tmp_path)
    assert result.stdout.startswith(shown)
    assert result.returncode == 1


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
    told = json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))
    assert [finding["id"] for finding in told["findings"]] == findings


def test_every_finding_is_explained() -> None:
    """Each code of a finding stands in the README's table."""
    from modecheck.checks.findings import KINDS

    assert [code for code in KINDS if f"`{code}`" not in README] == []


def test_every_command_and_option_is_explained() -> None:
    """Nobody has to find an option by chance."""
    for command in COMMANDS:
        shown = subprocess.run(
            [sys.executable, "-m", "modecheck", command, "--help"],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        options = set(re.findall(r"--[a-z-]+", shown)) - {"--help"}
        assert [name for name in sorted(options) if name not in README] == []


def table_of_options() -> dict[str, set[str]]:
    """Which commands have which option, as the README's table says it."""
    table = README[README.index("| option | of |") :].partition("\n\n")[0]
    users: dict[str, set[str]] = {}
    for row in table.splitlines()[2:]:
        options, of = (cell.strip() for cell in row.split("|")[1:3])
        named = set(re.findall(r"\w+", of)) - {"all", "but", "and"}
        assert named <= set(COMMANDS), row
        for option in set(re.findall(r"--[a-z-]+", options)):
            assert option not in users, f"{option} has two rows"
            users[option] = set(COMMANDS) - named if of.startswith("all") else named
    return users


def test_the_table_of_options_is_that_of_the_commands() -> None:
    """No option is missing, and none is told of a command that does not have it."""
    users: dict[str, set[str]] = {}
    for name, module in COMMANDS.items():
        command: click.Command = importlib.import_module(module).command
        for option in (word for param in command.params for word in param.opts):
            if option.startswith("--"):
                users.setdefault(option, set()).add(name)
    assert table_of_options() == users


HOLDING = re.findall(r"<!-- every requirement holds -->\n```yaml\n(.*?)```", README, re.DOTALL)


def verdicts(text: str, folder: Path) -> list[str]:
    """What check says of each requirement of a device."""
    device, told = folder / "device.yaml", folder / "told.json"
    device.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "modecheck", "check", str(device), "--json", str(told)]
    subprocess.run(command, capture_output=True, check=False)
    needs = json.loads(told.read_text(encoding="utf-8"))["requirements"]
    return [need["verdict"] for need in needs]


@pytest.mark.parametrize("text", HOLDING)
def test_the_requirements_shown_hold(text: str, tmp_path: Path) -> None:
    """Each is put to the test in the device shown, and none is broken."""
    needs = re.findall(r"^  R\d+:", text, re.MULTILINE)
    assert verdicts(text, tmp_path) == ["holds"] * len(needs)


@pytest.mark.parametrize(
    ("old", "new"),
    [("can: [lose]", "can: [lose], fair: weak"), ("{send: hello}", "{send: hello, fair: none}")],
)
def test_less_fairness_breaks_the_requirement_shown(old: str, new: str, tmp_path: Path) -> None:
    """As the README says of its last example."""
    assert old in HOLDING[-1]
    assert verdicts(HOLDING[-1].replace(old, new), tmp_path) == ["broken"]


def test_everything_that_a_requirement_can_say_is_explained() -> None:
    """Patterns, their partners, scopes, events and kinds of fairness."""
    words = {*REQUIREMENT_KEYS, *SPAN_KEYS, *EXCHANGE_KEYS, *EVENT_WORDS, *FAIR}
    section = README[README.index("### Requirements") : README.index("### Variants")]
    assert [word for word in sorted(words) if not re.search(rf"`[^`]*\b{word}\b", section)] == []


def test_every_link_leads_somewhere() -> None:
    """Links to files of the repository are not stale."""
    targets = re.findall(r"\]\(([^)#:]+)\)", README)
    assert [target for target in targets if not (ROOT / target).exists()] == []
