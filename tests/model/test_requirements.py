"""Requirements: an id, a sentence, and one pattern."""

from __future__ import annotations

import pytest

from modecheck.model.parts import Requirement
from modecheck.model.terms import InState, Operation
from tests.model.folder import Folder, around

BODY = "states: [off, linked], rules: [{raise: reset_button}]"
LINKED = InState("hub", frozenset({"linked"}))


def requirement_of(folder: Folder, text: str) -> Requirement:
    beside = f"modes: {{playing: hub.linked}}\nrequirements: {{R1: {{text: it plays, {text}}}}}"
    return folder.device(around(BODY, beside=beside)).requirements["R1"]


@pytest.mark.parametrize("pattern", ["never", "always", "possible", "recoverable"])
def test_a_pattern_speaks_of_a_condition(folder: Folder, pattern: str) -> None:
    """A mode's name is a condition, too."""
    plain = requirement_of(folder, f"{pattern}: hub.state == linked")
    by_mode = requirement_of(folder, f"{pattern}: playing")
    assert (plain.pattern, plain.condition, plain.sentence) == (pattern, LINKED, "it plays")
    assert by_mode.condition == LINKED
    assert requirement_of(folder, f"{pattern}: not playing").condition == Operation(
        "not", (LINKED,)
    )


def test_a_road_may_be_forbidden_events(folder: Folder) -> None:
    """Signals and messages of the device; without them the road must still lead there."""
    found = requirement_of(folder, "recoverable: {to: playing, without: [reset_button, hello]}")
    assert (found.condition, found.without) == (LINKED, ("reset_button", "hello"))


@pytest.mark.parametrize(
    "text",
    [
        "whenever: hub.linked, then: hub.off",
        "before: {first: a, then: b}",
        "exactly_once: {sent: tile.keys, received: hub.keys}, may_lose: [tile]",
        "whenever: hub.linked, scope: [after, hub.off]",
    ],
)
def test_patterns_of_a_later_version_are_read(folder: Folder, text: str) -> None:
    """They have no condition, and check says that they were not evaluated."""
    assert requirement_of(folder, text).condition is None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{never: hub.linked}", "the requirement 'R1' lacks 'text'"),
        ("{text: x}", "the requirement 'R1' has no pattern"),
        ("{text: x, never: hub.linked, always: hub.off}", "the requirement 'R1' has two patterns"),
        ("{text: ~, never: hub.linked}", "nothing as text"),
        ("{text: [x], never: hub.linked}", "a list as text"),
        ("{text: x, never: [x]}", "a list as a condition"),
        ("{text: x, never: hub.lnked}", "did you mean 'linked'?"),
        ("{text: x, never: hub.linked, within: 50 ms}", "time is not counted yet"),
        ("{text: x, never: hub.linked, then: hub.off}", "'then' does not go with 'never'"),
        ("{text: x, always: hub.linked, scope: [after, x]}", "'scope' does not go with 'always'"),
        ("{text: x, recoverable: {without: []}}", "recoverable lacks 'to'"),
        ("{text: x, recoverable: {to: hub.off, without: [helo]}}", "did you mean 'hello'?"),
        ("{text: x, recoverable: {to: hub.off, via: hello}}", "unknown key 'via' in recoverable"),
        ("{text: x, nevr: hub.off, never: hub.off}", "did you mean 'never'?"),
        ("~", "nothing as the requirement 'R1'"),
        ("[a]", "a list as the requirement 'R1'"),
    ],
)
def test_requirements_that_are_none_are_told(folder: Folder, text: str, told: str) -> None:
    """A sentence and one pattern, whose names are those of the device."""
    assert told in folder.mistake(around(BODY, beside=f"requirements: {{R1: {text}}}"))
