"""The golden files: a log as it was written, and the digest of its state along the way.

`log.jsonl` has an event's recorded bytes on each line, in order of position. `states.jsonl` says
what the log up to some positions folds to, and the root of its tree. Lines are added to both, and
none is ever edited.
"""

import dataclasses
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, time
from decimal import Decimal
from enum import Enum
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from service.production.folding import fold
from service.production.route import Route
from service.production.state import EMPTY, State
from service.proofs.tree import Frontier, append, leaf_hash, root
from service.vocabulary.event import Event, read_event
from service.vocabulary.facts.record import EventStruck

FOLDER = Path(__file__).parent
LOG, STATES = FOLDER / "log.jsonl", FOLDER / "states.jsonl"


def bodies() -> list[bytes]:
    """The golden log."""
    return LOG.read_bytes().splitlines() if LOG.exists() else []


class Stand(NamedTuple):
    """What the log up to a position comes to."""

    position: int
    root: str
    digest: str


def stands() -> list[Stand]:
    """What the log came to whenever something had been added."""
    return [Stand(**json.loads(line)) for line in STATES.read_text().splitlines()]


def stand_of(log: Sequence[bytes]) -> Stand:
    """What a log comes to."""
    frontier: Frontier = ()
    for place, body in enumerate(log):
        _, frontier = append(frontier, place, leaf_hash(body))
    return Stand(len(log), root(frontier).hex(), digest(folded(log)))


def add(new: Iterable[bytes]) -> None:
    """Add events to the log, and what it comes to with them."""
    with LOG.open("ab") as log:
        log.writelines(body + b"\n" for body in new)
    with STATES.open("a") as states:
        states.write(json.dumps(stand_of(bodies())._asdict()) + "\n")


def folded(log: Iterable[bytes]) -> State:
    """The state that a log comes to."""
    events = [read_event(body) for body in log]
    return fold(EMPTY, unstruck(events))


def unstruck(events: list[Event]) -> Iterator[Event]:
    """What is not struck."""
    struck = {event.fact.position for event in events if isinstance(event.fact, EventStruck)}
    return (event for event in events if event.position not in struck)


def digest(state: State) -> str:
    """SHA-256 of all that a state says.

    Maps without entries, and members at their defaults, are left out, so that a release which
    knows more things comes to the same.
    """
    maps = {name: _plain(getattr(state, name)) for name in state.__slots__}
    filled = {name: found for name, found in maps.items() if found}
    return sha256(json.dumps(filled, sort_keys=True).encode()).hexdigest()


def _plain(value: Any) -> Any:
    """A value as JSON holds it: records as objects of what is not at its default."""
    if isinstance(value, Mapping):
        return sorted(([_plain(key), _plain(item)] for key, item in value.items()), key=json.dumps)
    members = _members(value)
    if members is not None:
        return {name: _plain(item) for name, item in members.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, set | frozenset):
        return sorted((_plain(item) for item in value), key=json.dumps)
    if isinstance(value, Enum):
        return value.name
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, date | time | Decimal):
        return str(value)
    raise TypeError(f"a state holds a {type(value).__name__}: say here how it is written")


def _members(value: Any) -> dict[str, Any] | None:
    """The members of a record that say more than their defaults; None for what is no record."""
    if isinstance(value, Route):
        return {"fact": value.fact}
    if isinstance(value, msgspec.Struct):
        defaults = {field.name: field.default for field in msgspec.structs.fields(value)}
        found = {name: getattr(value, name) for name in defaults}
    elif isinstance(value, tuple) and hasattr(value, "_asdict"):
        defaults, found = value._field_defaults, value._asdict()  # type: ignore[attr-defined]  # a named tuple
    elif dataclasses.is_dataclass(value):
        fields = dataclasses.fields(value)
        defaults = {field.name: field.default for field in fields}
        found = {field.name: getattr(value, field.name) for field in fields}
    else:
        return None
    return {
        name: item for name, item in found.items() if name not in defaults or item != defaults[name]
    }
