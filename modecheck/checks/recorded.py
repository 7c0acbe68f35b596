"""Values of dataclasses as JSON, and back with every type checked.

What is read is not trusted: only values of the expected type are built, and whatever does not fit
it exactly raises `Odd`. A mapping can give some types their own functions to write or read them.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Callable, Mapping
from datetime import date
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints

Own = Mapping[type, Callable[[Any], Any]]
"""Functions that write, or read, the values of some types."""


class Odd(ValueError):
    """What was read is not a value of the expected type."""


def recorded(value: Any, own: Own) -> Any:
    """A value as JSON data: dataclasses by their fields, sets sorted."""
    if type(value) in own:
        return own[type(value)](value)
    if dataclasses.is_dataclass(value):
        names = [field.name for field in dataclasses.fields(value)]
        return {name: recorded(getattr(value, name), own) for name in names}
    if value is None or isinstance(value, (bool, str, float)):
        return value
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return [[recorded(key, own), recorded(one, own)] for key, one in value.items()]
    if isinstance(value, (set, frozenset)):
        return [recorded(one, own) for one in sorted(value)]
    if isinstance(value, (tuple, list)):
        return [recorded(one, own) for one in value]
    return int(value)


def read(kind: Any, data: Any, own: Own) -> Any:
    """A value of a type, from the data that `recorded` made of it. Raises `Odd`."""
    if kind in own:
        return own[kind](data)
    if dataclasses.is_dataclass(kind):
        return _read_fields(kind, data, own)
    if kind is date:
        return _read_date(data)
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return _read_optional(arguments, data, own)
    if origin is not None:
        return _read_many(origin, arguments, _as_list(data), own)
    if type(data) is not kind:
        raise Odd(f"{data!r} is not a {kind}")
    return data


def _read_fields(kind: Any, data: Any, own: Own) -> Any:
    hints = _hints(kind)
    if type(data) is not dict or data.keys() != hints.keys():
        raise Odd(f"these are not the fields of {kind}")
    return kind(**{name: read(hint, data[name], own) for name, hint in hints.items()})


@cache
def _hints(kind: Any) -> dict[str, Any]:
    hints = get_type_hints(kind)
    return {field.name: hints[field.name] for field in dataclasses.fields(kind)}


def _read_date(data: Any) -> date:
    try:
        return date.fromisoformat(data)
    except (TypeError, ValueError):
        raise Odd(f"{data!r} is not a date") from None


def _read_optional(kinds: tuple[Any, ...], data: Any, own: Own) -> Any:
    if data is None and type(None) in kinds:
        return None
    (kind,) = (one for one in kinds if one is not type(None))
    return read(kind, data, own)


def _read_many(origin: Any, kinds: tuple[Any, ...], items: list[Any], own: Own) -> Any:
    if origin is dict:
        return dict(_read_each(kinds, _as_list(item), own) for item in items)
    if origin is tuple and kinds[-1] is not Ellipsis:
        return _read_each(kinds, items, own)
    if origin not in (tuple, list, set, frozenset):
        raise Odd(f"{origin} cannot be read")
    return origin(read(kinds[0], item, own) for item in items)


def _read_each(kinds: tuple[Any, ...], items: list[Any], own: Own) -> Any:
    if len(items) != len(kinds):
        raise Odd(f"{items!r} does not have {len(kinds)} items")
    return tuple(read(kind, item, own) for kind, item in zip(kinds, items, strict=True))


def _as_list(data: Any) -> list[Any]:
    if type(data) is not list:
        raise Odd(f"{data!r} is not a list")
    return data
