"""A small interpreter of ECMAScript expressions, with the meaning of ECMA-262 (from memory).

It shares nothing with the code that is tested; the library that runs charts knows Python only, and
takes this in place of its own evaluator.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable
from typing import Any

from statemachine.spec_parser import InState

TOKEN = re.compile(r"\s*(?:(\d+)|('[^']*')|([A-Za-z_]\w*)|(===|!==|==|!=|<=|>=|&&|\|\||.))")
BINARY: list[dict[str, Callable[[Any, Any], Any]]] = [
    {"==": operator.eq, "!=": operator.ne, "===": operator.eq, "!==": operator.ne},
    {"<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge},
    {"+": operator.add, "-": operator.sub},
    {"*": operator.mul, "/": operator.truediv, "%": math.fmod},
]
"""Operators that bind less come first."""

CALLS: dict[str, Callable[..., Any]] = {
    "Math.floor": math.floor,
    "Math.min": min,
    "Math.max": max,
}


class EcmaScript:
    """Evaluates expressions in the place of the library's evaluator."""

    def compile_value(self, expr: str) -> Callable[..., Any]:
        def value(*_: Any, **kwargs: Any) -> Any:
            return _Evaluation(expr, kwargs).whole()

        return value

    def compile_bool(self, expr: str) -> Callable[..., Any]:
        def condition(*_: Any, **kwargs: Any) -> Any:
            found = _Evaluation(expr, kwargs).whole()
            assert isinstance(found, bool), expr
            return found

        return condition

    def compile_script(self, content: str) -> Callable[..., Any]:
        raise AssertionError(content)

    def eval_literal(self, content: str) -> Any:
        raise AssertionError(content)

    def ensure_external_src_allowed(self, descriptor: str) -> None:
        raise AssertionError(descriptor)


class _Evaluation:
    def __init__(self, text: str, given: dict[str, Any]) -> None:
        self._tokens = [match[0].strip() for match in TOKEN.finditer(text.strip())]
        self._given = given
        self._at = 0

    def whole(self) -> Any:
        found = self._choice()
        assert self._at == len(self._tokens), self._tokens
        return found

    def _take(self, *words: str) -> str:
        if self._at < len(self._tokens) and self._tokens[self._at] in words:
            self._at += 1
            return self._tokens[self._at - 1]
        return ""

    def _choice(self) -> Any:
        test = self._either()
        if not self._take("?"):
            return test
        yes = self._choice()
        assert self._take(":")
        no = self._choice()
        return yes if test else no

    def _either(self) -> Any:
        found = self._both()
        while self._take("||"):
            right = self._both()
            found = found or right
        return found

    def _both(self) -> Any:
        found = self._binary(0)
        while self._take("&&"):
            right = self._binary(0)
            found = found and right
        return found

    def _binary(self, level: int) -> Any:
        if level == len(BINARY):
            return self._unary()
        found = self._binary(level + 1)
        while word := self._take(*BINARY[level]):
            found = BINARY[level][word](found, self._binary(level + 1))
            found = int(found) if isinstance(found, float) and found.is_integer() else found
        return found

    def _unary(self) -> Any:
        if self._take("!"):
            return not self._unary()
        if self._take("-"):
            return -self._unary()
        if self._take("("):
            found = self._choice()
            assert self._take(")")
            return found
        return self._atom()

    def _atom(self) -> Any:
        word = self._tokens[self._at]
        self._at += 1
        while self._take("."):
            word += "." + self._tokens[self._at]
            self._at += 1
        if word.isdecimal():
            return int(word)
        if word[0] == "'":
            return word[1:-1]
        if word in ("true", "false"):
            return word == "true"
        if self._take("("):
            arguments = [self._choice()]
            while self._take(","):
                arguments.append(self._choice())
            assert self._take(")")
            return self._called(word, arguments)
        if word.startswith("_event.data."):
            return self._given["_event"].data.get(word[len("_event.data.") :])
        return getattr(self._given["machine"].model, word)

    def _called(self, name: str, arguments: list[Any]) -> Any:
        if name == "In":
            return InState(self._given["machine"])(*arguments)  # type: ignore[no-untyped-call]
        return CALLS[name](*arguments)
