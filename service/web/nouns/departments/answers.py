"""Departments and their trays as JSON shows them."""

from collections.abc import Mapping, Sequence
from typing import Annotated

from service.planning.plan.schedule import artist_days_e4, suppositions
from service.planning.plan.standing import STANDS, Standings, Stands
from service.planning.plan.tray import NOTHING_OVERDUE, Overdue, due_on, item_place
from service.production.state import Crew
from service.production.work import crew_at
from service.vocabulary.facts.routes import UNITS
from service.web.answers import (
    Day,
    Instant,
    Quantity,
    Shown,
    StoppedShown,
    extended,
    note,
    one_of,
    page_of,
)
from service.web.nouns.scenes.answers import shown_hold
from service.web.nouns.stoppages import shown_stopped
from service.web.nouns.values import shown_e4, shown_min, shown_on
from service.web.nouns.visits import HoldShown, VisitShown, shown_visit

_COUNTED = (Stands.IN_TRAY, Stands.ON_DESK, Stands.HELD, Stands.AHEAD)


class DepartmentCountsShown(Shown):
    """How many open visits stand where."""

    in_tray: Annotated[int, note("How many are in_tray.")]
    on_desk: Annotated[int, note("How many are on_desk.")]
    held: Annotated[int, note("How many are held.")]
    ahead: Annotated[int, note("How many are ahead.")]


class CrewShown(Shown):
    """A crew in force."""

    artists: Annotated[int, note("How many artists.")]
    units_per_artist_day: Annotated[Quantity, note("What one artist does in a day.")]
    minutes_per_artist_day: Annotated[int, note("Working minutes of an artist's day.")]
    from_on: Annotated[Day, note("Since when.")]


class OverdueShown(Shown):
    """How many of a department's visits are overdue, and since when the longest one is."""

    on_desk: Annotated[int, note("How many on its desks are past their time.")]
    on_desk_since_at: Annotated[
        Instant | None, note("Since when the longest of them; null: none is.")
    ]
    held: Annotated[
        int,
        note(
            "How many are of scenes held for an answer whose day is over: held here, or on its "
            "desks."
        ),
    ]
    held_since_at: Annotated[Instant | None, note("Since when the longest of them; null: none is.")]


class DepartmentShown(Shown):
    """A department: its crew, its trays, its open work."""

    department: Annotated[str, note("The department.")]
    unit: Annotated[str, one_of(UNITS, "What its work is counted in.")]
    crew: Annotated[CrewShown | None, note("The crew in force; null: none yet.")]
    stopped: Annotated[StoppedShown | None, note("The stoppage that lasts; null: it works.")]
    visits: Annotated[DepartmentCountsShown, note("How many open visits stand where.")]
    overdue: Annotated[OverdueShown, note("How many of them are overdue, and since when.")]
    open_work: Annotated[
        Quantity, note("Work still to be done, in its unit; of what is on desks, the rest.")
    ]
    open_artist_days: Annotated[
        Quantity | None, note("The same in artist-days at the rate in force.")
    ]


class TrayVisitShown(VisitShown, kw_only=True):
    """One visit in working order."""

    item: Annotated[str, note("The scene, element or episode.")]
    episodes: Annotated[Sequence[str], note("The undelivered episodes it is for.")]
    due_on: Annotated[Day | None, note("The earliest delivery date among them.")]
    priority: Annotated[int, note("The priority in force; higher goes first.")]
    put_first: Annotated[bool, note("Whether an order puts it first.")]
    hold: Annotated[HoldShown | None, note("What its scene waits for.")]


class TrayShown(Shown):
    """A department's tray as a whole."""

    department: Annotated[str, note("The department.")]
    unit: Annotated[str, one_of(UNITS, "What its work is counted in.")]
    visits: Annotated[
        DepartmentCountsShown, note("How many open visits stand where, whatever is asked for.")
    ]
    overdue: Annotated[
        OverdueShown, note("How many of them are overdue, and since when, likewise.")
    ]


def shown_department(
    standings: Standings,
    name: str,
    counts: Mapping[str, list[int]],
    overdue: Mapping[str, Overdue],
    open_e4: Mapping[str, int],
) -> DepartmentShown:
    """A department: who works there now, what lies there, and how much of it is open."""
    schedule = standings.schedule
    crew = crew_at(schedule.state, name, schedule.now_min)
    work_e4 = open_e4.get(name, 0)
    stopped = suppositions(schedule.state, schedule.now_min).get(name)
    return DepartmentShown(
        department=name,
        unit=schedule.state.units[name],
        crew=None if crew is None else _shown_crew(crew),
        stopped=None if stopped is None else shown_stopped(stopped),
        visits=shown_counts(counts.get(name)),
        overdue=shown_overdue(overdue.get(name, NOTHING_OVERDUE)),
        open_work=shown_e4(work_e4),
        open_artist_days=shown_e4(artist_days_e4(schedule, name, work_e4)),
    )


def shown_counts(counts: list[int] | None) -> DepartmentCountsShown:
    """How many open visits of a department stand where."""
    return DepartmentCountsShown(
        **{stands.value: counts[STANDS.index(stands)] if counts else 0 for stands in _COUNTED}
    )


def shown_overdue(overdue: Overdue) -> OverdueShown:
    """How much of a department's work is past its time."""
    return OverdueShown(
        on_desk=overdue.on_desk,
        on_desk_since_at=shown_min(overdue.on_desk_since_min),
        held=overdue.held,
        held_since_at=shown_min(overdue.held_since_min),
    )


def _shown_crew(crew: Crew) -> CrewShown:
    return CrewShown(
        artists=crew.artists,
        units_per_artist_day=shown_e4(crew.rate_e4),
        minutes_per_artist_day=crew.day_min,
        from_on=shown_on(crew.from_on),
    )


def shown_tray_row(standings: Standings, row: int) -> TrayVisitShown:
    """One visit in a department's working order."""
    state, board = standings.state, standings.schedule.board
    item, department = board.frame.nodes[row]
    place = item_place(board, row)
    episodes = board.frame.due_episodes[place]
    scene = state.scenes.get(item)
    due = due_on(state, episodes)
    return extended(
        TrayVisitShown,
        shown_visit(standings.visit(item, department)),
        item=item,
        episodes=episodes,
        due_on=None if due is None else shown_on(due),
        priority=int(board.priority[row]),
        put_first=(item, department) in state.put_first,
        hold=shown_hold(standings, scene) if scene else None,
    )


DEPARTMENTS = page_of(DepartmentShown, "DepartmentsPage")
TRAY = page_of(TrayVisitShown, "TrayPage", TrayShown)
