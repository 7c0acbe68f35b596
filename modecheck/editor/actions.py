"""What an editor can do about a problem: edits that are offered where it is shown."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from modecheck.editor.bounded_check import CheckOutcome
from modecheck.editor.device_names import ChipNames
from modecheck.editor.diagnostics import Problem
from modecheck.editor.expression_words import WORD
from modecheck.editor.insertions import Insertions, NothingToChange
from modecheck.editor.mentions import tree_of
from modecheck.editor.navigation import ends_of
from modecheck.editor.positions import TextMap, TextSpan
from modecheck.editor.real_paths import real_path
from modecheck.editor.removals import item_taken_out
from modecheck.editor.rename import Edit
from modecheck.editor.scenes import Scene
from modecheck.editor.session import EditorSession
from modecheck.editor.tree_parts import rules_in, unit_of
from modecheck.editor.workspace import path_of
from modecheck.model.phrases import BRACED
from modecheck.model.yaml_nodes import MappingNode, ScalarNode, SequenceNode

REASON = "say here why the team accepts it"
TICK = "1 ms"
OPEN_SCENARIO = "modecheck.open_scenario"
"""The command that writes the page of a device; its arguments are the device and a finding."""

NOT_NEEDED = "needless-acceptance"
"""What is accepted for nothing is not accepted once more."""

NOTHING = CheckOutcome("")
NAME = re.compile(WORD)


@dataclass(frozen=True, slots=True)
class QuickFix:
    """What is offered for a problem: edits, or a command with its arguments."""

    title: str
    problem: Problem
    edits: tuple[Edit, ...] = ()
    command: str = ""
    arguments: tuple[str, ...] = ()


def actions(session: EditorSession, uri: str, span: TextSpan) -> list[QuickFix]:
    """All that can be done about the problems within a span of a text."""
    path = path_of(uri)
    found: list[QuickFix] = []
    for problem in session.upkeep.problems_of(path):
        if problem.span.start > span.end or problem.span.end < span.start:
            continue
        for offer in _OFFERS:
            try:
                found += offer(session, problem)
            except NothingToChange:
                continue
    return found


def _nearest(session: EditorSession, problem: Problem) -> Iterator[QuickFix]:
    """Put the nearest known name in place of the unknown one."""
    name = problem.subject
    if problem.code or not name:
        return
    word, name = unit_of(problem.word), unit_of(name)
    text = session.workspace.map_of(problem.path).text
    chips = session.scene(problem.path).names.described_in(real_path(problem.path))
    for match in NAME.finditer(text, problem.span.start, problem.span.end):
        forms = (_form(chip, match[0], word, name) for chip in chips)
        form = name if match[0] == word else next(filter(None, forms), "")
        if form:
            edit = Edit(problem.path, TextSpan(*match.span()), form)
            yield QuickFix(f"write {form!r}", problem, (edit,))
            return


def _form(chip: ChipNames, written: str, word: str, name: str) -> str:
    """A name with the parameters that were written in its place; empty if they do not fit."""
    if chip.filled(written) != word:
        return ""
    form = name
    for parameter in BRACED.findall(written):
        form = form.replace(chip.parameters.get(parameter) or "{", f"{{{parameter}}}", 1)
    return form if form != name and chip.filled(form) == name else ""


def _quoted(session: EditorSession, problem: Problem) -> Iterator[QuickFix]:
    """Put a text in quotes that YAML takes for something else."""
    if problem.code:
        return
    text = session.workspace.map_of(problem.path)
    start = problem.span.start
    cut = "quotes around the whole text" in problem.message
    braces = text.text[start : start + 1] in ("{", "[") and "cannot be used as" in problem.message
    if not (cut or braces):
        return
    end = _end_of_text(text, start)
    inside = text.text[start:end]
    if '"' in inside or "\n" in inside or not inside:
        return
    edit = Edit(problem.path, TextSpan(start, end), f'"{inside}"')
    yield QuickFix(f'write "{inside}" in quotes', problem, (edit,))


def _end_of_text(text: TextMap, start: int) -> int:
    """Where a text ends that should be in quotes: at what closes the bracket around it, at a comma
    outside of its own brackets, or at the end of the line.
    """
    depth, end = 0, text.line_end(start)
    for at in range(start, end):
        character = text.text[at]
        if character in "([{":
            depth += 1
        elif character in ")]}":
            if not depth:
                return at
            depth -= 1
        elif character == "," and not depth:
            return at
    return end


def _clock(session: EditorSession, problem: Problem) -> Iterator[QuickFix]:
    """Give the device a clock, where a duration needs one."""
    if problem.code or "needs a clock" not in problem.message:
        return
    for device in session.workspace.devices_of(problem.path)[:1]:
        insert, tree = _tree(session, device)
        edit = insert.key(tree, "clock", f"{{tick: {TICK}}}", after=("device", "about"))
        yield QuickFix(f"add a clock with a tick of {TICK}", problem, (edit,))


def _accepted(session: EditorSession, problem: Problem) -> Iterator[QuickFix]:
    """Accept a finding, with a reason to be filled in."""
    device = _device_of(session, problem)
    if problem.code not in ("", NOT_NEEDED) and device is not None:
        insert, tree = _tree(session, device)
        entry = f'{{finding: "{problem.subject}", reason: {REASON}}}'
        edit = insert.item(tree, "accepted", entry)
        yield QuickFix(f"accept {problem.subject}, with a reason", problem, (edit,))


def _not_accepted(session: EditorSession, problem: Problem) -> Iterator[QuickFix]:
    """Take an acceptance out that is not needed."""
    if problem.code != NOT_NEEDED:
        return
    insert, tree = _tree(session, problem.path)
    accepted = tree.get("accepted")
    for number, one in enumerate(accepted.items if isinstance(accepted, SequenceNode) else ()):
        finding = one.get("finding") if isinstance(one, MappingNode) else None
        if isinstance(finding, ScalarNode) and problem.subject == f"{NOT_NEEDED}:{finding.text}":
            span = item_taken_out(insert.ends, tree, "accepted", number)
            yield QuickFix("remove the acceptance", problem, (Edit(problem.path, span, ""),))
            return


def _answered(session: EditorSession, problem: Problem) -> Iterator[QuickFix]:
    """Answer a message that no rule of a state takes: discard it, let it wait, or add a rule."""
    if problem.code != "unspecified-reception":
        return
    chip_name, _, rest = problem.subject.partition(":")[2].partition(".")
    state, _, message = rest.rpartition(".")
    device = _device_of(session, problem)
    scene = session.scene(device) if device is not None else None
    chip = scene.names.chip_called(chip_name) if scene is not None else None
    if device is not None and scene is not None and chip is not None:
        path = chip.file or device
        insert, tree = _tree(session, path)
        body = tree if chip.file else _entry(tree, chip.name)
        written = _written(scene, chip, message)
        for key, title in (("discards", f"discard {message}"), ("defers", f"let {message} wait")):
            edit = insert.answer(body, key, state, written)
            yield QuickFix(f"{title} in {state}", problem, (edit,))
        rule = f"{{in: {state}, on: {written}}}"
        title = _free(chip, f"{re.sub(r'[^a-zA-Z0-9_]', '', message)}_in_{state}")
        edit = insert.rule(body, title, rule)
        yield QuickFix(f"add a rule for {message} in {state}", problem, (edit,))


def _entry(tree: MappingNode, chip: str) -> MappingNode:
    """The entry of a chip that is described in the device's file."""
    for section in ("chips", "actors"):
        inside = tree.get(section)
        if not isinstance(inside, MappingNode):
            continue
        entry = inside.get(chip)
        if isinstance(entry, MappingNode):
            if sum(other is entry for other in inside.entries.values()) > 1:
                break  # an alias: what is added here is added to others, too
            return entry
    raise NothingToChange


def _written(scene: Scene, chip: ChipNames, message: str) -> str:
    """A message as the text of the chip writes it, which may describe several."""
    several = chip.file and len(scene.names.described_in(chip.files[0])) > 1
    for parameter, value in chip.parameters.items():
        if several and len(value) > 1 and value in message:
            return f'"{message.replace(value, f"{{{parameter}}}")}"'
    return message


def _free(chip: ChipNames, title: str) -> str:
    taken = {name for name, _ in rules_in(chip.body.get("rules"))} | set(chip.rules)
    return next(name for n in range(1, 99) if (name := title + "_" * (n - 1)) not in taken)


def _opened(session: EditorSession, problem: Problem) -> Iterator[QuickFix]:
    """Write the page of the device, and open it at the finding."""
    device = _device_of(session, problem)
    if problem.related and device is not None:
        arguments = device, problem.subject
        yield QuickFix("open the scenario", problem, (), OPEN_SCENARIO, arguments)


def _device_of(session: EditorSession, problem: Problem) -> str | None:
    """The device in which a finding was found."""
    for device, known in session.upkeep.known.items():
        if any(one.id == problem.subject for one in (known.outcome or NOTHING).findings):
            return device
    return None


_OFFERS: tuple[Callable[[EditorSession, Problem], Iterator[QuickFix]], ...] = (
    _nearest,
    _quoted,
    _clock,
    _answered,
    _accepted,
    _not_accepted,
    _opened,
)


def _tree(session: EditorSession, path: str) -> tuple[Insertions, MappingNode]:
    """What makes edits of a text, with its tree, if it can be read as it is."""
    scene = session.scene(path)
    text = session.workspace.text_of(path)
    tree = tree_of(scene, path)
    mended = scene.held.texts.get(real_path(path), text) != text
    if mended or not isinstance(tree, MappingNode):
        raise NothingToChange
    return Insertions(path, ends_of(session, scene, path)), tree
