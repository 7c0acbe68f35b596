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
        if not one.declares or kind not in ("state", "rule"):
            continue
        chips = [
            chip
            for chip in outcome.depths
            if (known := scene.names.chip_called(chip)) is not None
            and known.lowest == one.symbol.owner
        ]
        unseen = outcome.unreachable if kind == "state" else outcome.never_taken
        name = one.symbol.name
        if chips and all(_is_unseen(unseen.get(chip, ()), name, kind) for chip in chips):
            if kind == "rule" and not all(_has_rule(outcome, chip, name) for chip in chips):
                continue
            yield Hint(one.span.end, UNREACHABLE if kind == "state" else NEVER_TAKEN)


def _is_unseen(unseen: list[str] | tuple[str, ...], name: str, kind: str) -> bool:
    return name in unseen if kind == "state" else any(is_of_rule(one, name) for one in unseen)


def _has_rule(outcome: CheckOutcome, chip: str, name: str) -> bool:
    """Whether all that the chip has of a rule, all branches, is never taken."""
    own = [title for title in outcome.taken.get(chip, ()) if is_of_rule(title, name)]
    return bool(own) and set(own) <= set(outcome.never_taken.get(chip, ()))
