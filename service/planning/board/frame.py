"""Which visits are planned, as rows, and how they follow each other.

A frame changes only when items are listed, joined or delivered; `reframe` finds what such a change
touches and makes the new frame out of the old one.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain, repeat

import numpy as np

from service.cached import cached_property
from service.planning.board.faults import PlanError
from service.planning.kernel.line import Int32s, Int64s
from service.production.graph import predecessors
from service.production.lending import Lending, in_picture
from service.production.state import Node, State, departments_of, item_of, line_departments
from service.vocabulary.identifiers import natural_order

Block = tuple[Node, ...]
"""The visits of one item, in route order."""
Places = dict[str, int]
"""The place of each item among those of a frame."""

Arcs = Int64s
"""Arcs as one number each, the row before << 32 | the row that waits, so that they sort."""
ARC_BITS = 32


class Rows(Mapping[Node, int]):
    """The row of each visit of a frame."""

    __slots__ = ("blocks", "first_row", "place_of")

    def __init__(self, place_of: Places, blocks: tuple[Block, ...], first_row: Int32s) -> None:
        self.place_of = place_of
        self.blocks = blocks
        self.first_row = first_row

    def __getitem__(self, node: Node) -> int:
        place = self.place_of[node[0]]
        block = self.blocks[place]
        if node not in block:
            raise KeyError(node)
        return int(self.first_row[place]) + block.index(node)

    def __iter__(self) -> Iterator[Node]:
        return chain.from_iterable(self.blocks)

    def __len__(self) -> int:
        return int(self.first_row[-1])

    def rows_of(self, item: str) -> range:
        """The rows of an item."""
        place = self.place_of[item]
        return range(int(self.first_row[place]), int(self.first_row[place + 1]))

    def numbered(self, item: str) -> Iterable[tuple[int, Node]]:
        """The visits of an item, each with its row."""
        place = self.place_of[item]
        return enumerate(self.blocks[place], int(self.first_row[place]))

    def block_of(self, item: str) -> Block:
        """The visits of an item, in the order of its rows."""
        return self.blocks[self.place_of[item]]


class Groups:
    """Rows of one frame gathered by episode and department, an episode's own apart from scenes'."""

    def __init__(self, frame: "Frame") -> None:
        departments = len(frame.departments)
        number = {name: place for place, name in enumerate(frame.episodes)}
        owners = np.fromiter(map(number.get, frame.owners, repeat(-1)), np.int64, len(frame.owners))
        of_scenes = np.fromiter(map(str.__ne__, frame.items, frame.owners), np.int64, len(owners))
        code_by_item = np.where(owners >= 0, (2 * owners + of_scenes) * departments, -1)
        code = np.repeat(code_by_item, np.diff(frame.first_row))
        mine = np.flatnonzero(code >= 0)
        code = code[mine] + frame.department[mine]
        order = np.argsort(code, kind="stable")
        codes, self.starts = np.unique(code[order], return_index=True)
        self.rows: Int64s = mine[order]
        self._ends = np.append(self.starts[1:], len(self.rows))
        self._place_of = dict(zip(codes.tolist(), range(len(codes)), strict=True))
        self._number = number
        self._departments = {name: place for place, name in enumerate(frame.departments)}

    def place(self, episode: str, department: str, *, of_scenes: bool) -> int | None:
        """The place of a group; None if it has no rows."""
        number, column = self._number.get(episode), self._departments.get(department)
        if number is None or column is None:
            return None
        code = (2 * number + of_scenes) * len(self._departments) + column
        return self._place_of.get(code)

    def rows_at(self, place: int) -> Int64s:
        """The rows of the group at a place, in order."""
        return self.rows[self.starts[place] : self._ends[place]]

    def greatest(self, values: Int64s) -> list[int]:
        """By place, the greatest of its rows' values."""
        if not len(self.rows):
            return []
        greatest: list[int] = np.maximum.reduceat(values[self.rows], self.starts).tolist()
        return greatest


@dataclass(frozen=True, eq=False)
class Frame:
    """The visits that are planned, as rows: grouped by item, items in their total order.

    `blocks` are the visits by item; `first_row` has one entry more than there are items; arcs are
    in CSR form, from a visit to those that wait for it. By item, `due_set` is the place in
    `due_sets` of the undelivered episodes it belongs to, and `owners` are the episodes whose visits
    they make ("" for an element).

    Of delivered episodes there are the scenes that planned ones reuse; they own no row.

    `missing` are items outside the frame that planned ones would wait for if they were planned,
    with those that would.
    """

    items: tuple[str, ...]
    place_of: Places
    blocks: tuple[Block, ...]
    first_row: Int32s
    departments: tuple[str, ...]
    department: Int32s
    successor_from: Int32s
    successor: Int32s
    episodes: tuple[str, ...]
    due_sets: tuple[tuple[str, ...], ...]
    due_set: Int32s
    owners: tuple[str, ...]
    missing: dict[str, frozenset[str]]

    @cached_property
    def nodes(self) -> Block:
        """The visits by row."""
        return tuple(chain.from_iterable(self.blocks))

    @cached_property
    def row_of(self) -> Rows:
        """The row of each visit."""
        return Rows(self.place_of, self.blocks, self.first_row)

    @cached_property
    def groups(self) -> Groups:
        """Rows by episode and department."""
        return Groups(self)

    @cached_property
    def due_episodes(self) -> tuple[tuple[str, ...], ...]:
        """By item, the undelivered episodes it belongs to."""
        return tuple([self.due_sets[place] for place in self.due_set.tolist()])

    @cached_property
    def due_set_by_row(self) -> Int32s:
        """By row, the place of its item's episodes in `due_sets`."""
        return np.repeat(self.due_set, np.diff(self.first_row))


_NONE, _FROM_0 = np.zeros(0, np.int32), np.zeros(1, np.int32)
NO_FRAME = Frame((), {}, (), _FROM_0, (), _NONE, _FROM_0, _NONE, (), (), _NONE, (), {})
"""The frame in which nothing is planned."""


def planned_episodes(state: State) -> tuple[str, ...]:
    """Undelivered episodes in their total order."""
    open_ones = (name for name, episode in state.episodes.items() if not episode.delivered)
    return tuple(sorted(open_ones, key=order_of))


def order_of(item: str) -> tuple[tuple[tuple[int, str], ...], str]:
    """The total order of items, as people count."""
    return natural_order(item), item


def due_episodes_of(
    state: State, item: str, undelivered: set[str], lending: Lending
) -> tuple[str, ...] | None:
    """The undelivered episodes that an item belongs to; None if it is not planned.

    A scene in the picture belongs to its episode, one that is out to those with scenes that need
    what it lends; an omitted one that nobody needs has its place, and no work, in its own. An
    element belongs to the episodes of the scenes in the picture that use it or need it through
    others. Where there are none left it is not planned; one that nobody uses as yet is.
    """
    scene = state.scenes.get(item)
    if scene is not None:
        if in_picture(state, item):
            return (scene.episode,)
        due = _episodes(state, (name for users in lending.borrowers(item).values()
                                for name in users))  # fmt: skip
        return due or ((scene.episode,) if scene.episode in undelivered else None)
    element = state.elements.get(item)
    if element is None:
        return (item,) if item in undelivered else None
    due = _episodes(state, lending.users_of_element(item))
    return None if element.scenes and not due else due


def _episodes(state: State, scenes: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted({state.scenes[name].episode for name in scenes}))


def owner_of(state: State, item: str) -> str:
    """The episode whose visits an item's are; "" for an element."""
    scene = state.scenes.get(item)
    if scene is not None:
        return scene.episode
    return item if item in state.episodes else ""


def block_of(state: State, item: str) -> Block:
    """The visits that an item makes. Raises LookupError for an item that is not in the record."""
    found = item_of(state, item)
    if found is None:
        raise LookupError(item)
    return tuple([(item, name) for name in departments_of(found)])


def _planned_items(state: State, episodes: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Items to plan, each with the undelivered episodes it belongs to."""
    found: dict[str, tuple[str, ...]] = {}
    for name in episodes:
        found[name] = (name,)
        found.update(dict.fromkeys(state.episodes[name].scenes, (name,)))
    undelivered, lending = set(episodes), Lending(state)
    elements = (element for show in state.shows.values() for element in show.elements)
    for item in chain(elements, state.reusers):
        due = due_episodes_of(state, item, undelivered, lending)
        if due is not None:
            found[item] = due
    return found


def make_frame(state: State) -> Frame:
    """The frame of all visits of undelivered episodes, and of the elements and scenes they use."""
    episodes = planned_episodes(state)
    belongs = _planned_items(state, episodes)
    items = tuple(sorted(belongs, key=order_of))
    place_of = {item: place for place, item in enumerate(items)}
    blocks = tuple(block_of(state, item) for item in items)
    first_row = np.cumsum([0, *map(len, blocks)]).astype(np.int32)
    due_sets = {names: place for place, names in enumerate(dict.fromkeys(belongs.values()))}
    departments = line_departments(state)
    nodes = tuple(chain.from_iterable(blocks))
    row_of = dict(zip(nodes, range(len(nodes)), strict=True))
    arcs, missing = arcs_into(state, enumerate(nodes), row_of, place_of)
    successor_from, successor = in_csr(arcs, len(nodes))
    return Frame(
        items=items,
        place_of=place_of,
        blocks=blocks,
        first_row=first_row,
        departments=departments,
        department=department_numbers(departments, nodes),
        successor_from=successor_from,
        successor=successor,
        episodes=episodes,
        due_sets=tuple(due_sets),
        due_set=np.array([due_sets[belongs[item]] for item in items], np.int32),
        owners=tuple(owner_of(state, item) for item in items),
        missing={item: frozenset(users) for item, users in missing.items()},
    )


def department_numbers(departments: tuple[str, ...], nodes: Iterable[Node]) -> Int32s:
    """The numbers of the departments of some visits."""
    number = {name: place for place, name in enumerate(departments)}
    return np.array([number[name] for _, name in nodes], np.int32)


def arcs_into(
    state: State, rows: Iterable[tuple[int, Node]], row_of: Mapping[Node, int], place_of: Places
) -> tuple[Arcs, dict[str, set[str]]]:
    """Arcs that lead to some rows, in no order, and the items outside, with who waits for them.

    Raises PlanError, which names the item whose arcs cannot be found.
    """
    arcs: list[int] = []
    missing: dict[str, set[str]] = {}
    for row, node in rows:
        try:
            before_it = predecessors(state, *node)
        except Exception as fault:
            raise PlanError(node[0]) from fault
        for arc in before_it:
            before = row_of.get(arc.node)
            if before is not None:
                arcs.append(before << ARC_BITS | row)
            elif arc.node[0] not in place_of:
                missing.setdefault(arc.node[0], set()).add(node[0])
    return np.array(arcs, np.int64), missing


def in_csr(arcs: Arcs, count: int) -> tuple[Int32s, Int32s]:
    """Arcs in CSR form: successors of each row in order."""
    # most are in order already: that is what this kind of sorting makes use of
    ordered = np.sort(arcs, kind="stable")
    successor_from = np.zeros(count + 1, np.int32)
    np.cumsum(np.bincount(ordered >> ARC_BITS, minlength=count), out=successor_from[1:])
    return successor_from, (ordered & ((1 << ARC_BITS) - 1)).astype(np.int32)
