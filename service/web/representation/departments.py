"""Departments and their trays as JSON shows them."""

from collections.abc import Mapping

from service.planning.schedule import artist_days_e4
from service.planning.standing import STANDS, Standings, Stands
from service.planning.tray import due_on, item_place
from service.production.state import Crew, Stoppage
from service.production.work import crew_at
from service.web.representation.scenes import shown_hold
from service.web.representation.values import Shown, shown_e4, shown_on, shown_us
from service.web.representation.visits import shown_visit

_COUNTED = (Stands.IN_TRAY, Stands.ON_DESK, Stands.HELD, Stands.AHEAD)


def shown_department(
    standings: Standings, name: str, counts: Mapping[str, list[int]], open_e4: Mapping[str, int]
) -> Shown:
    """A department: who works there now, what lies there, and how much of it is open."""
    schedule = standings.schedule
    crew = crew_at(schedule.state, name, schedule.now_min)
    work_e4 = open_e4.get(name, 0)
    return {
        "department": name,
        "unit": schedule.state.units[name],
        "crew": None if crew is None else _shown_crew(crew),
        "stopped": _shown_stopped(schedule.state.stoppages.get(name, ())),
        "visits": shown_counts(counts.get(name)),
        "open_work": shown_e4(work_e4),
        "open_artist_days": shown_e4(artist_days_e4(schedule, name, work_e4)),
    }


def shown_counts(counts: list[int] | None) -> Shown:
    """How many open visits of a department stand where."""
    return {stands.value: counts[STANDS.index(stands)] if counts else 0 for stands in _COUNTED}


def _shown_crew(crew: Crew) -> Shown:
    return {
        "artists": crew.artists,
        "units_per_artist_day": shown_e4(crew.rate_e4),
        "minutes_per_artist_day": crew.day_min,
        "from_on": shown_on(crew.from_on),
    }


def _shown_stopped(stoppages: tuple[Stoppage, ...]) -> Shown | None:
    last = stoppages[-1] if stoppages else None
    if last is None or last.resumed_us >= 0:
        return None
    return {
        "since_at": shown_us(last.stopped_us),
        "expected_end_at": shown_us(last.expected_end_us),
    }


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
        "hold": shown_hold(scene.hold) if scene and scene.hold else None,
    }
