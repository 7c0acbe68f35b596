"""Names: each public one stands for one thing, and no word that was renamed is left anywhere."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from modecheck.cli.main import COMMANDS, _modecheck
from modecheck.model import renamed_words

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "modecheck"
TABLE = PACKAGE / "model" / "renamed_words.py"

OLD_KEY = r"(?<![\w.])(ignores|raise|tags):(?=\s)|(?<!\w)every: ?[\[{<\d]"
OLD_WORD = (
    r"\bignores\b|\(ignored\)|\braised\(|\bunhandled-message\b|--equivalence\b|`(every|raise|tags)`"
    r"|\bleft_keys\b|\bright_keys\b|\bscanner\b|\bhand unit|\bleft hand\b|\bwaking key\b"
    r"|\bbridge_60\b|\bjugs_3_5\b|\bmistakes? in the input\b"
)
OLD = re.compile(f"{OLD_KEY}|{OLD_WORD}")


def test_every_public_class_has_a_name_of_its_own() -> None:
    """In the whole of modecheck, so that a name can be looked up."""
    places = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[node.name].append(str(path.relative_to(ROOT)))
    assert {name: found for name, found in places.items() if len(found) > 1} == {}


def test_every_module_has_a_name_of_its_own() -> None:
    """`__init__` and `__main__` aside."""
    places = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        if not path.stem.startswith("__"):
            places[path.stem].append(str(path.relative_to(ROOT)))
    assert {name: found for name, found in places.items() if len(found) > 1} == {}


def read_by_people() -> Iterator[Path]:
    """What a user reads or writes: models, guides, schemas, the page."""
    yield from (ROOT / "README.md", ROOT / "DEVELOPERS.md")
    yield from (PACKAGE / "guide").rglob("*.md")
    yield from (PACKAGE / "report" / "new").iterdir()
    for folder, ending in (("models", "*.yaml"), ("models", "*.md")):
        yield from (ROOT / folder).rglob(ending)
    yield from (PACKAGE / "model" / "schema").glob("*.json")
    for folder in ("assets", "templates"):
        yield from (PACKAGE / "report" / "page" / folder).iterdir()


def test_no_old_word_is_left_for_people_to_read() -> None:
    """Each has a new name, which the table of renamed words tells."""
    found = {
        f"{path.relative_to(ROOT)}: {match[0]}"
        for path in read_by_people()
        for match in OLD.finditer(path.read_text(encoding="utf-8"))
    }
    assert found == set()


def strings(path: Path) -> Iterator[str]:
    """The texts in a module, without its docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in alone:
            yield node.value


def test_no_old_word_is_left_in_what_is_printed() -> None:
    """Every text in the code, but for the table that names the old words."""
    found = {
        f"{path.relative_to(ROOT)}: {match[0]}"
        for path in sorted(PACKAGE.rglob("*.py"))
        if path != TABLE
        for text in strings(path)
        for match in OLD.finditer(text)
    }
    assert found == set()


@pytest.mark.parametrize("command", COMMANDS)
def test_no_old_word_is_left_in_the_help(command: str) -> None:
    """Neither an option nor a key."""
    told = CliRunner().invoke(_modecheck, [command, "--help"]).output
    assert "Usage" in told
    assert OLD.findall(told) == []


def test_old_words_are_seen() -> None:
    """The pattern above finds each word of the table, as people wrote it."""
    for old in renamed_words.KEYS:
        assert OLD.search(f"  {old}: [a]"), old
    for old in (*renamed_words.OPTIONS, *renamed_words.CODES):
        assert OLD.search(f" {old} "), old
    assert OLD.search("never: raised(ping)")
