"""The dates that episodes must meet: what is set, what is projected, and by what margin."""

from datetime import date
from typing import NamedTuple

from service.planning.schedule import Schedule, date_of, projected_min, workdays
from service.production.state import Gate
from service.vocabulary.instants import US_PER_MIN


class GateStanding(NamedTuple):
    """A gate as it is set, its projected date, and its margin in working days (negative is late).

    None stands for what is not set or cannot be said.
    """

    gate: Gate | None
    projected_on: date | None
    margin_workdays: int | None


def gate_standings(schedule: Schedule, episode: str) -> dict[str, GateStanding]:
    """How an episode stands to its gates: those its record has set, then those its route meets."""
    return schedule.kept(("gates", episode), lambda: _gate_standings(schedule, episode))


def _gate_standings(schedule: Schedule, episode: str) -> dict[str, GateStanding]:
    record = schedule.state.episodes.get(episode)
    if record is None:
        return {}
    names = dict.fromkeys([*(name for name, _ in record.gates), *record.route.gates])
    return {name: gate_standing(schedule, episode, name) for name in names}


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
