"""The model's chip and the implementation side by side, and the report of how they differ."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from textwrap import wrap

from modecheck.engine.reference.plain import State
from modecheck.model.errors import ModecheckError, nearest_name
from modecheck.testing.adapter import Adapter, Event, Output, Sent, Signalled, Standing
from modecheck.testing.stimuli import Seat


class AdapterError(ModecheckError):
    """An adapter answers with something that the model does not have."""

    def __init__(self, chip: str, what: str, word: object, known: Iterable[str]) -> None:
        super().__init__()
        self.chip = chip
        self.what = what
        self.word = word
        self.known = tuple(known)

    def __str__(self) -> str:
        text = f"the adapter of {self.chip} answers {self.word!r}, which is not {self.what}"
        nearest = nearest_name(str(self.word), self.known)
        hint = f", did you mean {nearest!r}?" if nearest else ""
        return f"{text}: expected one of {', '.join(self.known) or 'none'}{hint}"


@dataclass(frozen=True, slots=True)
class Mismatch:
    """What differs, what the model has, and what the implementation did."""

    what: str
    model: str
    implementation: str


class Disagreement(AssertionError):
    """An implementation deviates from its model.

    `walk` has a sentence for each step of the device so far; `given` is what the chip was given in
    the last of them.
    """

    def __init__(
        self,
        chip: str,
        walk: tuple[str, ...],
        given: tuple[Event, ...],
        differences: tuple[Mismatch, ...],
    ) -> None:
        super().__init__(chip, walk, given, differences)
        self.chip = chip
        self.walk = walk
        self.given = given
        self.differences = differences

    def __str__(self) -> str:
        where = f"at step {len(self.walk)}" if self.walk else "before the first step"
        lines = [f"{self.chip} deviates from its model {where}"]
        for number, text in enumerate(self.walk, start=1):
            lines += wrap(text, 90, initial_indent=f"{number:>3}. ", subsequent_indent="     ")
        lines.append(f"  {self.chip} was given")
        lines += [f"    {event!r}" for event in self.given] or ["    nothing"]
        for difference in self.differences:
            lines.append(f"  {difference.what}")
            lines.append(f"    the model:           {difference.model}")
            lines.append(f"    the implementation:  {difference.implementation}")
        return "\n".join(lines)


def differences(
    seat: Seat, state: State, expected: list[Output], adapter: Adapter
) -> tuple[Mismatch, ...]:
    """Where the implementation differs from the model's chip after a step.

    Messages are compared link by link and signals separately, each in order: the model does not
    say which of two links comes first. Raises `AdapterError`.
    """
    made = _by_channel(seat, adapter.outputs())
    wanted = _by_channel(seat, expected)
    found = [
        Mismatch(channel, _told(wanted.get(channel, [])), _told(made.get(channel, [])))
        for channel in dict.fromkeys([*wanted, *made])
        if wanted.get(channel, []) != made.get(channel, [])
    ]
    ask = getattr(adapter, "state", None)
    if ask is not None:
        found += _differences_inside(seat, state, ask())
    return tuple(found)


def _by_channel(seat: Seat, outputs: Iterable[Output]) -> dict[str, list[tuple[str, object]]]:
    found: dict[str, list[tuple[str, object]]] = {}
    for output in outputs:
        if isinstance(output, Signalled):
            found.setdefault("signals", []).append((output.signal, output.value))
        elif isinstance(output, Sent):
            channel = f"sends over {_link(seat, output)}"
            found.setdefault(channel, []).append((output.message, output.value))
        else:
            raise AdapterError(seat.form.name, "an output", output, ("Sent(...)", "Signalled(...)"))
    return found


def _link(seat: Seat, sent: Sent) -> str:
    own = [link for link in seat.product.device.links.values() if link.sender == seat.form.name]
    carrying = [link.name for link in own if sent.message in link.carries]
    if sent.link is None and len(carrying) != 1:
        raise AdapterError(seat.form.name, "on a single link", sent.message, carrying)
    return carrying[0] if sent.link is None else sent.link


def _told(items: list[tuple[str, object]]) -> str:
    texts = [name if value is None else f"{name}({value!r})" for name, value in items]
    return ", ".join(texts) or "nothing"


def _differences_inside(seat: Seat, state: State, standing: Standing) -> list[Mismatch]:
    name, variables = standing if isinstance(standing, tuple) else (standing, {})
    leaf, chip = seat.leaf(state), seat.form.name
    found = []
    if name is not None:
        if name not in seat.model.states:
            raise AdapterError(chip, "a state", name, seat.model.states)
        if name not in seat.model.ancestry(leaf):
            found.append(Mismatch("is in state", leaf, name))
    return [*found, *_differing_variables(seat, state, variables)]


def _differing_variables(
    seat: Seat, state: State, variables: Mapping[str, object]
) -> Iterable[Mismatch]:
    known = seat.variables(state)
    for name, value in variables.items():
        if name not in known:
            raise AdapterError(seat.form.name, "a variable", name, known)
        made = tuple(value) if isinstance(value, list) else value
        if made != known[name]:
            yield Mismatch(f"has in {name}", repr(known[name]), repr(made))
