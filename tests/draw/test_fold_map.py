"""The map of a folded product: what is merged, what is certain, and what is left out."""

from __future__ import annotations

import pytest

from modecheck.checks.folding import Folding, fold
from modecheck.draw import fold_map as module
from modecheck.draw.fold_map import fold_map
from modecheck.draw.gallery import Drawing, render_svg
from modecheck.engine.search.exploration import explore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.draw.flaws import flaws
from tests.draw.reading_svg import Picture, squeezed, words_of
from tests.models.bundled import STARTER


def folding(*parts: str) -> Folding:
    return fold(explore(compose(read_device(str(STARTER)))), parts)


def picture_of(found: Folding) -> Picture:
    return Picture(render_svg(Drawing(fold_map(found))))


def test_each_folded_state_is_a_box_with_its_count() -> None:
    """Values of all parts, with the chip where there are several, and how many states agree."""
    found = folding("pedal.state", "receiver.state")
    boxes = [words_of(box) for box in picture_of(found).groups("mode")]
    assert boxes == [
        [f"pedal {pedal}", f"receiver {receiver}", _states(state.states)]
        for state in found.states
        for pedal, receiver in (state.key,)
    ]


def _states(count: int) -> str:
    return f"{count} state{'' if count == 1 else 's'}"


def test_certain_steps_are_drawn_through_and_others_dashed() -> None:
    """And the legend tells them apart."""
    found = folding("receiver.state", "receiver.sounding")
    picture = picture_of(found)
    kinds = [group.attrib["class"] for group in picture.groups("arrow")][1:]
    certain = [found.is_certain(step) for step in found.steps]
    assert kinds == [f"arrow {'certain' if one else 'possible'}" for one in certain]
    assert set(certain) == {True, False}
    assert "every state in the box" in picture.legend
    assert "some state in the box" in picture.legend


def test_the_picture_says_that_it_may_show_too_much() -> None:
    """A path along its arrows need not be a run of the device."""
    words = picture_of(folding("mode")).words
    assert squeezed("An arrow means that some state in its box has such a step") in words
    assert squeezed("not every path along them is a run of the device") in words


def test_what_is_far_away_is_put_into_one_box_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the most boxes, the nearest ones stay, and no arrow to the others is forgotten."""
    monkeypatch.setattr(module, "MOST_BOXES", 3)
    found = folding("pedal.state", "receiver.state", "player.state", "pedal.foot")
    picture = picture_of(found)
    boxes = [words_of(box) for box in picture.groups("mode")]
    assert len(boxes) == 4
    others = len(found.states) - 3
    assert boxes[-1][0] == f"{others} others"
    assert squeezed(f"the other {others} are merged into one") in picture.words
    pairs = {(min(step.source, 3), min(step.target, 3)) for step in found.steps}
    assert len(picture.groups("arrow")) - 1 == len({pair for pair in pairs if pair[0] != pair[1]})
    assert list(flaws(picture)) == []


def test_too_many_arrows_bear_no_names_and_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """The titles still name their steps."""
    monkeypatch.setattr(module, "MOST_NAMED", 2)
    picture = picture_of(folding("pedal.state", "receiver.state"))
    assert picture.groups("label") == []
    assert "toomanytonametheirsteps" in picture.words
    assert any("player plug" in title for title in picture.titles)


def test_an_incomplete_exploration_is_said() -> None:
    """A fold of a part is no fold of the whole."""
    space = explore(compose(read_device(str(STARTER))), max_states=5)
    picture = picture_of(fold(space, ["pedal.state"]))
    assert "Incomplete" in picture.words
