"""What differs between two states, found by identity.

The maps of a state are persistent: what did not change between two states of one log is the same
object in both, so one walk through each map tells them apart without a look at any record.
"""

from collections.abc import Mapping
from itertools import compress
from operator import is_not
from typing import Any, NamedTuple

from service.production.state import State


class Entries(NamedTuple):
    """The keys and the values of a map, in the map's own order."""

    keys: list[Any]
    values: list[Any]

    @staticmethod
    def of(known: Mapping[Any, Any]) -> "Entries":
        """The entries of a map."""
        return Entries(list(known), list(known.values()))

    def without(self, keys: set[Any]) -> "Entries":
        """The entries but those of some keys, in the same order."""
        if not keys:
            return self
        stays = [key not in keys for key in self.keys]
        return Entries(list(compress(self.keys, stays)), list(compress(self.values, stays)))


class Known(NamedTuple):
    """What a plan is made of, as entries."""

    episodes: Entries
    scenes: Entries
    elements: Entries
    visits: Entries

    @staticmethod
    def of(state: State) -> "Known":
        """The entries of a state."""
        maps = (state.episodes, state.scenes, state.elements, state.visits)
        return Known(*map(Entries.of, maps))

    def changed_records(self, later: "Known") -> list[str]:
        """Items whose records differ."""
        return [
            item
            for old, new in zip(self[:3], later[:3], strict=True)
            for item in differing(old, new)
        ]

    def changed_visits(self, later: "Known") -> list[str]:
        """Items with visits that differ."""
        return differing(self.visits, later.visits)


def differing(old: Entries, new: Entries) -> list[Any]:
    """Keys whose values are not the same object, or that only one of the maps has."""
    alone: set[Any] = set()
    if old.keys != new.keys:
        gone, come = set(old.keys).difference(new.keys), set(new.keys).difference(old.keys)
        old, new, alone = old.without(gone), new.without(come), gone | come
    if old.keys == new.keys:
        found = compress(new.keys, map(is_not, old.values, new.values))
    else:
        # keys that share a hash lie in the order in which they came
        found = compress(
            new.keys, map(is_not, map(dict(zip(*old, strict=True)).get, new.keys), new.values)
        )
    return [*found, *alone]
