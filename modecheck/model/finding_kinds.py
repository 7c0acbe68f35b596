"""The kinds of findings: the words that a model accepts and expects, and what each means.

A kind is about named parts of a device. Its `hint` is one line for a report; `about`, `why` and
`cures` explain it to somebody who has never met it.
"""

from __future__ import annotations

from dataclasses import dataclass

ERROR, WARNING = "error", "warning"
"""Levels of SARIF 2.1.0 (OASIS): an error reaches users, a warning is a flaw in the model."""


@dataclass(frozen=True, slots=True)
class FindingKind:
    """A kind of finding: its level, its meaning and what usually helps, each in one line; what it
    is about (`subject` has a form for each kind of part, none where it may be any part); what it
    means in full, why it matters in a device, and the usual cures.
    """

    severity: str
    meaning: str
    hint: str
    subject: tuple[str, ...]
    about: str
    why: str
    cures: tuple[str, ...]


KINDS: dict[str, FindingKind] = {
    "deadlock": FindingKind(
        ERROR,
        "no chip or link can take a step, and the device is not at rest",
        "give a waiting chip a timer, or a rule for what can arrive, or mark its state as rest",
        ("chip.state", "link.message"),
        "Every chip waits for something that no other chip, no link and no timer will bring, and "
        "some chip is in a state that is not marked as rest, or a message is never delivered.",
        "The device hangs: it shows its last picture and answers nothing until somebody unplugs "
        "or resets it.",
        (
            "Give one of the waiting states a timer that leads on.",
            "Add a rule for what can really arrive while the chip waits.",
            "Let the chip that left first say so, and the others listen for it.",
            "If waiting there is intended, mark the state as rest.",
        ),
    ),
    "stuck-chip": FindingKind(
        ERROR,
        "the chip can never move again, whatever people and surroundings do",
        "give the state a way out, or mark it as a rest state if staying there is intended",
        ("chip.state",),
        "Other chips may go on, but this one stays in its state whatever happens from there on.",
        "Part of the device is dead while the rest looks healthy, which is hard to notice and "
        "harder to report.",
        (
            "Give the state a rule for what people do next, or a timer.",
            "Look at the guards of the rules that leave the state: none can become true again.",
            "If the chip is meant to stay there, mark the state as rest.",
        ),
    ),
    "livelock": FindingKind(
        ERROR,
        "chips can loop forever without coming to rest or making progress",
        "limit the number of attempts, or notify the chip whose view is out of date",
        ("chip",),
        "Chips keep each other busy by themselves. No message that a link is there for is "
        "delivered, no pairing is made, and one of them never rests, although every rule that "
        "could go on being taken is taken now and then.",
        "The device searches or negotiates forever, and drains its battery while it does.",
        (
            "Count the attempts, and give up in a rest state.",
            "Tell the other chip what has changed, so that it stops asking.",
            "Wait longer after each failure, and stop at some length.",
        ),
    ),
    "time-stop": FindingKind(
        ERROR,
        "time cannot advance: a rule must be taken now but cannot be",
        "raise the 'capacity' of the full link, or choose another 'when_full'",
        ("chip.rule",),
        "A timer has reached its latest moment. Its rule has to be taken before time goes on, and "
        "a full link that makes its sender wait keeps it from being taken.",
        "No real clock stops. The model promises a deadline that the firmware will miss.",
        (
            "Give the link room for one message more.",
            "Let the link drop, rather than make its sender wait.",
            "Give the timer a later end, or send elsewhere than in the timer's rule.",
        ),
    ),
    "zeno": FindingKind(
        ERROR,
        "chips can take infinitely many steps in zero time",
        "make something in the loop take time: a timer, or a link with a delay",
        ("chip",),
        "A loop of rules and deliveries in which no time passes, and which keeps time from going "
        "on.",
        "Firmware that does this occupies its processor and starves everything else. In a model "
        "it also hides what would happen later.",
        (
            "Give a link in the loop a delay.",
            "Wait for a timer before the next attempt.",
            "Let the loop end when nothing new was found.",
        ),
    ),
    "unspecified-reception": FindingKind(
        ERROR,
        "a message arrives in a state that does not handle it",
        "add a rule, or list the message under the state's 'discards' or 'defers'",
        ("chip.state.message",),
        "A message reaches a chip, and its state neither has a rule for it that is enabled, nor "
        "discards nor defers it (Brand and Zafiropulo 1983).",
        "What firmware does with a message that nobody thought of is an accident: it may lose a "
        "note, run into a default branch, or stop.",
        (
            "Add a rule that does the right thing.",
            "List the message under 'discards' if it means nothing in this state.",
            "List it under 'defers' if it should wait for the next state.",
            "Keep the sender from sending it: ask, or wait for an answer.",
        ),
    ),
    "blocked-reaction": FindingKind(
        ERROR,
        "a signal triggers a rule whose link is full, and a signal cannot wait",
        "raise 'capacity', choose another 'when_full', or add a rule for a full link that stores "
        "the signal in a variable and sends later",
        ("chip.rule",),
        "A signal is heard at once or not at all. The rule that should answer it sends over a full "
        "link that makes its sender wait.",
        "An interrupt is lost, or blocks in its handler.",
        (
            "Give the link room for one message more.",
            "Keep the signal in a variable, and send when there is room.",
            "Let the link drop, if the newest message is the one that counts.",
        ),
    ),
    "overflow": FindingKind(
        ERROR,
        "a message is sent into a full link",
        "raise 'capacity', wait for an answer before sending, or choose 'when_full'",
        ("link.message",),
        "A rule sends over a link that already holds as many messages as fit, and the link has no "
        "policy for that.",
        "A buffer is overwritten, or the message is gone, and nobody knows which.",
        (
            "Wait for an answer before the next message is sent.",
            "Give the link a 'capacity' that covers the worst case.",
            "Choose with 'when_full' what happens: wait, drop the new or drop the old.",
        ),
    ),
    "out-of-range": FindingKind(
        ERROR,
        "a value leaves the range of its variable",
        "guard the rule, or widen the range",
        ("chip.variable", "link.message", "chip.signal"),
        "An assignment, or the value of a message or a signal, is outside the declared range.",
        "In C it wraps around or overwrites its neighbour.",
        (
            "Guard the rule, so that it stops at the end of the range.",
            "Use min and max to stay inside.",
            "Widen the range, in the firmware too.",
        ),
    ),
    "lost-bond": FindingKind(
        ERROR,
        "a bond is lost without being deliberately forgotten",
        "make the bond persistent, or list the event that forgets it under 'forgotten_by'",
        ("pairing",),
        "One end of a pairing loses its key in a step that is not listed as forgetting it.",
        "The user has to pair again, and does not know why.",
        (
            "Make the variable persistent, so that it survives a power cut.",
            "Write the new key before the old one is erased.",
            "If the event is meant to forget it, list it under 'forgotten_by'.",
        ),
    ),
    "one-sided-bond": FindingKind(
        ERROR,
        "the device rests while the two ends of a pairing hold different keys",
        "let the end that still holds the old key find out, and drop or renew the key",
        ("pairing",),
        "One end has a key that the other end does not have, or has another one, and neither does "
        "anything about it.",
        "The device looks paired and cannot connect.",
        (
            "Let the end with the old key find out, and drop or renew it.",
            "Store the key at both ends only after both have confirmed it.",
            "After a refused connection, offer pairing again.",
        ),
    ),
    "unrecoverable-pairing": FindingKind(
        ERROR,
        "no path leads back to a working pairing unless it is deliberately forgotten",
        "add a way to pair again from this state",
        ("pairing",),
        "From this state the two ends never hold the same key again, unless somebody forgets the "
        "pairing on purpose.",
        "Only the reset hole helps, if the user finds it.",
        (
            "Let a refused peer offer pairing anew.",
            "Let the end without a key ask for one.",
            "Drop a key that was refused.",
        ),
    ),
    "usurped-session": FindingKind(
        ERROR,
        "a session begins with a peer that is not the selected one",
        "let the chip accept and answer only the selected peer",
        ("pairing",),
        "The two ends begin to talk although another pairing is selected.",
        "Notes reach the wrong tablet, or a stranger's.",
        (
            "Accept a connection only from the selected peer.",
            "End the session when another peer is selected.",
        ),
    ),
    "two-modes": FindingKind(
        ERROR,
        "the device is in two modes at once",
        "make the conditions exclude each other, or leave one mode before entering the other",
        ("mode",),
        "The conditions of two modes are true in the same state.",
        "Two outputs are active: events arrive twice, or two radios disturb each other.",
        (
            "Leave one mode before entering the other.",
            "Make the conditions exclude each other.",
        ),
    ),
    "unending-switch": FindingKind(
        ERROR,
        "a switch that has begun can no longer reach any mode",
        "give the switch a timer that falls back to a mode",
        ("mode",),
        "The device has left a mode, and from where it is now, no path leads into any mode.",
        "The device works in no mode until it is restarted.",
        (
            "Give the switch a timer that falls back to a mode.",
            "Add a rule for the answer that never comes: a refusal, or a peer that is gone.",
        ),
    ),
    "endless-switch": FindingKind(
        ERROR,
        "a switch that has begun can go on forever, however fairly chips and links take turns",
        "count the attempts, and fall back to a mode when they are used up",
        ("mode",),
        "After leaving a mode, chips and links can loop without ever reaching a mode or coming to "
        "rest.",
        "The device is between its modes for as long as the loop lasts.",
        (
            "Count the attempts, and fall back to a mode.",
            "Let each side know what the other has decided, so that they stop crossing.",
        ),
    ),
    "broken-requirement": FindingKind(
        ERROR,
        "a requirement does not hold",
        "follow the scenario to the rule that breaks it",
        ("requirement",),
        "What the model requires is false in some run, and the scenario is a shortest such run.",
        "It is the promise that somebody wrote down.",
        (
            "Follow the scenario to the rule that breaks it, and change that rule.",
            "If the run cannot happen in the real device, model what prevents it.",
            "If the requirement says too much, narrow it: a scope, or an exception.",
        ),
    ),
    "vacuous-requirement": FindingKind(
        WARNING,
        "a requirement holds only because the situation it describes never occurs",
        "check the condition that it starts with, or the rules that should make it true",
        ("requirement",),
        "The requirement speaks of a situation that no run reaches. It proves nothing.",
        "A green line stands for something that was never put to the test.",
        (
            "Check the condition that it starts with for a wrong name or value.",
            "Add the rule that should lead there.",
        ),
    ),
    "unreachable-state": FindingKind(
        WARNING,
        "the state cannot be reached",
        "check the rules that should lead there",
        ("chip.state",),
        "No run ever enters the state.",
        "Code that can never run is either left over or, more often, not reached because of an "
        "error elsewhere.",
        ("Check the rules that should lead there.", "Remove the state."),
    ),
    "dead-rule": FindingKind(
        WARNING,
        "the rule is never taken",
        "remove it, or fix what keeps it from being taken",
        ("chip.rule",),
        "Its chip is in the rule's state at times, but the rule is never taken: its event never "
        "arrives, its guard is never true, another rule comes first, or its link is never free.",
        "What the rule is there for never happens.",
        ("Fix what keeps it from being taken; the finding says what.", "Remove it."),
    ),
    "mode-never-reached": FindingKind(
        WARNING,
        "the device is never in this mode",
        "check the mode's condition",
        ("mode",),
        "No reachable state satisfies the mode's condition.",
        "A feature is missing, or the mode's condition is wrong and everything said about the mode "
        "is empty.",
        ("Check the mode's condition.", "Add the rules that lead to the mode."),
    ),
    "no-mode-switch": FindingKind(
        WARNING,
        "no path leads from one mode to the other",
        "add the switch, or accept its absence",
        ("mode",),
        "Both modes are reached, but from the first no run ever gets to the second.",
        "The user is in a mode that the device cannot leave for the other, short of a restart.",
        ("Add the switch.", "If there should be none, accept the finding with the reason."),
    ),
    "dead-letter": FindingKind(
        WARNING,
        "a message is sent, but no run ever lets it arrive",
        "send it while the link is up, give it room, or remove it",
        ("link.message",),
        "Some step sends the message, and in no reachable state is it ever delivered: each time it "
        "is dropped before, or it waits in a link that is never up again.",
        "The sender believes that it has told the other side. Whatever should follow never does.",
        (
            "Send it before the link goes down, or after it is up again.",
            "Let the link hold what it carries while it is down ('when_down: hold').",
            "Give the link room, or another 'when_full'.",
            "Remove the message, if nothing depends on it.",
        ),
    ),
    "unused": FindingKind(
        WARNING,
        "something is declared but never used",
        "remove it, or use it",
        (),
        "A variable, a message or another part is declared, and nothing in the model uses it.",
        "Often a name was mistyped, and the part that was meant does less than it seems.",
        ("Use it.", "Remove it."),
    ),
    "needless-acceptance": FindingKind(
        WARNING,
        "an accepted finding no longer occurs",
        "remove the acceptance",
        (),
        "The model accepts a finding that was not found, although everything was explored.",
        "If the error comes back, the old acceptance would hide it.",
        ("Remove the acceptance.",),
    ),
}
"""Every code, in the order in which findings are reported."""
