"""Departments and their trays as JSON shows them."""

from collections.abc import Iterable, Mapping

from service.planning.plan.schedule import Supposition, artist_days_e4, suppositions
from service.planning.plan.standing import STANDS, Standings, Stands
from service.planning.plan.tray import NOTHING_OVERDUE, Overdue, due_on, item_place
from service.production.state import Crew
from service.production.work import crew_at
from service.web.representation.scenes import shown_hold
from service.web.representation.values import Shown, shown_e4, shown_min, shown_on, shown_us
from service.web.representation.visits import shown_visit

_COUNTED = (Stands.IN_TRAY, Stands.ON_DESK, Stands.HELD, Stands.AHEAD)


def shown_department(
    standings: Standings,
    name: str,
    counts: Mapping[str, list[int]],
    overdue: Mapping[str, Overdue],
    open_e4: Mapping[str, int],
) -> Shown:
    """A department: who works there now, what lies there, and how much of it is open."""
    schedule = standings.schedule
    crew = crew_at(schedule.state, name, schedule.now_min)
    work_e4 = open_e4.get(name, 0)
    return {
        "department": name,
        "unit": schedule.state.units[name],
        "crew": None if crew is None else _shown_crew(crew),
        "stopped": shown_stopped(suppositions(schedule.state, schedule.now_min).get(name)),
        "visits": shown_counts(counts.get(name)),
        "overdue": shown_overdue(overdue.get(name, NOTHING_OVERDUE)),
        "open_work": shown_e4(work_e4),
        "open_artist_days": shown_e4(artist_days_e4(schedule, name, work_e4)),
    }


def shown_counts(counts: list[int] | None) -> Shown:
    """How many open visits of a department stand where."""
    return {stands.value: counts[STANDS.index(stands)] if counts else 0 for stands in _COUNTED}


def shown_overdue(overdue: Overdue) -> Shown:
    """How much of a department's work is past its time."""
    return {
        "on_desk": overdue.on_desk,
        "on_desk_since_at": shown_min(overdue.on_desk_since_min),
        "held": overdue.held,
        "held_since_at": shown_min(overdue.held_since_min),
    }


def _shown_crew(crew: Crew) -> Shown:
    return {
        "artists": crew.artists,
        "units_per_artist_day": shown_e4(crew.rate_e4),
        "minutes_per_artist_day": crew.day_min,
        "from_on": shown_on(crew.from_on),
    }


def shown_stopped(stopped: Supposition | None) -> Shown | None:
    """A stoppage that lasts, and what the plan supposes of its end."""
    if stopped is None:
        return None
    return {
        "since_at": shown_us(stopped.stopped_us),
        "expected_end_at": shown_us(stopped.expected_end_us),
        "taken_to_end_at": shown_min(stopped.end_min),
        "overdue_since_at": shown_us(stopped.expected_end_us) if stopped.overdue else None,
    }


def shown_suppositions(supposed: Iterable[Supposition]) -> list[Shown]:
    """What a plan supposes of departments that do not work."""
    return [{"department": one.department, **(shown_stopped(one) or {})} for one in supposed]


def shown_tray_row(standings: Standings, row: int) -> Shown:
    """One visit in a department's working order."""
    state, board = standings.state, standings.schedule.board
    item, department = board.frame.nodes[row]
    place = item_place(board, row)
    episodes = board.frame.due_episodes[place]
    scene = state.scenes.get(item)
    return {
        "item": item,
        **shown_visit(standings.visit(item, department)),
        "episodes": episodes,
        "due_on": shown_on(due_on(state, episodes)),
        "priority": int(board.priority[row]),
        "put_first": (item, department) in state.put_first,
        "hold": shown_hold(standings, scene) if scene else None,
    }
