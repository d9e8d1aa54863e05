"""The dates that episodes must meet: what is set, what is projected, and by what margin."""

from datetime import date
from typing import NamedTuple

from service.planning.schedule import Schedule, date_of, met_at, projected_min, workdays
from service.production.state import Gate
from service.vocabulary.instants import US_PER_MIN


class GateStanding(NamedTuple):
    """A gate as it is set, its projected date, and its margin in working days (negative is late).

    None stands for what is not set or cannot be said.
    """

    gate: Gate | None
    projected_on: date | None
    margin_workdays: int | None


def gate_standings(
    schedule: Schedule, episode: str, other: Schedule | None = None
) -> dict[str, GateStanding]:
    """How an episode stands to its gates: those its record has set, then those its route meets.

    What is the same in another schedule is taken from there.
    """
    return schedule.kept(("gates", episode), lambda: _gate_standings(schedule, episode, other))


def _gate_standings(
    schedule: Schedule, episode: str, other: Schedule | None
) -> dict[str, GateStanding]:
    record = schedule.state.episodes.get(episode)
    if record is None:
        return {}
    names = dict.fromkeys([*(name for name, _ in record.gates), *record.route.gates])
    known = {} if other is None else _met_alike(schedule, other, episode)
    return {name: known.get(name) or gate_standing(schedule, episode, name) for name in names}


def _met_alike(schedule: Schedule, other: Schedule, episode: str) -> dict[str, GateStanding]:
    """How an episode stands in another schedule to the gates that it meets in the same minute."""
    if (
        other.board.frame is not schedule.board.frame
        or other.state.episodes.get(episode) is not schedule.state.episodes.get(episode)
        or other.workdays_until().calendar is not schedule.workdays_until().calendar
    ):
        return {}
    standings = gate_standings(other, episode)
    if other.state.episodes[episode].delivered_us >= 0:
        return standings
    met = other.kept(
        ("met", episode), lambda: {name: met_at(other.board, episode, name) for name in standings}
    )
    was = {first: other.last_of(first=first) for first in (False, True)}
    will = {first: schedule.last_of(first=first) for first in (False, True)}
    return {
        name: standings[name]
        for name, at in met.items()
        if at is None or was[at.first][at.group] == will[at.first][at.group]
    }


def gate_standing(schedule: Schedule, episode: str, gate: str) -> GateStanding:
    """How an episode stands to one of its gates."""
    record = schedule.state.episodes.get(episode)
    if record is None:
        return GateStanding(None, None, None)
    known = record.gate(gate)
    if record.delivered_us >= 0:
        met_min = record.delivered_us // US_PER_MIN if gate == "delivery" else None
    else:
        met_min = projected_min(schedule, episode, gate)
    projected = date_of(schedule, met_min)
    margin = workdays(schedule, projected, known.due_on if known else None)
    return GateStanding(known, projected, margin)
