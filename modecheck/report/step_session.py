"""An interactive walk: lines in, lines out, independent of any terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from modecheck.bench.manual_walk import ManualWalk
from modecheck.bench.walk_files import load_walk, walk_as_json
from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.model.errors import InputError, InvalidInput, nearest_name
from modecheck.model.renamed_words import LINES, called_now
from modecheck.model.wording import counted
from modecheck.product.ir import Product
from modecheck.report.step_text import moment_as_text, trace_as_text, variables_as_text
from modecheck.report.style import Style
from modecheck.report.whole_files import write_json

COMMANDS = {
    "back": ("[N]", "undo the last step, or N steps"),
    "start": ("", "undo all steps"),
    "trace": ("", "show all steps so far"),
    "values": ("", "show every variable"),
    "findings": ("", "check the device, and list the findings that have a scenario"),
    "along": ("ID[@N]", "follow a finding's scenario, to its end or to step N"),
    "keep": ("FILE", "save the walk to a file"),
    "retake": ("FILE", "replay a walk from a file"),
    "help": ("", "this list"),
    "end": ("", "leave; so do quit, exit, q and the end of the input"),
}

SAME = {"quit": "end", "exit": "end", "q": "end"}
"""Other words for `end` that people try first."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What to show. `wrong` if the line could not be carried out, `ended` after the last one."""

    lines: list[str]
    wrong: bool = False
    ended: bool = False


class Session:
    """Answers line by line. `check` yields the findings, and is called when they are needed."""

    def __init__(self, product: Product, check: Callable[[], Verdict], style: Style) -> None:
        self.walk = ManualWalk(product)
        self._check = check
        self._verdict: Verdict | None = None
        self._style = style

    def opening(self) -> list[str]:
        """What to show before the first line."""
        device = self.walk.product.device
        variant = f" ({device.choices})" if device.variant else ""
        title = self._style.wrapped(f"{device.name}{variant}: choose a step by its number, or help")
        return [*(self._style.bold(line) for line in title), *self._moment()]

    def answer(self, line: str) -> Answer:
        """The answer to one line. A number takes a step; an empty line shows the current state."""
        word, _, rest = line.strip().partition(" ")
        try:
            if not word:
                return Answer(self._moment())
            if word.isdecimal():
                return self._take(word, rest)
            return self._command(word, rest.strip())
        except InvalidInput as error:
            shown = str(error).splitlines()
            return Answer([self._style.error(shown[0]), *shown[1:]], wrong=True)

    def _moment(self) -> list[str]:
        return moment_as_text(self.walk, self._style)

    def _take(self, word: str, rest: str) -> Answer:
        steps = self.walk.choices()
        number = int(word) if len(word) < 10 else 0
        if rest or not 1 <= number <= len(steps):
            shown = f"{word} {rest}".strip()[:40]
            expected = (
                f"a number from 1 to {len(steps)}" if steps else "'back': no step is possible"
            )
            raise InvalidInput([InputError(f"there is no step {shown!r}", None, expected)])
        self.walk.take(steps[number - 1])
        return Answer(self._moment())

    def _command(self, word: str, rest: str) -> Answer:
        word = SAME.get(word, word)
        if word in LINES:
            new = LINES[word]
            raise InvalidInput([InputError(called_now(word, new), None, repr(new))])
        if word not in COMMANDS:
            names = list(COMMANDS)
            expected = f"a number, or one of {', '.join(names)}"
            message = f"unknown command {word[:40]!r}"
            raise InvalidInput([InputError(message, None, expected, nearest_name(word, names))])
        wanted = COMMANDS[word][0]
        if rest and not wanted:
            raise InvalidInput([InputError(f"{word!r} takes no argument", None, f"{word!r}")])
        if not rest and wanted and not wanted.startswith("["):
            raise InvalidInput(
                [InputError(f"{word!r} needs an argument", None, f"{word} {wanted}")]
            )
        does: Callable[[str], Answer] = getattr(self, f"_{word}")
        return does(rest)

    def _back(self, rest: str) -> Answer:
        if rest and not (rest.isdecimal() and int(rest[:9]) > 0 and len(rest) < 10):
            raise InvalidInput(
                [InputError(f"{rest[:40]!r} is not a number of steps", None, "back 3")]
            )
        if not self.walk.back(int(rest or "1")):
            raise InvalidInput([InputError("there is no step to undo")])
        return Answer(self._moment())

    def _start(self, _: str) -> Answer:
        self.walk.back(len(self.walk))
        return Answer(self._moment())

    def _trace(self, _: str) -> Answer:
        return Answer(trace_as_text(self.walk.told(), self._style))

    def _values(self, _: str) -> Answer:
        return Answer(variables_as_text(self.walk, self._style))

    def _findings(self, _: str) -> Answer:
        lines = []
        for finding in self._with_scenario():
            lines += self._style.wrapped(finding.id, "  ", "    ")
            text = f"{finding.text} ({counted(finding.steps or 0, 'step')})"
            lines += [self._style.faint(line) for line in self._style.wrapped(text, "    ", "    ")]
        verdict = self._checked()
        if not verdict.complete:
            lines.append("  incomplete: there may be more")
        return Answer(lines or ["  no finding has a scenario"])

    def _along(self, rest: str) -> Answer:
        id_, at, step = rest.partition("@")
        found = {finding.id: finding for finding in self._with_scenario()}
        if id_ not in found:
            expected = (
                "one that 'findings' lists" if found else "nothing: no finding has a scenario"
            )
            message = f"there is no finding {id_[:80]!r} with a scenario"
            raise InvalidInput([InputError(message, None, expected, nearest_name(id_, found))])
        trace = found[id_].trace
        assert trace is not None
        if at:
            if not step.isdecimal() or len(step) > 9 or int(step) > len(trace.moves):
                expected = f"a number up to {len(trace.moves)}"
                raise InvalidInput(
                    [InputError(f"there is no step {step[:40]!r} in it", None, expected)]
                )
            trace = replace(trace, moves=trace.moves[: int(step)])
        self.walk.follow_trace(trace)
        return Answer([*trace_as_text(self.walk.told(), self._style), "", *self._moment()])

    def _checked(self) -> Verdict:
        if self._verdict is None:
            self._verdict = self._check()
        return self._verdict

    def _with_scenario(self) -> Iterator[Finding]:
        verdict = self._checked()
        accepted = (one.finding for one in verdict.accepted)
        return (one for one in (*verdict.findings, *accepted) if one.trace is not None)

    def _keep(self, rest: str) -> Answer:
        write_json(rest, walk_as_json(self.walk))
        return Answer([f"{counted(len(self.walk), 'step')} kept in {rest}"])

    def _retake(self, rest: str) -> Answer:
        load_walk(self.walk, rest)
        return Answer(self._moment())

    def _help(self, _: str) -> Answer:
        lines = ["  NUMBER       take that step", "  an empty line shows the current state again"]
        for name, (wanted, meaning) in COMMANDS.items():
            start = f"  {f'{name} {wanted}'.strip():<12} "
            lines += self._style.wrapped(meaning, start, " " * len(start))
        return Answer(lines)

    def _end(self, _: str) -> Answer:
        return Answer([], ended=True)
