"""What a change does: the plan with it minus the plan without it, at one moment."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np

from service.planning.line import Int64s
from service.planning.schedule import (
    Schedule,
    artist_days_e4,
    date_of,
    load_e4,
    projected_min,
    workdays,
)
from service.production.reach import chains_of
from service.production.state import Gate, Node, State, item_of, visit_of
from service.production.visits import Phase, Take, take_work_e4
from service.production.work import terms_of
from service.vocabulary.calendar import NEVER
from service.vocabulary.identifiers import natural_order
from service.vocabulary.instants import US_PER_MIN


class Reopened(NamedTuple):
    """A visit that gets more work: its take, the work of that take, and the chain that leads there.

    `because` runs from the visit the retake names to this one.
    """

    item: str
    department: str
    take: int
    work_e4: int
    unit: str
    retake: str
    because: tuple[Node, ...]


class ToLookAt(NamedTuple):
    """A scene that somebody must look at."""

    scene: str
    retake: str
    reason: str


class DepartmentImpact(NamedTuple):
    """Work a department has more (or less) to do. Artist-days are None where it has no crew."""

    department: str
    added_work_e4: int
    unit: str
    added_artist_days_e4: int | None


class SceneImpact(NamedTuple):
    """A scene whose last visit finishes at another minute."""

    scene: str
    finish_before_min: int | None
    finish_after_min: int | None
    slip_workdays: int | None


class GateImpact(NamedTuple):
    """A gate's projected date and margin, before and after."""

    gate: str
    due_on: date | None
    hard: bool
    before_on: date | None
    after_on: date | None
    margin_workdays_before: int | None
    margin_workdays_after: int | None


class EpisodeImpact(NamedTuple):
    """Every gate of an episode, and its delivery to the minute."""

    episode: str
    gates: tuple[GateImpact, ...]
    due_on: date | None
    delivery_before_min: int | None
    delivery_after_min: int | None
    delivery_before_on: date | None
    delivery_after_on: date | None
    margin_workdays_before: int | None
    margin_workdays_after: int | None

    @property
    def date_holds(self) -> bool | None:
        """Whether the delivery date is still met; None where none is set."""
        if self.due_on is None:
            return None
        return self.margin_workdays_after is not None and self.margin_workdays_after >= 0


@dataclass(frozen=True, slots=True)
class Impact:
    """The difference a change makes."""

    now_min: int
    reopened: tuple[Reopened, ...]
    to_look_at: tuple[ToLookAt, ...]
    departments: tuple[DepartmentImpact, ...]
    scenes: tuple[SceneImpact, ...]
    episodes: tuple[EpisodeImpact, ...]


def compare(before: Schedule, after: Schedule) -> Impact:
    """The impact of whatever lies between two schedules of one moment.

    Raises ValueError if their moments differ.
    """
    if before.now_min != after.now_min:
        raise ValueError("an impact compares two plans of the same moment")
    return Impact(
        now_min=after.now_min,
        reopened=reopened(before.state, after.state),
        to_look_at=_to_look_at(before.state, after.state),
        departments=_departments(before, after),
        scenes=_scenes(before, after),
        episodes=tuple(_episode(before, after, name) for name in compared_episodes(before, after)),
    )


def compared_episodes(before: Schedule, after: Schedule) -> list[str]:
    """Episodes open in one state or the other; those delivered in both are left out."""
    names = {*before.board.frame.episodes, *after.board.frame.episodes}
    return sorted(names, key=lambda name: (natural_order(name), name))


def reopened(before: State, after: State) -> tuple[Reopened, ...]:
    """Visits whose open take asks for work that a retake added in between."""
    found = []
    chains: dict[str, Callable[[Node], tuple[Node, ...]]] = {}
    for node in _changed_nodes(before, after):
        old, new = visit_of(before, *node).current, visit_of(after, *node).current
        if new.phase is not Phase.WAITING or not new.shares:
            continue
        if (new.number, new.shares) == (old.number, old.shares) or _asks_less(old, new):
            continue
        item, department = node
        terms = terms_of(after, item, department)()
        code = next(code for code, _ in reversed(new.shares))
        record = item_of(after, item)
        unit = record.route.departments[department].unit if record else ""
        if code not in chains:
            chains[code] = chains_of(after.retakes[code].reach)
        because = chains[code](node)
        found.append(
            Reopened(item, department, new.number, take_work_e4(new, terms), unit, code, because)
        )
    return tuple(found)


def _asks_less(old: Take, new: Take) -> bool:
    """Whether a take only lost shares, as when a retake is withdrawn."""
    return new.number == old.number and set(new.shares) < set(old.shares)


def _changed_nodes(before: State, after: State) -> list[Node]:
    nodes: list[Node] = []
    for item, visits in after.visits.items():
        old = before.visits.get(item)
        if old is visits:
            continue
        nodes += [
            (item, department)
            for department, visit in visits.items()
            if old is None or old.get(department) is not visit
        ]

    def order(node: Node) -> tuple[object, ...]:
        record = item_of(after, node[0])
        rank = record.route.rank[node[1]] if record else -1
        return natural_order(node[0]), node[0], rank

    return sorted(nodes, key=order)


def _to_look_at(before: State, after: State) -> tuple[ToLookAt, ...]:
    """Scenes that changed retakes list and nobody has answered for."""
    found = []
    for code, retake in after.retakes.items():
        if before.retakes.get(code) is retake or retake.standing != "standing":
            continue
        found += [
            ToLookAt(look.scene, code, look.reason) for look in retake.look_at if not look.answer
        ]
    return tuple(sorted(found, key=lambda look: (natural_order(look.scene), look.retake)))


def _departments(before: Schedule, after: Schedule) -> tuple[DepartmentImpact, ...]:
    added: dict[str, int] = {}
    for schedule, sign, rows in _changed_rows(before, after):
        for row in rows:
            department = schedule.board.frame.nodes[row][1]
            added[department] = added.get(department, 0) + sign * load_e4(schedule, row)
    return tuple(
        DepartmentImpact(name, work, after.state.units[name], artist_days_e4(after, name, work))
        for name, work in sorted(added.items(), key=lambda pair: line_rank(after.state, pair[0]))
        if work != 0
    )


def line_rank(state: State, department: str) -> tuple[int, str]:
    """Where a department stands in the line: by the first route that has it."""
    for name in sorted(state.shows):
        for laid in state.shows[name].routes:
            if department in laid.route.rank:
                return laid.route.rank[department], department
    return len(state.units), department


def _changed_rows(
    before: Schedule, after: Schedule
) -> Iterable[tuple[Schedule, int, Iterable[int]]]:
    """Rows to take away and rows to add, so that what did not change is not counted at all."""
    old, new = before.board, after.board
    if old.frame is new.frame:
        differs = (
            (old.phase != new.phase)
            | (old.work_e4 != new.work_e4)
            | (old.started_min != new.started_min)
        )
        rows = [int(row) for row in np.flatnonzero(differs)]
        return ((before, -1, rows), (after, 1, rows))
    return (
        (before, -1, range(len(old.frame.nodes))),
        (after, 1, range(len(new.frame.nodes))),
    )


def item_finishes(schedule: Schedule) -> Int64s:
    """By item of the frame, the minute at which its last visit is handed off.

    NEVER where one is not, -1 where the item has no visit or is omitted.
    """
    frame = schedule.board.frame
    last = np.full(len(frame.items), -1, np.int64)
    filled = np.flatnonzero(np.diff(frame.first_row))
    if len(filled):
        finish = schedule.finish_of()
        last[filled] = np.maximum.reduceat(finish, frame.first_row[:-1][filled])
    return last


def _scenes(before: Schedule, after: Schedule) -> tuple[SceneImpact, ...]:
    old, new = item_finishes(before), item_finishes(after)
    items, was, will = before.board.frame.items, old, new
    if before.board.frame is not after.board.frame:
        before_of = dict(zip(items, old.tolist(), strict=True))
        after_of = dict(zip(after.board.frame.items, new.tolist(), strict=True))
        items = tuple(dict.fromkeys([*before_of, *after_of]))
        was = np.array([before_of.get(item, -1) for item in items], np.int64)
        will = np.array([after_of.get(item, -1) for item in items], np.int64)
    moved = []
    for place in np.flatnonzero(was != will):
        item = items[place]
        if item in before.state.scenes or item in after.state.scenes:
            one, other = int(was[place]), int(will[place])
            slip = workdays(after, date_of(before, one), date_of(after, other))
            moved.append(SceneImpact(item, _minute(one), _minute(other), slip))
    return tuple(sorted(moved, key=lambda scene: (natural_order(scene.scene), scene.scene)))


def _minute(value: int | None) -> int | None:
    return None if value is None or value < 0 or value >= NEVER else value


def gates_of(schedule: Schedule, episode: str) -> dict[str, Gate | None]:
    """Gates of an episode, set ones first: those its record has, then those its route meets."""
    record = schedule.state.episodes.get(episode)
    if record is None:
        return {}
    gates: dict[str, Gate | None] = dict(record.gates)
    for name in record.route.gates:
        gates.setdefault(name, None)
    return gates


def gate_standing(
    schedule: Schedule, episode: str, gate: str
) -> tuple[Gate | None, date | None, int | None]:
    """A gate as set, its projected date, and its margin in working days (negative is late)."""
    record = schedule.state.episodes.get(episode)
    if record is None:
        return None, None, None
    known = record.gate(gate)
    if record.delivered_us >= 0:
        met_min = record.delivered_us // US_PER_MIN if gate == "delivery" else None
    else:
        met_min = projected_min(schedule, episode, gate)
    projected = date_of(schedule, met_min)
    margin = workdays(schedule, projected, known.due_on if known else None)
    return known, projected, margin


def _episode(before: Schedule, after: Schedule, episode: str) -> EpisodeImpact:
    gates = []
    for name in gates_of(before, episode) | gates_of(after, episode):
        was, before_on, margin_before = gate_standing(before, episode, name)
        known, after_on, margin_after = gate_standing(after, episode, name)
        known = known or was
        gates.append(
            GateImpact(
                name,
                known.due_on if known else None,
                bool(known and known.hard),
                before_on,
                after_on,
                margin_before,
                margin_after,
            )
        )
    delivery = next((gate for gate in gates if gate.gate == "delivery"), None)
    return EpisodeImpact(
        episode=episode,
        gates=tuple(gates),
        due_on=delivery.due_on if delivery else None,
        delivery_before_min=_delivery_min(before, episode),
        delivery_after_min=_delivery_min(after, episode),
        delivery_before_on=delivery.before_on if delivery else None,
        delivery_after_on=delivery.after_on if delivery else None,
        margin_workdays_before=delivery.margin_workdays_before if delivery else None,
        margin_workdays_after=delivery.margin_workdays_after if delivery else None,
    )


def _delivery_min(schedule: Schedule, episode: str) -> int | None:
    if episode not in schedule.board.frame.episodes:
        return None
    return _minute(projected_min(schedule, episode, "delivery"))
