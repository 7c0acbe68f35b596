"""What stands behind a name in the text because of the last check: `unreachable`, `never taken`.

Only a check that explored everything can say so, and only of parts that no other choice of an
option could reach.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.editor.bounded_check import CheckOutcome
from modecheck.editor.hover import is_of_rule
from modecheck.editor.mentions import Mention
from modecheck.editor.navigation import all_mentions
from modecheck.editor.real_paths import real_path
from modecheck.editor.scenes import Scene
from modecheck.editor.session import EditorSession
from modecheck.editor.workspace import path_of

UNREACHABLE, NEVER_TAKEN = "unreachable", "never taken"


@dataclass(frozen=True, slots=True)
class Hint:
    """A remark behind the offset at which a name ends."""

    offset: int
    text: str


def hints(session: EditorSession, uri: str) -> list[Hint]:
    """The remarks on a text; none once it differs from what was checked."""
    path = path_of(uri)
    known = next(iter(session.known_of(path)), None)
    if known is None or known.outcome is None or known.outcome.stopped_by:
        return []
    if known.checked_texts != session.workspace.held().texts:
        return []
    scene = session.scene(path)
    mentions = all_mentions(session, path).get(real_path(path), [])
    return sorted(set(_hints(scene, known.outcome, mentions)), key=lambda one: one.offset)


def _hints(scene: Scene, outcome: CheckOutcome, mentions: list[Mention]) -> Iterator[Hint]:
    for one in mentions:
        kind = one.symbol.kind
        if not one.declares or kind not in _UNSEEN:
            continue
        chips = [
            chip
            for chip in outcome.depths
            if (known := scene.names.chip_called(chip)) is not None
            and known.lowest == one.symbol.owner
        ]
        is_unseen, remark = _UNSEEN[kind]
        if chips and all(is_unseen(outcome, chip, one.symbol.name) for chip in chips):
            yield Hint(one.span.end, remark)


def _is_unreachable(outcome: CheckOutcome, chip: str, name: str) -> bool:
    return name in outcome.unreachable.get(chip, ())


def _is_never_taken(outcome: CheckOutcome, chip: str, name: str) -> bool:
    """Whether the chip takes nothing of a rule, which may have branches."""
    own = [title for title in outcome.taken.get(chip, ()) if is_of_rule(title, name)]
    return bool(own) and set(own) <= set(outcome.never_taken.get(chip, ()))


_UNSEEN = {"state": (_is_unreachable, UNREACHABLE), "rule": (_is_never_taken, NEVER_TAKEN)}
