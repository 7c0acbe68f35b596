"""What the README shows is what the tool does."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

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


def test_every_finding_is_explained() -> None:
    """Each code of a finding stands in the README's table."""
    from modecheck.checks.findings import KINDS

    assert [code for code in KINDS if f"`{code}`" not in README] == []


def test_every_command_and_option_is_explained() -> None:
    """Nobody has to find an option by chance."""
    for command in ("check", "draw", "gaps", "page", "roam", "tours"):
        shown = subprocess.run(
            [sys.executable, "-m", "modecheck", command, "--help"],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        options = set(re.findall(r"--[a-z-]+", shown)) - {"--help"}
        assert [name for name in sorted(options) if name not in README] == []


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
