"""The shop floor: which visits lie in which tray, and which artist sits on which of them."""

import heapq
from collections.abc import Iterable
from datetime import date
from random import Random
from typing import NamedTuple

from seed.journal import Journal
from seed.scenario import DEPARTMENTS
from service.production.graph import predecessors
from service.production.route import APPROVAL
from service.production.state import (
    Node,
    State,
    departments_of,
    episodes_of,
    item_of,
    priority_of,
    visit_of,
)
from service.production.takes import Phase, take_work_e4
from service.production.work import calendar_of, crew_at, terms_of
from service.vocabulary.calendar import NEVER, WorkingTime, working_time
from service.vocabulary.identifiers import natural_order
from service.vocabulary.instants import US_PER_MIN
from service.vocabulary.quantities import ceil_div

Key = tuple[object, ...]


class OnDesk(NamedTuple):
    """A visit on a desk: whose, since when, until when (NEVER: it waits there for a call)."""

    artist: int
    started_min: int
    finish_min: int


class Desks:
    """One department: its hours, its tray, its artists.

    `tray`, `arriving` and `finishing` are heaps; what no longer holds is passed over when it
    comes up. `seats` says on which visit an artist sits.
    """

    def __init__(self) -> None:
        self.time = WorkingTime.of(())
        self.tray: list[tuple[Key, Node]] = []
        self.arriving: list[tuple[int, int, Node]] = []
        self.finishing: list[tuple[int, int, Node]] = []
        self.seats: dict[int, Node] = {}


class Floor:
    """All departments and every visit that the record knows of.

    `before` and `behind` are the arcs between visits, `out_min` says when a visit was handed off.
    """

    def __init__(self, rng: Random, journal: Journal) -> None:
        self.rng = rng
        self.journal = journal
        self.desks = {name: Desks() for name in DEPARTMENTS}
        self.before: dict[Node, tuple[Node, ...]] = {}
        self.behind: dict[Node, list[Node]] = {}
        self.out_min: dict[Node, int] = {}
        self.on_desk: dict[Node, OnDesk] = {}
        self._arrivals = 0

    def set_hours(self, from_on: date, until_on: date, stops: dict[str, tuple[int, int]]) -> None:
        """Take the working hours from the record, less the stoppages that will come."""
        for name, desks in self.desks.items():
            calendar = calendar_of(self.journal.state, name)
            if calendar is None:
                raise LookupError(name)
            time = working_time(calendar, from_on, until_on)
            desks.time = time.without([stops[name]] if name in stops else [])

    def learn(self, items: Iterable[str], now_min: int) -> None:
        """Take in items that were listed or joined: their visits, and what those wait for."""
        for item in items:
            for node in self.nodes_of(item):
                old = dict.fromkeys(self.before.get(node, ()))
                arcs = predecessors(self.journal.state, *node)
                self.before[node] = tuple(_made(self.journal.state, arc.node) for arc in arcs)
                for other in self.before[node]:
                    if other not in old:
                        self.behind.setdefault(other, []).append(node)
                self.refresh([node], now_min)

    def nodes_of(self, item: str) -> list[Node]:
        """The visits of an item."""
        found = item_of(self.journal.state, item)
        names = () if found is None else departments_of(found)
        return [(item, name) for name in names if name != APPROVAL]

    def refresh(self, nodes: Iterable[Node], now_min: int) -> None:
        """Bring visits in line with the record, after anything but the desks' own day."""
        for node in nodes:
            take = visit_of(self.journal.state, *node).current
            if take.phase is Phase.ON_DESK:
                self.out_min.pop(node, None)
                if node not in self.on_desk:
                    self.sit(node, take.started_us // US_PER_MIN, now_min)
                continue
            self.clear(node)
            if take.phase is Phase.HANDED_OFF:
                self.out_min[node] = take.ended_us // US_PER_MIN
                self.pass_on(node, now_min)
            else:
                self.out_min.pop(node, None)
                self.arrive(node, now_min)

    def refresh_item(self, item: str, now_min: int) -> None:
        """Bring an item in line, and what waits for it: it was held, freed, omitted, restored."""
        nodes = self.nodes_of(item)
        self.refresh(nodes, now_min)
        for node in nodes:
            self.pass_on(node, now_min)

    def ready(self, node: Node) -> bool:
        """Whether a visit could start."""
        if node in self.out_min or node in self.on_desk:
            return False
        scene = self.journal.state.scenes.get(node[0])
        if scene is not None and (scene.omitted or scene.hold is not None):
            return False
        if node[1] != "storyboard" and self._is_unlisted(node[0]):
            return False
        return all(self._passed(other) for other in self.before[node])

    def in_tray(self, department: str) -> list[Node]:
        """Visits ready to start at a department, first ones first."""
        desks = self.desks[department]
        nodes = [node for _, node in sorted(desks.tray)]
        nodes += [node for _, _, node in sorted(desks.arriving)]
        return [node for node in dict.fromkeys(nodes) if self.ready(node)]

    def _is_unlisted(self, item: str) -> bool:
        """Whether it is an episode of which no scene is listed yet: nothing of it can be cut."""
        episode = self.journal.state.episodes.get(item)
        return episode is not None and not episode.scenes

    def _passed(self, node: Node) -> bool:
        if node in self.out_min:
            return True
        scene = self.journal.state.scenes.get(node[0])
        return scene is not None and scene.omitted

    def pass_on(self, node: Node, now_min: int) -> None:
        """Put what waited for a visit into its tray, where it waits for nothing else."""
        for other in self.behind.get(node, ()):
            self.arrive(other, now_min)

    def arrive(self, node: Node, now_min: int) -> None:
        """Put a visit into its tray once all that it waits for is there."""
        if self.ready(node):
            came_min = max([now_min, *(self.out_min.get(other, 0) for other in self.before[node])])
            self._arrivals += 1
            heapq.heappush(self.desks[node[1]].arriving, (came_min, self._arrivals, node))

    def clear(self, node: Node) -> None:
        """Take a visit off its desk."""
        desk = self.on_desk.pop(node, None)
        seats = self.desks[node[1]].seats
        if desk is not None and seats.get(desk.artist) == node:
            del seats[desk.artist]

    def sit(self, node: Node, started_min: int, now_min: int, artist: int = 0) -> None:
        """Put a visit on a desk until it will be finished; 0 is whichever artist is free."""
        desks = self.desks[node[1]]
        artist = artist or next(n for n in range(1, 10_000) if n not in desks.seats)
        desks.seats[artist] = node
        finish_min = desks.time.add(started_min, self._minutes(node, started_min))
        desk = OnDesk(artist, started_min, max(finish_min, now_min + 1))
        self.on_desk[node] = desk
        heapq.heappush(desks.finishing, (desk.finish_min, started_min, node))

    def wait_for_call(self, node: Node) -> None:
        """Leave a visit booked on its desk, its artist free, until a retake takes it back."""
        desk = self.on_desk[node]
        del self.desks[node[1]].seats[desk.artist]
        self.on_desk[node] = desk._replace(artist=0, finish_min=NEVER)

    def _minutes(self, node: Node, started_min: int) -> int:
        """Working minutes a take really needs: what the rate says, more or less."""
        state = self.journal.state
        crew = crew_at(state, node[1], started_min)
        if crew is None:
            raise LookupError(node)
        work_e4 = take_work_e4(visit_of(state, *node).current, terms_of(state, *node)(None))
        planned = ceil_div(work_e4 * crew.day_min, crew.rate_e4)
        chance = self.rng.random()
        if chance < 0.7:
            strain = self.rng.uniform(0.88, 1.04)
        elif chance < 0.93:
            strain = self.rng.uniform(1.04, 1.3)
        else:
            strain = self.rng.uniform(1.3, 1.8)
        if planned > 3 * crew.day_min:
            strain = 1 + (strain - 1) / 4  # over many days it evens out
        return max(1, round(planned * strain))

    def key(self, node: Node) -> Key:
        """The order in which desks take visits, smallest first: the rule of the plan."""
        state = self.journal.state
        item = item_of(state, node[0])
        if item is None:
            raise LookupError(node)
        priority = priority_of(state, item)
        shares = visit_of(state, *node).current.shares
        must = any(state.retakes[code].urgency == "must-fix" for code, _ in shares)
        first = -state.put_first.get(node, 0)
        return (first, -priority, self._due(node[0]), not must, natural_order(node[0]), node[0])

    def _due(self, item: str) -> int:
        """The earliest delivery date of the episodes an item belongs to, as a day number."""
        episodes = self.journal.state.episodes
        own = (episodes[name] for name in episodes_of(self.journal.state, item))
        gates = [episode.gate("delivery") for episode in own if episode.delivered_us < 0]
        return min((gate.due_on.toordinal() for gate in gates if gate), default=2**20)


def _made(state: State, node: Node) -> Node:
    """Who made a design that is to be approved: the answer comes before anybody wants to use it."""
    item, department = node
    return (item, state.elements[item].departments[-2]) if department == APPROVAL else node
