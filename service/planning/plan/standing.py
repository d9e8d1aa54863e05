"""Where every visit stands, in the words of the line, and what is known and projected of it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from service.cached import cached_property
from service.planning.board.board import Board, stand
from service.planning.kernel.line import ON_DESK, OUT, Int8s, Int64s
from service.planning.plan.overdue import answer_overdue_since
from service.planning.plan.schedule import Schedule, float_workdays
from service.production.approval import unapproved
from service.production.graph import predecessors
from service.production.lending import Lending
from service.production.reach import chains_of
from service.production.route import APPROVAL
from service.production.state import (
    Element,
    Episode,
    Node,
    Scene,
    State,
    departments_of,
    item_of,
    line_departments,
    visit_of,
)
from service.production.takes import Phase, Take
from service.vocabulary.calendar import NEVER
from service.vocabulary.instants import US_PER_MIN, parse_instant

TOLD_FROM_MIN = parse_instant("1900-01-01T00:00:00Z") // US_PER_MIN
"""No latest finish is told earlier: counted back from centuries of work it lies before any date."""


class Stands(StrEnum):
    """Where a visit stands."""

    AHEAD = "ahead"
    IN_TRAY = "in_tray"
    HELD = "held"
    ON_DESK = "on_desk"
    HANDED_OFF = "handed_off"
    OMITTED = "omitted"


STANDS = tuple(Stands)
"""All of them; a code is a place in it."""

_AHEAD, _IN_TRAY, _HELD, _ON_DESK, _HANDED_OFF, _OMITTED = range(len(STANDS))


class VisitStanding(NamedTuple):
    """One visit. Minutes and instants are None where there is none.

    `handed_off_us` is there only while the newest take is handed off; projections only while it
    is not. `overdue_since_min` is when what is on a desk, or the answer that it is held for, should
    have been there, where that is over. `because` runs from the visit that the newest take's last
    retake names to this one; `unapproved` are the elements that must be approved before it is
    handed off.
    """

    item: str
    department: str
    take: int
    stands: Stands
    work_e4: int
    unit: str
    artist: str | None
    started_us: int | None
    handed_off_us: int | None
    projected_start_min: int | None
    projected_finish_min: int | None
    latest_finish_min: int | None
    overdue_since_min: int | None
    float_workdays: int | None
    must_fix: bool
    marks: tuple[str, ...]
    retakes: tuple[str, ...]
    because: tuple[Node, ...]
    unapproved: tuple[str, ...]


def codes_of(board: Board) -> Int8s:
    """By row, where it stands.

    A held scene's visit is only ahead while its inputs are missing: no answer would let it start.
    """
    frame = board.frame
    out = board.phase == OUT
    counts = np.diff(frame.successor_from)
    waits_for = np.repeat(~out, counts)
    missing = np.bincount(frame.successor[waits_for], minlength=len(board.phase)) > 0
    codes = np.where(missing, _AHEAD, np.where(board.held_on > 0, _HELD, _IN_TRAY))
    codes = np.where(board.phase == ON_DESK, _ON_DESK, codes)
    codes = np.where(out, np.where(board.ended_min >= 0, _HANDED_OFF, _OMITTED), codes)
    return codes.astype(np.int8)


def counts_by_department(board: Board, codes: Int8s) -> Int64s:
    """How many visits stand where: a row for each of the frame's departments."""
    departments = len(board.frame.departments)
    place = board.frame.department.astype(np.int64) * len(STANDS) + codes
    counts = np.bincount(place, minlength=departments * len(STANDS))
    return counts.reshape(departments, len(STANDS))


def counts_by_episode(board: Board, codes: Int8s) -> dict[str, dict[str, int]]:
    """How many visits of each planned episode and its scenes stand where."""
    frame = board.frame
    number = {name: place for place, name in enumerate(frame.episodes)}
    places = np.array([number.get(name, -1) for name in frame.owners], np.int64)
    owner = np.repeat(places, np.diff(frame.first_row))
    mine = owner >= 0
    place = owner[mine] * len(STANDS) + codes[mine]
    counts = np.bincount(place, minlength=len(number) * len(STANDS)).reshape(
        len(number), len(STANDS)
    )
    return {
        name: dict(zip(map(str, STANDS), counts[at].tolist(), strict=True))
        for name, at in number.items()
    }


@dataclass(frozen=True, eq=False)
class Standings:
    """The visits of a schedule, one by one or counted."""

    schedule: Schedule
    codes: Int8s
    _chains: dict[str, Callable[[Node], tuple[Node, ...]]] = field(default_factory=dict, repr=False)

    @staticmethod
    def of(schedule: Schedule) -> "Standings":
        """The standings of a schedule."""
        return Standings(schedule, codes_of(schedule.board))

    @cached_property
    def _lending(self) -> Lending:
        return Lending(self.state)

    @cached_property
    def _approves(self) -> bool:
        return APPROVAL in line_departments(self.state)

    @property
    def state(self) -> State:
        """The state they are of."""
        return self.schedule.state

    def visits(self, item: str) -> list[VisitStanding]:
        """The visits an item makes itself, in route order. Raises LookupError."""
        record = _record(self.state, item)
        return [self.visit(item, name, record) for name in departments_of(record)]

    def visit(
        self, item: str, department: str, record: Scene | Element | Episode | None = None
    ) -> VisitStanding:
        """One visit; of a delivered episode's, what is known without a plan."""
        record = record or _record(self.state, item)
        take = visit_of(self.state, item, department).current
        row = self.schedule.row((item, department))
        shares = tuple(code for code, _ in take.shares)
        start, finish = self._projected(row)
        late = None if finish is None or row is None else int(self.schedule.latest_of()[row])
        return VisitStanding(
            item=item,
            department=department,
            take=take.number,
            stands=self._stands(row, item, department, record, take),
            work_e4=self._work_e4(row, item, department, record),
            unit=record.route.departments[department].unit,
            artist=take.artist,
            started_us=take.started_us if take.started_us >= 0 else None,
            handed_off_us=take.ended_us if take.phase is Phase.HANDED_OFF else None,
            projected_start_min=None if take.phase is Phase.ON_DESK else start,
            projected_finish_min=finish,
            latest_finish_min=None if late is None or late >= NEVER else max(late, TOLD_FROM_MIN),
            overdue_since_min=None if row is None else self.overdue_since_min(row),
            float_workdays=None if row is None else float_workdays(self.schedule, row),
            must_fix=any(self.state.retakes[code].urgency == "must-fix" for code in shares),
            marks=self._marks(item, department),
            retakes=shares,
            because=self.because(shares[-1], (item, department)) if shares else (),
            unapproved=self._unapproved((item, department), take),
        )

    def _unapproved(self, node: Node, take: Take) -> tuple[str, ...]:
        if not self._approves or take.phase is Phase.HANDED_OFF:
            return ()
        return tuple(unapproved(self.state, node))

    def overdue_since_min(self, row: int) -> int | None:
        """Since when a planned visit is overdue, on a desk or held; None where it is not."""
        if self.codes[row] == _HELD:
            return self.answer_overdue_since_min(row)
        since_min = int(self.schedule.overdue_since()[row])
        return None if since_min < 0 else since_min

    def answer_overdue_since_min(self, row: int) -> int | None:
        """Since when the answer is overdue that a planned visit's scene is held for; else None."""
        scene = self.state.scenes.get(self.schedule.board.frame.nodes[row][0])
        if scene is None or scene.hold is None:
            return None
        return answer_overdue_since(self.state, scene.hold, self.schedule.now_min)

    def count(self, items: Iterable[str]) -> dict[str, int]:
        """How many visits of these items stand where."""
        counts = dict.fromkeys(STANDS, 0)
        for item in items:
            record = _record(self.state, item)
            for name in departments_of(record):
                row = self.schedule.row((item, name))
                take = visit_of(self.state, item, name).current
                counts[self._stands(row, item, name, record, take)] += 1
        return {str(name): count for name, count in counts.items()}

    def finish_min(self, item: str) -> int | None:
        """When the last of an item's visits is, or was, handed off; None if it cannot be said."""
        record = _record(self.state, item)
        last = -1
        for name in departments_of(record):
            row = self.schedule.row((item, name))
            if row is None:
                return None
            last = max(last, int(self.schedule.finish_of()[row]))
        return None if last < 0 or last >= NEVER else last

    def _projected(self, row: int | None) -> tuple[int | None, int | None]:
        if row is None:
            return None, None
        start, finish = int(self.schedule.plan.start[row]), int(self.schedule.plan.finish[row])
        return (
            None if start < 0 or start >= NEVER else start,
            None if finish < 0 or finish >= NEVER else finish,
        )

    def _stands(
        self,
        row: int | None,
        item: str,
        department: str,
        record: Scene | Element | Episode,
        take: Take,
    ) -> Stands:
        omitted = isinstance(record, Scene) and record.omitted
        if row is None and isinstance(record, Element) and take.phase is Phase.WAITING:
            omitted = self._lending.drops(item, department)
        if row is not None:
            stands = STANDS[int(self.codes[row])]
            # a delivered scene that others reuse has rows; what they do not need is not planned
            if stands is not Stands.OMITTED or omitted:
                return stands
        elif omitted:
            return Stands.OMITTED
        if take.phase is not Phase.WAITING:
            return Stands.HANDED_OFF if take.phase is Phase.HANDED_OFF else Stands.ON_DESK
        if any(not self._out(arc.node) for arc in predecessors(self.state, item, department)):
            return Stands.AHEAD
        held = isinstance(record, Scene) and record.hold is not None
        return Stands.HELD if held else Stands.IN_TRAY

    def _out(self, node: Node) -> bool:
        """Whether a visit holds nothing up: handed off, or omitted with its scene."""
        scene = self.state.scenes.get(node[0])
        if scene is not None and self._lending.drops(*node):
            return True
        return visit_of(self.state, *node).current.phase is Phase.HANDED_OFF

    def _work_e4(
        self, row: int | None, item: str, department: str, record: Scene | Element | Episode
    ) -> int:
        if row is not None:
            return int(self.schedule.board.work_e4[row])
        return stand(self.state, record, department, self.state.visits.get(item)).work_e4

    def _marks(self, item: str, department: str) -> tuple[str, ...]:
        """What was unusual about the facts that this visit follows from."""
        if not self.state.marks:
            return ()
        entries = visit_of(self.state, item, department).entries
        found = {mark for entry in entries for mark in self.state.marks.get(entry.position, ())}
        return tuple(sorted(found))

    def because(self, code: str, node: Node) -> tuple[Node, ...]:
        """The chain of visits from the one that a retake names to this one."""
        chain_to = self._chains.get(code)
        if chain_to is None:
            chain_to = self._chains[code] = chains_of(self.state.retakes[code].reach)
        return chain_to(node)


def _record(state: State, item: str) -> Scene | Element | Episode:
    found = item_of(state, item)
    if found is None:
        raise LookupError(item)
    return found
