"""A new frame out of an old one: items cut out and put in, rows and arcs renumbered."""

from bisect import bisect_left
from collections.abc import Iterable, Sequence, Set
from itertools import chain, repeat
from typing import NamedTuple

import numpy as np

from service.planning.board.frame import (
    ARC_BITS,
    Block,
    Frame,
    Places,
    Rows,
    arcs_into,
    block_of,
    in_csr,
    order_of,
    owner_of,
)
from service.planning.kernel.line import Int32s, Int64s
from service.production.state import State


class Reframed(NamedTuple):
    """A new frame, and by row of it the old one's row; -1 for some rows of items that are fresh."""

    frame: Frame
    source: Int64s
    fresh: frozenset[str]


class Change(NamedTuple):
    """What happened to a frame.

    `due` are the items whose `due_episodes` changed, with None for those that leave; those of
    `recut` make other visits than before, and those of `rewired` may wait for others.
    """

    due: dict[str, tuple[str, ...] | None]
    entering: list[str]
    leaving: list[str]
    recut: set[str]
    rewired: set[str]


def splice(
    frame: Frame,
    state: State,
    change: Change,
    episodes: tuple[str, ...],
    departments: tuple[str, ...],
) -> Reframed:
    """The new frame: items that leave cut out, others put in, arcs renumbered."""
    items, blocks, owners = list(frame.items), list(frame.blocks), list(frame.owners)
    leaving = sorted(frame.place_of[item] for item in change.leaving)
    for place in reversed(leaving):
        del items[place], blocks[place], owners[place]
    entering: list[int] = []
    for item in sorted(change.entering, key=order_of):
        place = bisect_left(items, order_of(item), key=order_of)
        entering.append(place)
        items.insert(place, item)
        blocks.insert(place, block_of(state, item))
        owners.insert(place, owner_of(state, item))
    place_of = frame.place_of
    if entering or leaving:
        place_of = dict(zip(items, range(len(items)), strict=True))
    recut = change.recut & place_of.keys()
    for item in recut:
        blocks[place_of[item]] = block_of(state, item)
    fresh = recut.union(change.entering)
    places = _places(len(frame.items), leaving, entering)
    first_row = _first_row(frame, places, blocks, [place_of[item] for item in fresh])
    row_of = Rows(place_of, tuple(blocks), first_row)
    moved = _moved(frame, row_of, places, recut)
    kept = np.flatnonzero(moved >= 0)
    source = np.full(len(row_of), -1, np.int64)
    source[moved[kept]] = kept
    (successor_from, successor), missing = _arcs(frame, state, row_of, moved, change)
    due_sets, due_set = _due_sets(frame, place_of, places, change)
    made = Frame(
        items=tuple(items),
        place_of=place_of,
        blocks=row_of.blocks,
        first_row=first_row,
        departments=departments,
        department=_departments(frame, departments, row_of, source, fresh),
        successor_from=successor_from,
        successor=successor,
        episodes=episodes,
        due_sets=due_sets,
        due_set=due_set,
        owners=tuple(owners),
        missing=missing,
    )
    return Reframed(made, source, frozenset(fresh))


def _places(count: int, leaving: list[int], entering: list[int]) -> Int64s:
    """By place of an item in the old frame, its place in the new one; -1 where it leaves."""
    stays = np.ones(count, np.bool_)
    stays[leaving] = False
    rank = np.cumsum(stays) - 1
    before = np.array(entering, np.int64) - np.arange(len(entering))
    return np.where(stays, rank + np.searchsorted(before, rank, side="right"), -1)


def _first_row(frame: Frame, places: Int64s, blocks: Sequence[Block], fresh: list[int]) -> Int32s:
    counts = np.zeros(len(blocks), np.int32)
    stays = places >= 0
    counts[places[stays]] = np.diff(frame.first_row)[stays]
    for place in fresh:
        counts[place] = len(blocks[place])
    first_row = np.zeros(len(blocks) + 1, np.int32)
    np.cumsum(counts, out=first_row[1:])
    return first_row


def moved_rows(old: Frame, new: Frame) -> Int64s:
    """By row of one frame, its row in another; -1 where it has none."""
    row_of = new.row_of
    both = old.place_of.keys() & new.place_of.keys()
    recut = {item for item in both if old.row_of.block_of(item) != row_of.block_of(item)}
    places = np.fromiter(map(new.place_of.get, old.items, repeat(-1)), np.int64)
    return _moved(old, row_of, places, recut)


def _moved(frame: Frame, row_of: Rows, places: Int64s, recut: Set[str]) -> Int64s:
    counts = np.diff(frame.first_row)
    shift = np.where(places >= 0, row_of.first_row[places] - frame.first_row[:-1], 0)
    moved: Int64s = np.arange(len(frame.department)) + np.repeat(shift, counts)
    moved[np.repeat(places < 0, counts)] = -1
    for item in recut & frame.place_of.keys():
        place = frame.place_of[item]
        moved[frame.first_row[place] : frame.first_row[place + 1]] = [
            row_of.get(node, -1) for node in frame.blocks[place]
        ]
    return moved


def _departments(
    frame: Frame, departments: tuple[str, ...], row_of: Rows, source: Int64s, fresh: Iterable[str]
) -> Int32s:
    """By row, the number of its department."""
    number = {name: place for place, name in enumerate(departments)}
    renumbered = np.array([number.get(name, -1) for name in frame.departments], np.int32)
    department: Int32s = renumbered[frame.department][source]
    for item in fresh:
        department[row_of.rows_of(item)] = [number[name] for _, name in row_of.block_of(item)]
    return department


def _due_sets(
    frame: Frame, place_of: Places, places: Int64s, change: Change
) -> tuple[tuple[tuple[str, ...], ...], Int32s]:
    """The sets of episodes that items belong to, new ones behind those that were there."""
    due_set = np.zeros(len(place_of), np.int32)
    stays = places >= 0
    due_set[places[stays]] = frame.due_set[stays]
    number = {names: place for place, names in enumerate(frame.due_sets)}
    for item, names in change.due.items():
        if names is not None:
            due_set[place_of[item]] = number.setdefault(names, len(number))
    if len(number) <= max(64, len(place_of)):
        return tuple(number), due_set
    sets = tuple(number)
    used, renumbered = np.unique(due_set, return_inverse=True)
    return tuple(sets[place] for place in used.tolist()), renumbered.astype(np.int32)


def _arcs(
    frame: Frame, state: State, row_of: Rows, moved: Int64s, change: Change
) -> tuple[tuple[Int32s, Int32s], dict[str, frozenset[str]]]:
    """Arcs in CSR form, those of rewired items found anew; and the items that are missing."""
    before = moved[np.repeat(np.arange(len(moved)), np.diff(frame.successor_from))]
    after = moved[frame.successor]
    # what waited for a visit that is gone may wait for another, or miss it
    places = np.searchsorted(row_of.first_row, after[(before < 0) & (after >= 0)], side="right") - 1
    rewired = change.rewired & row_of.place_of.keys()
    rewired.update(row_of.blocks[place][0][0] for place in set(places.tolist()))
    anew = np.zeros(len(row_of), np.bool_)
    for item in rewired:
        anew[row_of.rows_of(item)] = True
    stays = (before >= 0) & (after >= 0)
    stays[stays] = ~anew[after[stays]]
    rows = chain.from_iterable(map(row_of.numbered, rewired))
    found, misses = arcs_into(state, rows, row_of, row_of.place_of)
    arcs = np.concatenate((before[stays] << ARC_BITS | after[stays], found))
    return in_csr(arcs, len(row_of)), _missing(frame, row_of, rewired, misses)


def _missing(
    frame: Frame, row_of: Rows, rewired: Set[str], misses: dict[str, set[str]]
) -> dict[str, frozenset[str]]:
    """The items outside the frame that would be waited for, with those that would."""
    missing: dict[str, frozenset[str]] = {}
    for item, waits in frame.missing.items():
        left = frozenset(w for w in waits if w in row_of.place_of and w not in rewired)
        if left and item not in row_of.place_of:
            missing[item] = left
    for item, users in misses.items():
        missing[item] = missing.get(item, frozenset()) | users
    return missing
