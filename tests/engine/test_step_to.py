"""One step that is asked for by its label, against all steps of a state."""

from __future__ import annotations

from hypothesis import given, settings

from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from tests.generation.devices import Drawn, devices

MOST_STATES = 60


@given(devices(timed=True))
@settings(max_examples=settings().max_examples // 2)
def test_a_step_is_found_by_its_label(drawn: Drawn) -> None:
    """It is the first of all steps with the label that leads there, failing ones included; where
    no such step leads there is none.
    """
    product = compose(drawn.read())
    space, interpreter = explore(product, max_states=MOST_STATES), Interpreter(product)
    for number in range(space.state_count):
        state = space.state(number)
        steps = interpreter.steps(state)
        for step in steps:
            first = next(s for s in steps if (s.label, s.after) == (step.label, step.after))
            assert interpreter.step_to(state, step.label, step.after) == first
        for label in range(len(product.labels)):
            reached = {step.after for step in steps if step.label == label}
            for after in {product.initial, None} - reached:
                assert interpreter.step_to(state, label, after) is None
