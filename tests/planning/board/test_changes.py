"""What differs between two maps of one lineage, held against a look at every key."""

from dataclasses import dataclass

from hypothesis import given
from hypothesis import strategies as st
from immutables import Map

from service.planning.board.changes import Entries, differing


@dataclass(frozen=True)
class Key:
    """A key that shares its hash with others: such keys lie in the order in which they came."""

    name: int

    def __hash__(self) -> int:
        return self.name % 3


class Value:
    """Equal to all others, so that nothing but identity tells values apart."""

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Value)

    __hash__ = None  # type: ignore[assignment]  # it is never a key


def _naive(old: Map[Key, Value], new: Map[Key, Value]) -> set[Key]:
    return {key for key in {*old, *new} if old.get(key) is not new.get(key)}


_STEPS = st.lists(st.tuples(st.sampled_from(("set", "drop", "again")), st.integers(0, 60)))


def _changed(entries: Map[Key, Value], steps: list[tuple[str, int]]) -> Map[Key, Value]:
    for step, name in steps:
        key = Key(name)
        value = entries.get(key)
        if step == "set":
            entries = entries.set(key, Value())
        elif value is not None:
            entries = entries.delete(key)
            if step == "again":
                entries = entries.set(key, value)
    return entries


@given(_STEPS, _STEPS, _STEPS)
def test_what_differs_is_found_whichever_way_it_came_about(
    common: list[tuple[str, int]], one: list[tuple[str, int]], other: list[tuple[str, int]]
) -> None:
    base = _changed(Map(), common)
    old, new = _changed(base, one), _changed(base, other)
    found = differing(Entries(old), Entries(new))
    assert len(found) == len(set(found))
    assert set(found) == _naive(old, new)


def test_nothing_differs_between_a_map_and_itself() -> None:
    entries = _changed(Map(), [("set", name) for name in range(40)])
    assert differing(Entries(entries), Entries(entries)) == []
    assert differing(Entries(entries), Entries(entries.set(Key(50), Value()).delete(Key(50)))) == []
