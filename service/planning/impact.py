"""What a change does: the plan with it minus the plan without it, at one moment."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import repeat
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from service.planning.board import Board
from service.planning.changes import Entries, differing
from service.planning.frame import Frame, order_of
from service.planning.gates import GateStanding, gate_standings
from service.planning.line import Int64s
from service.planning.reframe import moved_rows
from service.planning.schedule import (
    Schedule,
    artist_days_e4,
    date_of,
    load_e4,
    projected_min,
    workdays,
)
from service.production.reach import chains_of
from service.production.state import Node, State, item_of
from service.production.visits import UNVISITED, Phase, Take, Visit, take_work_e4
from service.production.work import terms_for
from service.vocabulary.calendar import NEVER
from service.vocabulary.identifiers import natural_order

_NO_VISITS: dict[str, Visit] = {}
_NOTHING = GateStanding(None, None, None)
Rows = Int64s | slice
_ALL_ROWS = slice(None)


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
        reopened=_reopened(before, after),
        to_look_at=_to_look_at(before, after.state),
        departments=_departments(before, after),
        scenes=_scenes(before, after),
        episodes=tuple(_episode(before, after, name) for name in compared_episodes(before, after)),
    )


def compared_episodes(before: Schedule, after: Schedule) -> list[str]:
    """Episodes open in one state or the other; those delivered in both are left out."""
    return sorted({*before.board.frame.episodes, *after.board.frame.episodes}, key=order_of)


def _reopened(before: Schedule, after: Schedule) -> tuple[Reopened, ...]:
    """Visits whose open take asks for work that a retake added in between."""
    state = after.state
    found = []
    chains: dict[str, Callable[[Node], tuple[Node, ...]]] = {}
    for item, department, was, visit in _changed_visits(before, after):
        old, new = was.current, visit.current
        if new.phase is not Phase.WAITING or not new.shares:
            continue
        if (new.number, new.shares) == (old.number, old.shares) or _asks_less(old, new):
            continue
        record = item_of(state, item)
        if record is None:
            raise LookupError(item)
        code = new.shares[-1][0]
        if code not in chains:
            chains[code] = chains_of(state.retakes[code].reach)
        row = after.row((item, department))
        if row is None:
            work_e4 = take_work_e4(new, terms_for(state, record, department))
        else:
            work_e4 = int(after.board.work_e4[row])
        unit = record.route.departments[department].unit
        because = chains[code]((item, department))
        found.append(Reopened(item, department, new.number, work_e4, unit, code, because))
    return tuple(found)


def _asks_less(old: Take, new: Take) -> bool:
    """Whether a take only lost shares, as when a retake is withdrawn."""
    return new.number == old.number and set(new.shares) < set(old.shares)


def _changed_visits(before: Schedule, after: Schedule) -> Iterator[tuple[str, str, Visit, Visit]]:
    """Visits that something was recorded of in between, in their total order."""
    state = after.state
    for item in sorted(after.board.changed_visits(before.board), key=order_of):
        record, visits = item_of(state, item), state.visits.get(item)
        if record is None or visits is None:
            continue
        known = before.state.visits.get(item, _NO_VISITS)
        for department in sorted(visits, key=record.route.rank.__getitem__):
            was, visit = known.get(department, UNVISITED), visits[department]
            if was is not visit:
                yield item, department, was, visit


def _to_look_at(before: Schedule, after: State) -> tuple[ToLookAt, ...]:
    """Scenes that changed retakes list and nobody has answered for."""
    found = []
    known = before.kept("retakes", lambda: Entries(before.state.retakes))
    for code in differing(known, Entries(after.retakes)):
        retake = after.retakes.get(code)
        # what a strike folds again comes to other objects that say the same
        if retake is None or retake == before.state.retakes.get(code):
            continue
        if retake.standing == "standing":
            found += [
                ToLookAt(look.scene, code, look.reason)
                for look in retake.look_at
                if not look.answer
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
        differ = np.flatnonzero(_standing_differs(old, new)).tolist()
        return (before, -1, differ), (after, 1, differ)
    moved = moved_rows(old.frame, new.frame)
    stays = np.flatnonzero(moved >= 0)
    rows = moved[stays]
    differs = _standing_differs(old, new, stays, rows)
    alone = np.ones(len(new.phase), np.bool_)
    alone[rows] = False
    return (
        (before, -1, (*np.flatnonzero(moved < 0).tolist(), *stays[differs].tolist())),
        (after, 1, (*np.flatnonzero(alone).tolist(), *rows[differs].tolist())),
    )


def _standing_differs(
    old: Board, new: Board, rows: Rows = _ALL_ROWS, others: Rows = _ALL_ROWS
) -> npt.NDArray[np.bool_]:
    """Whether some rows of one board stand otherwise than those of another."""
    differs: npt.NDArray[np.bool_] = (
        (old.phase[rows] != new.phase[others])
        | (old.work_e4[rows] != new.work_e4[others])
        | (old.started_min[rows] != new.started_min[others])
    )
    return differs


def _scenes(before: Schedule, after: Schedule) -> tuple[SceneImpact, ...]:
    """Scenes that finish at another minute, in their total order."""
    old, new = before.board.frame, after.board.frame
    was, will = before.item_finishes(), after.item_finishes()
    items: Sequence[str] = new.items
    if old is not new:
        items = sorted({*old.items, *new.items}, key=order_of)
        was, will = _finishes(old, was, items), _finishes(new, will, items)
    moved = np.flatnonzero(was != will)
    scenes = [items[place] for place in moved.tolist()]
    ones, others = was[moved].tolist(), will[moved].tolist()
    told = zip(scenes, ones, others, _slips(before, after, ones, others), strict=True)
    return tuple([
        SceneImpact(scene, _minute(one), _minute(other), slip)
        for scene, one, other, slip in told
        if scene in before.state.scenes or scene in after.state.scenes
    ])  # fmt: skip


def _slips(
    before: Schedule, after: Schedule, ones: list[int], others: list[int]
) -> list[int | None]:
    """Signed working days from finishes to finishes; None where one has no date."""
    # what the plan before has counted serves every plan that is compared with it
    until = before.workdays_until()
    if until.calendar is None or until.calendar is not after.workdays_until().calendar:
        return [
            workdays(after, date_of(before, one), date_of(after, other))
            for one, other in zip(ones, others, strict=True)
        ]
    return [
        until[other] - until[one] if 0 <= one < NEVER and 0 <= other < NEVER else None
        for one, other in zip(ones, others, strict=True)
    ]


def _finishes(frame: Frame, finishes: Int64s, items: Sequence[str]) -> Int64s:
    """Finishes by item as those of other items; -1 where one is not in the frame."""
    places = np.fromiter(map(frame.place_of.get, items, repeat(-1)), np.int64)
    return np.where(places >= 0, np.append(finishes, -1)[places], -1)


def _minute(value: int | None) -> int | None:
    return None if value is None or value < 0 or value >= NEVER else value


def _episode(before: Schedule, after: Schedule, episode: str) -> EpisodeImpact:
    old, new = gate_standings(before, episode), gate_standings(after, episode, before)
    gates = [_gate(name, old.get(name, _NOTHING), new.get(name, _NOTHING)) for name in old | new]
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


def _gate(name: str, was: GateStanding, will: GateStanding) -> GateImpact:
    known = will.gate or was.gate
    return GateImpact(
        name,
        known.due_on if known else None,
        bool(known and known.hard),
        was.projected_on,
        will.projected_on,
        was.margin_workdays,
        will.margin_workdays,
    )


def _delivery_min(schedule: Schedule, episode: str) -> int | None:
    if episode not in schedule.board.frame.episodes:
        return None
    return _minute(projected_min(schedule, episode, "delivery"))
