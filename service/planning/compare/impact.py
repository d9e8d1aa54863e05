"""What a change does: the plan with it minus the plan without it, at one moment."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from service.planning.board.changes import Entries, differing
from service.planning.board.frame import order_of
from service.planning.board.reframe import sources_touched
from service.planning.compare.differences import changed_rows, changed_visits, moved_items, slips
from service.planning.plan.gates import UNKNOWN, GateStanding, gate_standings
from service.planning.plan.schedule import (
    Schedule,
    Supposition,
    artist_days_e4,
    load_e4,
    suppositions,
)
from service.production.lending import Lending, in_picture
from service.production.reach import chains_of
from service.production.route import APPROVAL
from service.production.state import Node, State, item_of
from service.production.takes import Phase, Take
from service.production.touched import to_look_at
from service.production.work import work_of_take_e4
from service.vocabulary.calendar import NEVER
from service.vocabulary.identifiers import natural_order


class Reopened(NamedTuple):
    """A visit that gets more work: its take, the work of that take, and the chain that leads there.

    `because` runs from the visit the retake names to this one. One that is not `planned`, since its
    scene is omitted or its episode delivered, adds to no department's work and moves nothing.
    """

    item: str
    department: str
    take: int
    work_e4: int
    unit: str
    retake: str
    because: tuple[Node, ...]
    planned: bool = True


class ToLookAt(NamedTuple):
    """A scene that somebody must look at, and why.

    A retake lists it as a hook-up or as marked; `reason` is else how the scene changed
    after work on it had begun (one of `CHANGES`), and `visits` are those that had begun.
    """

    scene: str
    retake: str | None
    reason: str
    visits: tuple[Node, ...] = ()


class StillNeeded(NamedTuple):
    """A visit of a scene that leaves the picture, which stays planned because others reuse it."""

    item: str
    department: str
    needed_by: tuple[str, ...]


class DepartmentImpact(NamedTuple):
    """Work a department has more (or less) to do. Artist-days are None where it has no crew."""

    department: str
    added_work_e4: int
    unit: str
    added_artist_days_e4: int | None


class SceneImpact(NamedTuple):
    """A scene whose last visit finishes at another minute.

    `open_before` and `open_after` say whether some visit of it is not handed off: a scene that was
    done and is open again has the minute at which it was done before, and no slip.
    """

    scene: str
    finish_before_min: int | None
    finish_after_min: int | None
    open_before: bool
    open_after: bool
    slip_workdays: int | None


class GateImpact(NamedTuple):
    """When a gate was met, its projected date and its margin, before and after.

    `date_holds` is whether the date is met with the change, by the rule of `GateStanding`.
    """

    gate: str
    due_on: date | None
    hard: bool
    met_before_on: date | None
    met_after_on: date | None
    before_on: date | None
    after_on: date | None
    margin_workdays_before: int | None
    margin_workdays_after: int | None
    date_holds: bool | None


class EpisodeImpact(NamedTuple):
    """Every gate of an episode; the dates, margins and `date_holds` are those of its delivery."""

    episode: str
    gates: tuple[GateImpact, ...]
    due_on: date | None
    delivery_before_on: date | None
    delivery_after_on: date | None
    margin_workdays_before: int | None
    margin_workdays_after: int | None
    date_holds: bool | None


@dataclass(frozen=True, slots=True)
class Impact:
    """The difference a change makes."""

    now_min: int
    reopened: tuple[Reopened, ...]
    to_look_at: tuple[ToLookAt, ...]
    still_needed: tuple[StillNeeded, ...]
    departments: tuple[DepartmentImpact, ...]
    scenes: tuple[SceneImpact, ...]
    episodes: tuple[EpisodeImpact, ...]
    suppositions: tuple[Supposition, ...]


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
        still_needed=_still_needed(before, after),
        departments=_departments(before, after),
        scenes=_scenes(before, after),
        episodes=tuple(_episode(before, after, name) for name in compared_episodes(before, after)),
        suppositions=tuple(suppositions(after.state, after.now_min).values()),
    )


def compared_episodes(before: Schedule, after: Schedule) -> list[str]:
    """Episodes open in one state or the other; those delivered in both are left out."""
    return sorted({*before.board.frame.episodes, *after.board.frame.episodes}, key=order_of)


def _reopened(before: Schedule, after: Schedule) -> tuple[Reopened, ...]:
    """Visits whose open take asks for work that a retake added in between."""
    state = after.state
    found = []
    lending = Lending(state)
    chains: dict[str, Callable[[Node], tuple[Node, ...]]] = {}
    for item, department, was, visit in changed_visits(before, after):
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
            work_e4 = work_of_take_e4(state, record, department, new)
        else:
            work_e4 = int(after.board.work_e4[row])
        unit = record.route.departments[department].unit
        because = chains[code]((item, department))
        planned = lending.needs(item, department)
        found.append(Reopened(item, department, new.number, work_e4, unit, code, because, planned))
    return tuple(found)


def _asks_less(old: Take, new: Take) -> bool:
    """Whether a take only lost shares, as when a retake is withdrawn."""
    return new.number == old.number and set(new.shares) < set(old.shares)


def _to_look_at(before: Schedule, after: State) -> tuple[ToLookAt, ...]:
    """Scenes that changed retakes list and nobody has answered for."""
    found = []
    calls = before.kept("retakes", lambda: Entries(before.state.retakes))
    for code in differing(calls, Entries(after.retakes)):
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
    changes = before.kept("touched", lambda: Entries(before.state.touched))
    for scene in differing(changes, Entries(after.touched)):
        was = before.state.touched.get(scene, ())
        found += [
            ToLookAt(scene, None, look.change.change, tuple(visit[:2] for visit in look.visits))
            for look in to_look_at(after, scene)
            if look.change not in was
        ]
    return tuple(sorted(found, key=lambda look: (natural_order(look.scene), look.retake or "")))


def _still_needed(before: Schedule, after: Schedule) -> tuple[StillNeeded, ...]:
    """What others wait for in scenes that are in the picture before and not after."""
    changed = before.board.entries.changed_records(after.board.entries)
    was, will = before.state, after.state
    left = [
        scene
        for scene in sorted(sources_touched(was, will, changed), key=order_of)
        if scene in was.scenes and scene in will.scenes
        if in_picture(was, scene) and not in_picture(will, scene)
    ]
    lending = Lending(will)
    return tuple(
        StillNeeded(scene, department, tuple(sorted(users[department], key=order_of)))
        for scene in left
        for users in [lending.borrowers(scene)]
        for department in lending.still_to_do(scene)
    )


def _departments(before: Schedule, after: Schedule) -> tuple[DepartmentImpact, ...]:
    added: dict[str, int] = {}
    for schedule, sign, rows in changed_rows(before, after):
        for row in rows:
            department = schedule.board.frame.nodes[row][1]
            if department == APPROVAL:
                continue  # nobody works at it
            added[department] = added.get(department, 0) + sign * load_e4(schedule, row)
    # a strike of the route that laid it takes a department away
    units = {**before.state.units, **after.state.units}
    return tuple(
        DepartmentImpact(name, work, units[name], artist_days_e4(after, name, work))
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


def _scenes(before: Schedule, after: Schedule) -> tuple[SceneImpact, ...]:
    """Scenes that finish at another minute, in their total order."""
    moved = moved_items(before, after)
    rows = zip(
        moved.items,
        map(_minute, moved.before.finish_min),
        map(_minute, moved.after.finish_min),
        moved.before.is_open,
        moved.after.is_open,
        slips(before, after, moved),
        strict=True,
    )
    scenes = (before.state.scenes, after.state.scenes)
    return tuple([SceneImpact(*one) for one in rows if one[0] in scenes[0] or one[0] in scenes[1]])


def _minute(value: int | None) -> int | None:
    return None if value is None or value < 0 or value >= NEVER else value


def _episode(before: Schedule, after: Schedule, episode: str) -> EpisodeImpact:
    old, new = gate_standings(before, episode), gate_standings(after, episode, before)
    gates = [_gate(name, old.get(name, UNKNOWN), new.get(name, UNKNOWN)) for name in old | new]
    delivery = next((gate for gate in gates if gate.gate == "delivery"), None)
    return EpisodeImpact(
        episode=episode,
        gates=tuple(gates),
        due_on=delivery.due_on if delivery else None,
        delivery_before_on=delivery.before_on if delivery else None,
        delivery_after_on=delivery.after_on if delivery else None,
        margin_workdays_before=delivery.margin_workdays_before if delivery else None,
        margin_workdays_after=delivery.margin_workdays_after if delivery else None,
        date_holds=delivery.date_holds if delivery else None,
    )


def _gate(name: str, was: GateStanding, will: GateStanding) -> GateImpact:
    gate = will.gate or was.gate
    return GateImpact(
        name,
        gate.due_on if gate else None,
        bool(gate and gate.hard),
        was.met_on,
        will.met_on,
        was.projected_on,
        will.projected_on,
        was.margin_workdays,
        will.margin_workdays,
        will.date_holds,
    )
