"""Requirements: an id, a sentence, and one pattern."""

from __future__ import annotations

import pytest

from modecheck.model.parts import ExactlyOnce, Requirement, Span
from modecheck.model.terms import Happens, InState, Operation
from tests.model.folder import Folder, around

BODY = "states: [off, linked], rules: [{name: resets, signal: reset_button}]"
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


def test_a_path_may_be_forbidden_events(folder: Folder) -> None:
    """Signals and messages of the device; without them the road must still lead there."""
    found = requirement_of(folder, "recoverable: {to: playing, without: [reset_button, hello]}")
    assert (found.condition, found.without) == (LINKED, ("reset_button", "hello"))


OFF = InState("hub", frozenset({"off"}))


def test_response_and_precedence_have_a_partner(folder: Folder) -> None:
    """`then` is what follows a whenever, `first` what comes before a before."""
    response = requirement_of(folder, "whenever: hub.linked, then: hub.off")
    assert (response.condition, response.response) == (LINKED, OFF)
    precedence = requirement_of(folder, "before: hub.linked, first: hub.off")
    assert (precedence.condition, precedence.response) == (LINKED, OFF)


@pytest.mark.parametrize(
    ("scope", "span"),
    [
        ("globally", Span()),
        ("~", Span()),
        ("{before: hub.off}", Span("before", None, OFF, "before hub.off")),
        ("{after: hub.off}", Span("after", OFF, None, "after hub.off")),
        (
            "{between: [hub.off, hub.linked]}",
            Span("between", OFF, LINKED, "between hub.off and hub.linked"),
        ),
        (
            "{after: hub.off, until: hub.linked}",
            Span("after_until", OFF, LINKED, "after hub.off until hub.linked"),
        ),
    ],
)
def test_a_scope_opens_and_closes(folder: Folder, scope: str, span: Span) -> None:
    """The five scopes of the published patterns."""
    assert requirement_of(folder, f"eventually: playing, scope: {scope}").span == span


@pytest.mark.parametrize(
    ("text", "happens"),
    [
        ("sent(tile.hello)", Happens("sent", "tile", "hello")),
        ("accepted(up.hello)", Happens("accepted", "up", "hello")),
        ("delivered(hub.hello)", Happens("delivered", "hub", "hello")),
        ("dropped(hub.hello)", Happens("dropped", "hub", "hello")),
        ("dropped(tile.hello)", Happens("dropped", "tile", "hello")),
        ("signalled(reset_button)", Happens("signalled", "", "reset_button")),
        ("taken(hub.resets)", Happens("taken", "hub", "resets")),
    ],
)
def test_a_requirement_speaks_of_what_happens(folder: Folder, text: str, happens: Happens) -> None:
    """A chip or a link, and a message, a signal or a rule."""
    assert requirement_of(folder, f"never: {text}").condition == happens


def test_an_exchange_names_both_ends(folder: Folder) -> None:
    """One message or a list; what may be lost, inside or beside, with `while` before it or not."""
    found = requirement_of(
        folder,
        "exactly_once: {sent: tile.hello, received: [hub.hello], under_way: 3},"
        " may_lose: while hub.off",
    ).exchange
    ends = (("tile", "hello"),), (("hub", "hello"),)
    assert found == ExactlyOnce(*ends, OFF, "hub.off", 3)
    inside = requirement_of(
        folder, "exactly_once: {sent: [tile.hello], received: hub.hello, may_lose: hub.off}"
    ).exchange
    assert inside == ExactlyOnce(*ends, OFF, "hub.off", None)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{never: hub.linked}", "the requirement 'R1' lacks 'text'"),
        ("{text: x}", "the requirement 'R1' has no pattern"),
        (
            "{text: x, never: hub.linked, always: hub.off}",
            "the requirement 'R1' has more than one pattern",
        ),
        ("{text: ~, never: hub.linked}", "an empty value cannot be used as text"),
        ("{text: [x], never: hub.linked}", "a list cannot be used as text"),
        ("{text: x, never: [x]}", "a list cannot be used as a condition"),
        ("{text: x, never: hub.lnked}", "did you mean 'linked'?"),
        ("{text: x, never: hub.linked, within: 50 ms}", "'within' does not go with 'never'"),
        ("{text: x, whenever: hub.off, then: hub.off, within: 5 ms}", "'within' needs a clock"),
        ("{text: x, never: hub.linked, then: hub.off}", "'then' does not go with 'never'"),
        ("{text: x, always: hub.linked, scope: [after, x]}", "a list cannot be used as a scope"),
        ("{text: x, always: hub.linked, scope: aftr}", "'aftr' cannot be used as a scope"),
        ("{text: x, always: hub.linked, scope: {aftr: hub.off}}", "did you mean 'after'?"),
        (
            "{text: x, always: hub.linked, scope: {until: hub.off}}",
            "a scope with 'until'",
        ),
        (
            "{text: x, always: hub.linked, scope: {between: [hub.off]}}",
            "a list of 1 cannot be used as 'between'",
        ),
        (
            "{text: x, always: hub.linked, scope: {between: hub.off}}",
            "[opening condition, closing condition]",
        ),
        (
            "{text: x, always: hub.linked, scope: {between: [hub.off, hub.lnked]}}",
            "did you mean 'linked'?",
        ),
        ("{text: x, always: hub.linked, scope: {after: hub.of}}", "did you mean 'off'?"),
        (
            "{text: x, always: hub.linked, scope: {before: hub.off, until: hub.off}}",
            "a scope with 'before' and 'until'",
        ),
        ("{text: x, always: hub.linked, scope: {}}", "a scope with no keys"),
        ("{text: x, possible: hub.linked, scope: {after: hub.off}}", "'scope' does not go with"),
        ("{text: x, whenever: hub.linked}", "'whenever' is given without 'then'"),
        (
            "{text: x, before: hub.linked, first: hub.off, then: hub.off}",
            "'then' does not go with 'before'",
        ),
        ("{text: x, never: sent(tile.helo)}", "did you mean 'hello'?"),
        ("{text: x, never: sent(hub.hello)}", "hub never sends 'hello'"),
        ("{text: x, never: sent(tle.hello)}", "did you mean 'tile'?"),
        ("{text: x, never: signalled(reset_buton)}", "did you mean 'reset_button'?"),
        ("{text: x, never: taken(hub.reset)}", "did you mean 'resets'?"),
        ("{text: x, never: sent(hello)}", "sent(chip.message or link.message)"),
        ("{text: x, never: sent()}", "expected what happens, such as chip.message"),
        ("{text: x, never: sent(tile.hello}", "expected ')'"),
        ("{text: x, never: sent(sent(tile.hello))}", "unexpected '('"),
        ("{text: x, never: delivered(tile.hello)}", "tile never receives 'hello'"),
        ("{text: x, never: dropped(down.helo)}", "expected one of bye, welcome"),
        ("{text: x, never: taken(hb.resets)}", "did you mean 'hub'?"),
        ("{text: x, never: taken(resets)}", "expected taken(chip.rule)"),
        ("{text: x, whenever: hub.linked, then: sent(tile.helo)}", "did you mean 'hello'?"),
        ("{text: x, possible: sent(tile.hello)}", "is an event of a step"),
        ("{text: x, recoverable: {to: sent(tile.hello)}}", "not in 'possible' or 'recoverable'"),
        ("{text: x, recoverable: hub.off, may_lose: hub.off}", "'may_lose' does not go with"),
        ("{text: x, always: hub.off, under_way: 2}", "'under_way' does not go with 'always'"),
        ("{text: x, exactly_once: hub.linked}", "as exactly_once"),
        ("{text: x, exactly_once: {sent: tile.hello}}", "exactly_once lacks 'received'"),
        (
            "{text: x, exactly_once: {sent: tile.hello, received: hub.helo}}",
            "hub never receives 'helo'",
        ),
        ("{text: x, exactly_once: {sent: hello, received: hub.hello}}", "expected chip.message"),
        (
            "{text: x, exactly_once: {sent: up.hello, received: hub.hello}}",
            "unknown chip 'up'",
        ),
        (
            "{text: x, exactly_once: {sent: [tile.hello, tile.hello], received: hub.hello}}",
            "tile.hello is given twice as sent",
        ),
        (
            "{text: x, exactly_once: {sent: tile.hello, received: [hub.hello, hub.hello]}}",
            "hub.hello is given twice as received",
        ),
        (
            "{text: x, exactly_once: {sent: [tile.keys, tile.hello],"
            " received: [hub.keys, hub.hello]}}",
            "tile sends hello, then keys in one step",
        ),
        (
            "{text: x, exactly_once: {sent: tile.hello, received: hub.hello, may_lose: hub.off},"
            " may_lose: hub.off}",
            "'may_lose' is given here and beside 'exactly_once'",
        ),
        (
            "{text: x, exactly_once: {sent: tile.hello, received: [hub.hello, hub.keys]}}",
            "1 sent, but 2 received",
        ),
        (
            "{text: x, exactly_once: {sent: tile.hello, received: hub.hello, under_way: 0}}",
            "an integer from 1 to 16",
        ),
        (
            "{text: x, exactly_once: {sent: tile.hello, received: hub.hello,"
            " may_lose: while hub.of}}",
            "did you mean 'off'?",
        ),
        ("{text: x, recoverable: {without: []}}", "recoverable lacks 'to'"),
        ("{text: x, recoverable: {to: hub.off, without: [helo]}}", "did you mean 'hello'?"),
        ("{text: x, recoverable: {to: hub.off, via: hello}}", "unknown key 'via' in recoverable"),
        ("{text: x, nevr: hub.off, never: hub.off}", "did you mean 'never'?"),
        ("~", "an empty value cannot be used as the requirement 'R1'"),
        ("[a]", "a list cannot be used as the requirement 'R1'"),
    ],
)
def test_requirements_that_are_none_are_told(folder: Folder, text: str, told: str) -> None:
    """A sentence and one pattern, whose names are those of the device."""
    assert told in folder.error(around(BODY, beside=f"requirements: {{R1: {text}}}"))


def test_what_may_stand_in_a_broken_part_is_not_told(folder: Folder) -> None:
    """An event of a link that could not be read is no error of its own."""
    needs = "R1: {text: x, never: sent(tile.hello)}, R2: {text: x, exactly_once: {EXCHANGE}}"
    needs = needs.replace("EXCHANGE", "sent: tile.hello, received: hub.hello")
    text = around(BODY, beside=f"requirements: {{{needs}}}").replace("to: hub,", "to: hb,")
    assert "unknown chip 'hb'" in folder.error(text)


def test_a_name_of_a_chip_and_a_link_names_no_event(folder: Folder) -> None:
    """Which of them is meant cannot be told."""
    text = around(BODY, beside="requirements: {R1: {text: x, never: sent(hub.bye)}}")
    assert "both a chip and a link" in folder.error(text.replace("  side:", "  hub:"))


@pytest.mark.parametrize(
    "text",
    [
        around(BODY, beside="modes: {m: sent(tile.hello)}"),
        around("states: [off], rules: [{if: sent(tile.hello), to: off}]"),
        around(BODY).replace("to: hub,", "to: hub, up_when: not sent(tile.hello),"),
    ],
)
def test_only_requirements_speak_of_what_happens(folder: Folder, text: str) -> None:
    """A mode, a guard and a link's condition are judged on a state alone."""
    assert "expected events only in a requirement" in folder.error(text)


def test_one_message_over_two_links_is_one_item(folder: Folder) -> None:
    """A rule that sends it both ways in a step sends it once."""
    body = "states: [off], rules: [{send: [bye via down, bye via side]}]"
    need = "exactly_once: {sent: hub.bye, received: tile.bye}"
    device = folder.device(around(body, beside=f"requirements: {{R1: {{text: x, {need}}}}}"))
    exchange = device.requirements["R1"].exchange
    assert exchange is not None
    assert exchange.sent == (("hub", "bye"),)
    twice = body.replace("bye via side", "bye via down")
    text = around(twice, beside=f"requirements: {{R1: {{text: x, {need}}}}}")
    assert "hub sends bye, then bye in one step" in folder.error(text)
