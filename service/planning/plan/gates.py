"""The dates that episodes must meet: what is set, what is projected, and by what margin."""

from datetime import date
from typing import NamedTuple

from service.planning.plan.met import meeting_of, met_at
from service.planning.plan.schedule import Schedule, date_of, projected_min, workdays
from service.production.state import Gate
from service.vocabulary.calendar import NEVER
from service.vocabulary.instants import US_PER_MIN


class GateStanding(NamedTuple):
    """A gate as it is set, when it was met, when the plan meets it, and whether that is in time.

    `met_on` is the studio's date on which it was first met, whatever was reopened since;
    `projected_on` the date since which it stands met, else on which the plan meets it. The margin
    counts working days, negative where it is late; `date_holds` goes by the calendar, so a date
    that is passed over days off does not hold although its margin is 0. None stands for what is
    not set or cannot be said: `date_holds` is None where no date is set, where nothing is there to
    meet it and where it was open at the delivery, and False where the plan never meets it.
    """

    gate: Gate | None
    met_on: date | None
    projected_on: date | None
    margin_workdays: int | None
    date_holds: bool | None


UNKNOWN = GateStanding(None, None, None, None, None)


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
    kept = {} if other is None else _met_alike(schedule, other, episode)
    return {name: kept.get(name) or gate_standing(schedule, episode, name) for name in names}


def _met_alike(schedule: Schedule, other: Schedule, episode: str) -> dict[str, GateStanding]:
    """How an episode stands in another schedule to the gates that it meets in the same minutes."""
    if (
        other.board.frame is not schedule.board.frame
        or other.state.episodes.get(episode) is not schedule.state.episodes.get(episode)
        or other.workdays_until().calendar is not schedule.workdays_until().calendar
    ):
        return {}
    standings = gate_standings(other, episode)
    if other.state.episodes[episode].delivered:
        return standings
    met = other.kept(
        ("met", episode), lambda: {name: met_at(other.board, episode, name) for name in standings}
    )
    was = {first: other.last_of(first=first) for first in (False, True)}
    will = {first: schedule.last_of(first=first) for first in (False, True)}
    return {
        name: standings[name]
        for name, at in met.items()
        if (at is None or was[at.first][at.group] == will[at.first][at.group])
        and meeting_of(other.board, episode, name) == meeting_of(schedule.board, episode, name)
    }


def gate_standing(schedule: Schedule, episode: str, gate: str) -> GateStanding:
    """How an episode stands to one of its gates; of a delivered one, as it stood then."""
    record = schedule.state.episodes.get(episode)
    if record is None:
        return UNKNOWN
    set_gate, meeting = record.gate(gate), meeting_of(schedule.board, episode, gate)
    if not record.delivered:
        at_min = projected_min(schedule, episode, gate)
    else:
        at_min = None if meeting is None else _minute(meeting.stands_us)
    projected_on = date_of(schedule, at_min)
    margin = workdays(schedule, projected_on, set_gate.due_on if set_gate else None)
    holds = None if set_gate is None or projected_on is None else projected_on <= set_gate.due_on
    if set_gate is not None and at_min is not None and at_min >= NEVER:
        holds = False
    met_on = None if meeting is None else date_of(schedule, _minute(meeting.met_us))
    return GateStanding(set_gate, met_on, projected_on, margin, holds)


def _minute(at_us: int) -> int | None:
    return None if at_us < 0 else at_us // US_PER_MIN
