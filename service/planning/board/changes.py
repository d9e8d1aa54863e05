"""What differs between two states, found by identity.

The maps of a state are persistent: what did not change between two states of one log is the same
object in both, so one walk through each map tells them apart without a look at any record.
"""

from collections.abc import Mapping
from itertools import compress
from operator import is_not
from typing import Any, NamedTuple

from service.production.state import State


class Entries:
    """The values and keys of a map where they are asked for, in the map's own order."""

    __slots__ = ("_keys", "_map", "_values")

    def __init__(self, values: Mapping[Any, Any]) -> None:
        self._map = values
        self._keys: list[Any] | None = None
        self._values: list[Any] | None = None

    @property
    def values(self) -> list[Any]:
        """The values."""
        if self._values is None:
            self._values = list(self._map.values())
        return self._values

    @property
    def keys(self) -> list[Any]:
        """The keys."""
        if self._keys is None:
            self._keys = list(self._map)
        return self._keys


class StateEntries(NamedTuple):
    """What a plan is made of, as entries."""

    episodes: Entries
    scenes: Entries
    elements: Entries
    visits: Entries

    @staticmethod
    def of(state: State) -> "StateEntries":
        """The entries of a state."""
        maps = (state.episodes, state.scenes, state.elements, state.visits)
        return StateEntries(*map(Entries, maps))

    def changed_records(self, later: "StateEntries") -> list[str]:
        """Items whose records differ."""
        return [
            item
            for old, new in zip(self[:3], later[:3], strict=True)
            for item in differing(old, new)
        ]

    def changed_visits(self, later: "StateEntries") -> list[str]:
        """Items with visits that differ."""
        return differing(self.visits, later.visits)


def differing(old: Entries, new: Entries) -> list[Any]:
    """Keys whose values are not the same object, or that only one of the maps has."""
    was, will = old.values, new.values
    # no object lies under two keys, so where the values are the same the keys are
    if len(was) == len(will) and not any(map(is_not, was, will)):
        return []
    old_keys, new_keys = old.keys, new.keys
    alone: set[Any] = set()
    if old_keys != new_keys:
        alone = set(old_keys).symmetric_difference(new_keys)
        old_keys, was = _without(alone, old_keys, was)
        new_keys, will = _without(alone, new_keys, will)
    if old_keys != new_keys:
        # keys that share a hash lie in the order in which they came
        value_of = dict(zip(old_keys, was, strict=True))
        was = [value_of[key] for key in new_keys]
    return [*compress(new_keys, map(is_not, was, will)), *alone]


def _without(some: set[Any], keys: list[Any], values: list[Any]) -> tuple[list[Any], list[Any]]:
    """Entries but those of some keys, in the same order."""
    stays = [key not in some for key in keys]
    return list(compress(keys, stays)), list(compress(values, stays))
