"""A chart of SCXML that runs in the library python-statemachine, which follows the algorithm of W3C
SCXML (appendix D): transitions are selected innermost first, then in document order (section 3.13).

Delayed events stay in the hands of the test: it says when one comes, so that no test waits.
"""

from __future__ import annotations

from typing import Any

from statemachine.io.interpreter import Interpreter
from statemachine.io.scxml.reader import SCXMLReader

from tests.exchange.ecmascript import EcmaScript


class ScxmlMachine:
    """A running chart: its states, its data model, what it sent, and the delayed events that wait,
    by their ids. `begun` are those that were sent by the last event.
    """

    def __init__(self, text: str) -> None:
        self.sent: list[tuple[str, object]] = []
        self.waiting: dict[str, str] = {}
        self.begun: set[str] = set()
        interpreter = Interpreter(reader=SCXMLReader(), evaluator=EcmaScript())
        interpreter.process_definition(SCXMLReader().read(text), location="chart")
        chart: Any = interpreter.scs["chart"]
        put = chart._put_nonblocking

        def held_back(machine: Any, trigger: Any, internal: bool = False) -> None:
            if trigger.send_id is not None:
                self.waiting[trigger.send_id] = str(trigger.event)
                self.begun.add(trigger.send_id)
            else:
                put(machine, trigger, internal)

        chart._put_nonblocking = held_back
        chart.cancel_event = lambda _machine, send_id: self.waiting.pop(send_id, None)
        chart._invoke_session = self
        chart.catch_errors_as_events = False  # an error is one of the test
        self._machine = chart()
        self._machine._engine._invoke_manager.send_to_child = self._send_to_child

    def send_to_parent(self, event: str, **data: object) -> None:
        """Called by the library: the chart sends to the session that invoked it."""
        self.sent.append((event, next(iter(data.values()), None)))

    def _send_to_child(self, _name: str, event: str, **data: object) -> bool:
        """Called by the library: the chart sends to a session that it would have invoked."""
        self.send_to_parent(event, **data)
        return True

    def give(self, event: str, **data: object) -> None:
        """Send an event and let the chart run to completion."""
        self.sent.clear()
        self.begun.clear()
        self._machine.send(event, **data)

    def expire(self, send_id: str) -> None:
        """Let a delayed event come."""
        self.give(self.waiting.pop(send_id))

    @property
    def states(self) -> set[str]:
        return set(self._machine.configuration_values)

    def value(self, name: str) -> object:
        """Of a variable of the data model."""
        return getattr(self._machine.model, name)
