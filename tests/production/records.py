"""Looking into states: the types of all that is in them, and members not at their defaults."""

from dataclasses import fields, is_dataclass
from typing import Any

from immutables import Map
from msgspec import Struct

from service.production.route import Route
from service.production.state import State


def spelled(value: Any) -> Any:
    """A value with the types of all that is in it: else a named tuple equals a plain one."""
    if isinstance(value, State):
        return {name: spelled(getattr(value, name)) for name in State.__slots__}
    if isinstance(value, Route):
        return Route, spelled(value.fact)
    if isinstance(value, Map | dict):
        return type(value), {key: (spelled(key), spelled(inner)) for key, inner in value.items()}
    if isinstance(value, frozenset):
        return frozenset, [spelled(inner) for inner in sorted(value)]
    if isinstance(value, tuple | list):
        return type(value), [spelled(inner) for inner in value]
    if isinstance(value, Struct):
        return type(value), [spelled(getattr(value, name)) for name in value.__struct_fields__]
    if is_dataclass(value):
        return type(value), [spelled(getattr(value, field.name)) for field in fields(value)]
    return type(value), value


def members(value: Any) -> dict[str, tuple[Any, Any]]:
    """By name what a record holds, and its default; nothing for a value that is no record."""
    usual: Any
    if isinstance(value, State):
        return {name: (getattr(value, name), Map()) for name in State.__slots__}
    if isinstance(value, Struct):
        names, defaults = value.__struct_fields__, value.__struct_defaults__
        usual = (*(None,) * (len(names) - len(defaults)), *defaults)
        return {
            name: (getattr(value, name), default)
            for name, default in zip(names, usual, strict=True)
        }
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        named: Any = value
        usual = named._field_defaults
        return {name: (getattr(value, name), usual.get(name)) for name in named._fields}
    return {}


def note_members(value: Any, filled: dict[str, bool]) -> None:
    """Note for each member of each record in a value whether it was ever not at its default."""
    inside: list[Any] = []
    if isinstance(value, Map | dict):
        inside = [*value, *value.values()]
    elif held := members(value):
        for name, (inner, usual) in held.items():
            of = f"{type(value).__name__}.{name}"
            filled[of] = filled.get(of, False) or (inner is not None and inner != usual)
        inside = [inner for inner, _ in held.values()]
    elif isinstance(value, tuple | frozenset):
        inside = list(value)
    for inner in inside:
        note_members(inner, filled)
