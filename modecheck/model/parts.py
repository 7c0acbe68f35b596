"""The typed model: what a device file says, after every name in it has been resolved.

Everything is frozen; every part that a finding can point at knows its place. Chips are instances:
two chips of one file are two `Chip`s whose rules share their places. `concerns` name what a part
affects, such as radio, power or charging: no step depends on them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from modecheck.model.claims import Acceptance, Chance, Expectation
from modecheck.model.places import Place
from modecheck.model.remarks import Note, Unused
from modecheck.model.rule_effects import Assignment, GivenSignal, Send
from modecheck.model.shared_values import NOTHING_SHARED, NamedConstant, SharedValues
from modecheck.model.terms import Term
from modecheck.model.times import Clock, Duration, Timer
from modecheck.model.values import ValueType
from modecheck.model.variables import Variable


@dataclass(frozen=True, slots=True)
class State:
    """A state of a chip's statechart; `leaves` are the innermost states inside, or itself.

    `masks` names activities that cannot step while the chip is in it or in a state inside.
    `current` is what the chip draws in it, in amperes, or None; a state inside without a value
    inherits that of the state around it.
    """

    name: str
    parent: str | None
    children: tuple[str, ...]
    initial: str | None
    leaves: tuple[str, ...]
    initial_leaf: str
    rest: bool
    depth: int
    place: Place
    about: str = ""
    concerns: tuple[str, ...] = ()
    current: Fraction | None = None
    masks: tuple[str, ...] = ()

    @property
    def composite(self) -> bool:
        return bool(self.children)


@dataclass(frozen=True, slots=True)
class Event:
    """What a rule waits for: a message (from `link` only, if given) or a signal of that name."""

    name: str
    link: str | None = None

    def __str__(self) -> str:
        return f"{self.name} via {self.link}" if self.link else self.name


@dataclass(frozen=True, slots=True)
class Branch:
    """The place of a rule that is a branch of the rule called `of`, number `number` from 1: the
    condition `given` of that rule, and those of the branches `before` it, none of which may hold.
    """

    of: str
    number: int
    given: Term | None
    given_text: str
    before: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Rule:
    """What a chip does, and when. `sources` is empty for a rule of the whole chip.

    `trigger` is empty for internal rules and timers. A timer has `after`, which `periodic` repeats,
    or is triggered when the chip's timer `expires`. `guard_text` and the texts of the effects
    are as written, with parameters in place. `fair` is weak, strong or none, or empty if the
    model does not say. `starts` and `stops` name timers of the chip. `weight` is its
    relative frequency among the enabled rules; only chances use it. Of rules for one event at one
    level of states, that with the highest `priority` is tried first. Each `branch` of a rule with
    `choose` is a rule; its `guard` is what the branch itself says, None for an `else`.
    """

    title: str
    chip: str
    sources: tuple[str, ...]
    trigger: tuple[Event, ...]
    after: Duration | None
    guard: Term | None
    guard_text: str
    assignments: tuple[Assignment, ...]
    sends: tuple[Send, ...]
    signalled: tuple[GivenSignal, ...]
    target: str | None
    separate: bool
    phrase: str
    mentions: frozenset[str]
    place: Place
    fair: str = ""
    periodic: bool = False
    expires: str = ""
    starts: tuple[str, ...] = ()
    stops: tuple[str, ...] = ()
    concerns: tuple[str, ...] = ()
    weight: Fraction | None = None
    priority: int = 0
    branch: Branch | None = None

    @property
    def signals(self) -> tuple[str, ...]:
        """The names of the signals that it gives, in order."""
        return tuple(given.signal for given in self.signalled)

    @property
    def whole(self) -> str:
        """The title of the rule as it is written, with all its branches."""
        return self.branch.of if self.branch is not None else self.title

    @property
    def kind(self) -> str:
        """One of "event", "timer", "internal"."""
        if self.trigger:
            return "event"
        return "timer" if self.after or self.expires else "internal"


@dataclass(frozen=True, slots=True)
class Reply:
    """What a state does with an event that no rule takes: `manner` is "discard" or "defer"."""

    event: Event
    manner: str
    place: Place


@dataclass(frozen=True)
class Chip:
    """A chip or an actor: a statechart with variables.

    `states` are in document order, outer before inner. `fair` applies to rules without their own.
    `battery` is the capacity of its battery in ampere-hours. With `runs_on` it is an activity of a
    controller, on which those with a higher `priority` go first. If it may begin in several states,
    they are all in `initials`, and `initial` is the first of them.
    `replies` maps a state's name to its replies; the key "" holds those of the whole chip.
    """

    name: str
    actor: bool
    about: str
    states: dict[str, State]
    initial: str
    variables: dict[str, Variable]
    rules: tuple[Rule, ...]
    replies: dict[str, tuple[Reply, ...]]
    place: Place
    fair: str = ""
    timers: dict[str, Timer] = field(default_factory=dict)
    constants: dict[str, NamedConstant] = field(default_factory=dict)
    concerns: tuple[str, ...] = ()
    battery: Fraction | None = None
    runs_on: str = ""
    priority: int = 0
    initials: tuple[str, ...] = ()

    @cached_property
    def leaves(self) -> tuple[str, ...]:
        """The innermost states, in document order."""
        return tuple(state.name for state in self.states.values() if not state.children)

    @cached_property
    def leaves_in(self) -> Mapping[str, tuple[int, ...]]:
        """For each state the numbers of the innermost states inside it; "" is the whole chip."""
        found: dict[str, list[int]] = {name: [] for name in ("", *self.states)}
        for number, leaf in enumerate(self.leaves):
            for name in self.ancestry(leaf):
                found[name].append(number)
        return {name: tuple(numbers) for name, numbers in found.items()}

    @cached_property
    def rules_from(self) -> Mapping[str, tuple[int, ...]]:
        """For each state the numbers of the rules that name it as theirs; "" for all others."""
        found: dict[str, list[int]] = {}
        for number, rule in enumerate(self.rules):
            for name in dict.fromkeys(rule.sources or ("",)):
                found.setdefault(name, []).append(number)
        return {name: tuple(numbers) for name, numbers in found.items()}

    @property
    def initial_leaf(self) -> str:
        return self.states[self.initial].initial_leaf

    @property
    def initial_leaves(self) -> tuple[str, ...]:
        """The innermost states in which it may begin, the first of them `initial_leaf`."""
        return tuple(self.states[name].initial_leaf for name in self.initials or (self.initial,))

    def ancestry(self, leaf: str) -> tuple[str, ...]:
        """The state and the states around it, innermost first, "" (the whole chip) last."""
        chain: list[str] = []
        name: str | None = leaf
        while name is not None:
            chain.append(name)
            name = self.states[name].parent
        return (*chain, "")


@dataclass(frozen=True, slots=True)
class Message:
    """What a link carries. `kind` is "event", "state" or "relative"; `type` is the payload's.

    `payload` is true if the model declares its kind: then it is what the link exists for.
    """

    name: str
    kind: str
    type: ValueType | None
    place: Place
    payload: bool = False


MEDIA = ("internal", "cable", "radio", "bluetooth")
"""The media that diagrams and comparisons know; any other word is allowed, too."""


@dataclass(frozen=True, slots=True)
class Link:
    """A queue from one chip to another.

    `when_down` is "drop" or "hold"; `when_full` is "error", "wait", "drop_new" or "drop_old";
    `order` is "sent", or "any" if messages may overtake each other. A link that can corrupt a
    message also carries `corrupted`, which no rule sends. Of a broadcast there is a link for each
    receiver, and `broadcast` is the name that they share.
    `fair` is the fairness of its deliveries, as in a rule. `loss` is the share of messages that are
    lost, or None; only chances use it.
    """

    name: str
    sender: str
    receiver: str
    medium: str
    capacity: int
    carries: dict[str, Message]
    loses: bool
    duplicates: bool
    up_when: Term | None
    up_text: str
    when_down: str
    when_full: str
    place: Place
    fair: str = ""
    delay: Duration | None = None
    concerns: tuple[str, ...] = ()
    loss: Fraction | None = None
    corrupts: bool = False
    order: str = "sent"
    broadcast: str = ""

    @property
    def called(self) -> str:
        """What rules call it: a broadcast has one name for all its receivers."""
        return self.broadcast or self.name

    @property
    def faults(self) -> tuple[str, ...]:
        """The kinds of faults that it has by nature."""
        found = {"lose": self.loses, "duplicate": self.duplicates, "corrupt": self.corrupts}
        return tuple(kind for kind, can in found.items() if can)


@dataclass(frozen=True, slots=True)
class Mode:
    name: str
    when: Term
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class PairingEnd:
    """A bond, or with `item` one of a list of bonds."""

    chip: str
    variable: str
    item: int | None = None

    def __str__(self) -> str:
        item = "" if self.item is None else f"[{self.item}]"
        return f"{self.chip}.{self.variable}{item}"


@dataclass(frozen=True, slots=True)
class Pairing:
    """Two bonds that belong together.

    `session` holds while the two are connected, `selected` while they may connect; the pairing must
    be able to recover without the actors in `recovers_without`.
    """

    name: str
    ends: tuple[PairingEnd, PairingEnd]
    forgotten_by: tuple[str, ...]
    place: Place
    session: Term | None = None
    selected: Term | None = None
    recovers_without: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FaultGroup:
    """Faults that share a budget. `kind` is "power_cut", "reset", "lose", "duplicate" or "corrupt".

    `targets` names chips or links; `at_most` is None for any number. `at_most_in_a_row` is how
    often each link may do it before the next message arrives there, or None.
    """

    kind: str
    targets: tuple[str, ...]
    at_most: int | None
    place: Place
    at_most_in_a_row: int | None = None

    @property
    def name(self) -> str:
        return f"{self.kind}({', '.join(self.targets)})"


@dataclass(frozen=True, slots=True)
class Option:
    name: str
    choices: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Span:
    """When a requirement applies; `kind` is globally, before, after, between or after_until.

    `opens` is None if it applies from the beginning, `closes` if it never ends.
    """

    kind: str = "globally"
    opens: Term | None = None
    closes: Term | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class ExactlyOnce:
    """What is sent arrives once, in order: `sent[i]`, a chip and a message, as `received[i]`.

    Loss is allowed while `may_lose`. `under_way` is the largest number in flight at a time, or
    None if the model does not say.
    """

    sent: tuple[tuple[str, str], ...]
    received: tuple[tuple[str, str], ...]
    may_lose: Term | None
    may_lose_text: str
    under_way: int | None


@dataclass(frozen=True, slots=True)
class Requirement:
    """`pattern` is never, always, eventually, whenever, before, possible, recoverable or
    exactly_once.

    `condition` is the condition of the pattern (None for exactly_once, which has its `exchange`);
    `response` is what must follow, or come first; `within` is its time limit, if any. `without`
    names events that a path must not use; `builds_on` names requirements whose failure excuses
    that of this one.
    """

    name: str
    sentence: str
    pattern: str
    condition: Term | None
    text: str
    without: tuple[str, ...]
    place: Place
    response: Term | None = None
    response_text: str = ""
    span: Span = field(default_factory=Span)
    exchange: ExactlyOnce | None = None
    builds_on: tuple[str, ...] = ()
    within: Duration | None = None

    @property
    def terms(self) -> tuple[Term, ...]:
        """Every condition of the requirement."""
        losing = self.exchange.may_lose if self.exchange is not None else None
        found = (self.condition, self.response, self.span.opens, self.span.closes, losing)
        return tuple(term for term in found if term is not None)


@dataclass(frozen=True, slots=True)
class Device:
    """A whole model in one variant: `variant` holds the chosen value of each option.

    `digests` holds the SHA-256 of every file that it was read from, by its path; `notes` what is
    not wrong in them but worth a line; `copies` the names of identical units, by their common name.
    `faults_in_all`, which no file says, bounds the faults of all kinds together.
    """

    name: str
    about: str
    file: str
    chips: dict[str, Chip]
    links: dict[str, Link]
    modes: dict[str, Mode]
    pairings: dict[str, Pairing]
    faults: tuple[FaultGroup, ...]
    options: dict[str, Option]
    variant: dict[str, str]
    requirements: dict[str, Requirement]
    accepted: tuple[Acceptance, ...]
    expected: tuple[Expectation, ...]
    unused: tuple[Unused, ...] = field(default=())
    place: Place | None = None
    digests: dict[str, str] = field(default_factory=dict)
    clock: Clock | None = None
    chances: dict[str, Chance] = field(default_factory=dict)
    shared: SharedValues = NOTHING_SHARED
    notes: tuple[Note, ...] = ()
    copies: dict[str, tuple[str, ...]] = field(default_factory=dict)
    faults_in_all: int | None = None

    @property
    def choices(self) -> str:
        """The choices of options, as on the command line; empty for a device without options."""
        return ", ".join(f"{name}={value}" for name, value in self.variant.items())

    @property
    def signals(self) -> tuple[str, ...]:
        """Every signal of some rule, in document order."""
        signalled = (
            name for chip in self.chips.values() for rule in chip.rules for name in rule.signals
        )
        return tuple(dict.fromkeys(signalled))
