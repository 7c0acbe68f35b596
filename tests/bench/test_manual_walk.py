"""Sessions of walking by hand, driven without a terminal."""

from __future__ import annotations

import json
from pathlib import Path
from random import Random

import pytest

from modecheck.bench.manual_walk import ManualWalk, NotAllowed
from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.reference.plain import Interpreter
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.report.step_session import COMMANDS, Answer, Session
from modecheck.report.style import Style
from tests.bench.recording import product_of
from tests.cli.running import MODELS
from tests.stepping import begin

TWIN = str(MODELS / "faulty" / "silent_plug.yaml")
DEADLOCK = "deadlock:receiver.changing"


def session_of(path: str) -> Session:
    device = read_device(path)
    return Session(compose(device), lambda: check([device]), Style())


@pytest.fixture
def session() -> Session:
    """A session with the starter whose plug sends no picture."""
    return session_of(TWIN)


def shown(answer: Answer) -> str:
    return " ".join(" ".join(answer.lines).split())


@pytest.mark.parametrize("name", ["starter/device", "small/handshake", "tandem/device"])
def test_every_step_of_the_interpreter_can_be_chosen(name: str) -> None:
    """By its number, in its order; what is shown as the state is the state."""
    session = Session(product_of(name), never_asked, Style())
    product, random = session.walk.product, Random(2)  # noqa: S311 - nothing is kept secret
    interpreter, state = Interpreter(product), product.initial
    for _ in range(25):
        steps = interpreter.steps(state)
        number = random.choice([n for n, step in enumerate(steps) if step.after is not None])
        told = shown(session.answer(str(number + 1)))
        after = steps[number].after
        assert after is not None
        state = after
        assert session.walk.state == state
        chips = (f"{chip.name} {chip.leaves[state[chip.state_field]]}" for chip in product.chips)
        assert ", ".join(chips) in told


def never_asked() -> Verdict:
    raise AssertionError("nobody asked for findings")


def test_what_a_step_changed_is_shown(session: Session) -> None:
    """States, variables and queues, with what they were."""
    told = shown(session.answer("2"))
    assert "step 1: the player steps on the pedal" in told
    assert "pedal.foot lifted → pressed" in told
    assert "air nothing → picture(pressed)" in told
    assert "over air: picture(pressed)" in told
    told = shown(session.answer("1"))
    assert "receiver on_air → changing, player unplugged → plugged" in told
    assert "air picture(pressed) → nothing" in told
    assert "after 2 steps, in no mode" in told


def test_steps_are_taken_back(session: Session) -> None:
    """One, several, or all; and none that were not taken."""
    states = [session.walk.state]
    for line in ("2", "1", "1"):
        session.answer(line)
        states.append(session.walk.state)
    session.answer("back")
    assert session.walk.state == states[2]
    session.answer("back 2")
    assert session.walk.state == states[0]
    assert session.answer("back").wrong
    session.answer("2")
    session.answer("1")
    assert "at the start" in shown(session.answer("start"))
    assert session.walk.state == states[0]


def test_a_step_that_fails_can_be_tried_and_taken_back() -> None:
    """It leads nowhere, and says so."""
    device = """\
    device: mute
    chips:
      tile: {states: [here], rules: {call: {send: hello}}}
      hub: {states: [deaf]}
    links: {air: {from: tile, to: hub, carries: [hello], when_full: wait}}
    """
    session = Session(begin(device).product, never_asked, Style())
    told = shown(session.answer("1"))
    assert "hub in deaf has no answer to hello (fails)" in told
    before = session.walk.state
    told = shown(session.answer("1"))
    assert "the step fails" in told
    assert "'back' undoes it" in told
    assert session.answer("1").wrong
    session.answer("back")
    assert (session.walk.state, session.walk.failed) == (before, False)


def test_findings_are_listed_and_walked_along(session: Session) -> None:
    """To the end of the scenario, or to a step of it."""
    told = shown(session.answer("findings"))
    assert DEADLOCK in told
    assert "broken-requirement:note_ends" in told
    assert "after 1 step, in no mode" in shown(session.answer(f"along {DEADLOCK}"))
    session.answer("along broken-requirement:note_ends")
    assert len(session.walk) == 4
    session.answer("along broken-requirement:note_ends@2")
    assert len(session.walk) == 2
    assert "sounding" in shown(session.answer("trace"))


@pytest.mark.parametrize("name", ["silent_plug", "volatile_bond", "stale_replay", "usurpation"])
def test_every_scenario_can_be_reached(name: str) -> None:
    """The walk is then what check tells."""
    session = session_of(str(MODELS / "faulty" / f"{name}.yaml"))
    findings = [
        one for one in check([session.walk.product.device]).findings if one.trace is not None
    ]
    assert findings
    for finding in findings:
        assert finding.trace is not None
        assert not session.answer(f"along {finding.id}").wrong
        assert session.walk.labels == tuple(step.label for step in finding.scenario)


def test_accepted_findings_can_be_reached_too(tmp_path: Path) -> None:
    """What the team lives with is worth looking at as well."""
    device = tmp_path / "device.yaml"
    device.write_text(
        f"device: lives with it\nbased_on: {TWIN}\n"
        f"accepted: [{{finding: {DEADLOCK}, reason: a demonstration}}]\n",
        encoding="utf-8",
    )
    session = session_of(str(device))
    assert DEADLOCK not in [finding.id for finding in check([session.walk.product.device]).findings]
    assert not session.answer(f"along {DEADLOCK}").wrong
    assert len(session.walk) == 1


def test_a_walk_is_saved_and_taken_anew(session: Session, tmp_path: Path) -> None:
    """In a new session it leads to the same state, over the same labels."""
    file = tmp_path / "walk.json"
    for line in ("2", "3", "1"):
        session.answer(line)
    assert "3 steps kept" in shown(session.answer(f"keep {file}"))
    other = session_of(TWIN)
    other.answer("1")
    assert not other.answer(f"retake {file}").wrong
    assert other.walk.state == session.walk.state
    assert other.walk.labels == session.walk.labels == (
        "player step", "air to receiver hear_air", "player plug",
    )  # fmt: skip
    data = json.loads(file.read_text(encoding="utf-8"))
    assert [step["label"] for step in data["steps"]] == list(session.walk.labels)
    assert data["device"] == "starter, but plugging sends no picture"


def test_a_walk_that_the_model_no_longer_allows_is_refused(tmp_path: Path) -> None:
    """With the place in the file and the nearest label; the walk at hand stays as it was."""
    whole = session_of(str(MODELS / "starter" / "device.yaml"))
    for _ in range(2):
        whole.answer(str(len(whole.walk.choices()) - (len(whole.walk) == 0)))
    file = tmp_path / "walk.json"
    whole.answer(f"keep {file}")
    assert whole.walk.labels == ("player plug", "cord to receiver hear_cable")
    twin = session_of(TWIN)
    twin.answer("2")
    before = twin.walk.labels
    answer = twin.answer(f"retake {file}")
    assert answer.wrong
    assert f"{file}:10:16: the model does not allow step 2" in answer.lines[0]
    assert twin.walk.labels == before


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "this is not JSON"),
        ("[]", "the key 'steps', a list, is missing"),
        ('{"steps": [{"text": "x"}]}', "step 1 has no label"),
        ('{"steps": [{"label": 3}]}', "step 1 has no label"),
        ('{"steps": [{"label": "player plg"}]}', "did you mean 'player plug'?"),
        ("[" * 100_000, "too large to read"),
        (b"\xff", "is not UTF-8 text"),
    ],
)
def test_what_is_no_walk_is_refused(text: str | bytes, told: str, tmp_path: Path) -> None:
    """Saying what is wrong with the file."""
    file = tmp_path / "walk.json"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    session = session_of(TWIN)
    answer = session.answer(f"retake {file}")
    assert answer.wrong
    assert told in shown(answer)
    assert len(session.walk) == 0


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("0", "there is no step '0'"),
        ("3", "a number from 1 to 2"),
        ("1 2", "there is no step '1 2'"),
        ("9" * 5000, "there is no step"),
        ("bck", "did you mean 'back'?"),
        ("_take", "unknown command"),
        ("back x", "is not a number of steps"),
        ("back 0", "is not a number of steps"),
        ("trace on", "takes no argument"),
        ("along", "along ID[@N]"),
        ("keep", "keep FILE"),
        ("along deadlock:receiver.changin", f"did you mean '{DEADLOCK}'?"),
        (f"along {DEADLOCK}@2", "a number up to 1"),
        (f"along {DEADLOCK}@x", "a number up to 1"),
        ("retake nowhere", "there is no file"),
        ("retake .", "cannot be read"),
        ("keep nowhere/x", "cannot be written"),
        ("²", "unknown command"),
    ],
)
def test_what_cannot_be_done_is_said(line: str, told: str, session: Session) -> None:
    """And nothing is changed by it."""
    session.answer("2")
    session.answer("back")
    answer = session.answer(line)
    assert answer.wrong
    assert told in shown(answer)
    assert len(session.walk) == 0


def test_help_names_every_command(session: Session) -> None:
    """And each is obeyed by the session; an empty line shows again where it is."""
    told = shown(session.answer("help"))
    assert [name for name in COMMANDS if f"{name} " not in told] == []
    assert [name for name in COMMANDS if not hasattr(session, f"_{name}")] == []
    assert session.answer("end").ended
    assert session.answer("  ").lines == session.answer("").lines
    assert "pedal.foot lifted" in shown(session.answer("values"))


def test_a_label_that_is_no_step_leaves_the_walk_alone() -> None:
    """The exception names the step and what there is instead."""
    walk = ManualWalk(product_of("starter/device"))
    walk.follow_labels(["player step"])
    with pytest.raises(NotAllowed, match="step 2") as caught:
        walk.follow_labels(["player plug", "player plug"])
    assert "player pull" in caught.value.labels
    assert walk.labels == ("player step",)


@pytest.mark.parametrize("word", ["end", "quit", "exit", "q"])
def test_whatever_people_try_first_ends_it(word: str, session: Session) -> None:
    """Without an error, so that a pipe ends with exit code 0."""
    answer = session.answer(word)
    assert answer.ended
    assert not answer.wrong


@pytest.mark.parametrize(
    ("line", "new"), [("save f", "keep"), ("load f", "retake"), ("go x", "along")]
)
def test_old_words_are_told_the_new_one(line: str, new: str, session: Session) -> None:
    """None of them works."""
    answer = session.answer(line)
    assert answer.wrong
    assert f"{line.split()[0]!r} is called {new!r} now" in shown(answer)
